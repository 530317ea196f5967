"""`import_returns FILE --club SLUG [--dry-run] [--report REPORT.json]`: a club's sheet becomes returns."""

import json
from argparse import ArgumentParser
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone
from tqdm import tqdm

from clubdata.errors import ClubdataError
from clubdata.intake.run import Progress, import_file
from clubdata.models import Club

_SHOWN: Final = 10
_COUNTS: Final = {
    "rows_read": "rows read",
    "landed": "landed",
    "refused": "refused",
    "duplicates": "duplicates",
    "blanks": "blanks",
    "did_not_weigh": "did not weigh",
    "estimated": "estimated",
    "created_count": "new matches",
    "problem_count": "problems",
}


class Command(BaseCommand):
    help = "Import a club's sheet of catch returns (CSV)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the sheet: CSV with commas or semicolons")
        parser.add_argument("--club", required=True, help="the club's slug")
        parser.add_argument("--dry-run", action="store_true", help="report what would happen; write nothing")
        parser.add_argument("--report", type=Path, help="also write the whole report, as JSON")

    def handle(self, *_: Any, file: Path, club: str, dry_run: bool, report: Path | None, **__: Any) -> None:
        # A database without tables has no clubs either.
        known = Club.objects.filter(slug=club).first() if connection.introspection.table_names() else None
        if known is None:
            raise CommandError(f"There is no club '{club}'.")
        try:
            with _bar() as progress:
                told = import_file(
                    club=known, path=file, dry_run=dry_run, actor=None, clock=timezone.now, progress=progress
                )
        except ClubdataError as refusal:
            raise CommandError(refusal.message) from None
        if report is not None:
            _write(report, told)
        for line in _summary(told):
            self.stdout.write(line)


@contextmanager
def _bar() -> Iterator[Progress]:
    """A progress bar on a terminal, nothing elsewhere."""
    with tqdm(unit=" rows", disable=None, leave=False) as bar:

        def show(done: int, total: int, step: str) -> None:
            bar.total = total
            bar.set_description(step, refresh=False)
            bar.update(done - bar.n)

        yield show


def _write(path: Path, told: Mapping[str, Any]) -> None:
    try:
        path.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise CommandError(f"The report cannot be written: {error.strerror}.") from None


def _summary(told: Mapping[str, Any]) -> Iterator[str]:
    yield "Dry run: nothing was written." if told["dry_run"] else "Imported."
    for name, words in _COUNTS.items():
        yield f"  {words:<14}{told[name]:>9,}"
    if told["ignored_columns"]:
        yield f"  columns not read: {', '.join(told['ignored_columns'])}"
    for problem in told["problems"][:_SHOWN]:
        place = f"line {problem['line']}, {problem['column'] or 'row'}"
        yield f"  {place}: '{problem['value']}': {problem['message']}"
    if told["problem_count"] > _SHOWN:
        yield f"  ... and {told['problem_count'] - _SHOWN:,} more problems"
