"""`setup_club FILE.json`: make a club from its description, or bring it up to date."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from clubdata.errors import ClubdataError
from clubdata.services.clubs import SetupReport, setup_club


class Command(BaseCommand):
    help = "Make a club (waters, pegs, words, members, conventions) from a description, or update it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the club's description, JSON in UTF-8")

    def handle(self, *_: Any, file: Path, **__: Any) -> None:
        description = _read(file)
        if not connection.introspection.table_names():
            # A new machine: there is nothing yet that a migration could harm.
            call_command("migrate", verbosity=0)
        try:
            report = setup_club(description=description, actor=None, now=timezone.now())
        except ClubdataError as refusal:
            raise CommandError(refusal.message) from None
        self.stdout.write(f"{report.club.name} ({report.club.slug})")
        for line in _summary(report):
            self.stdout.write(f"  {line}")


def _read(file: Path) -> Any:
    try:
        return json.loads(file.read_text(encoding="utf-8-sig"))
    except OSError:
        raise CommandError(f"There is no file {file} to read.") from None
    except (ValueError, RecursionError) as error:
        raise CommandError(f"{file} is not JSON in UTF-8: {error}") from None


def _summary(report: SetupReport) -> list[str]:
    kinds = dict.fromkeys([*report.created, *report.found])
    return [f"{kind}: {report.created[kind]} new, {report.found[kind]} known before" for kind in kinds]
