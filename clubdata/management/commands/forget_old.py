"""Forget what has been kept long enough: `manage.py forget_old`; the worker's schedule does so every day."""

from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from clubdata.services.retention import forget_old


class Command(BaseCommand):
    help = "Forgets what has been kept for its days (CLUBDATA_KEEP_...), and says how many of each."

    def handle(self, *_: Any, **__: Any) -> None:
        for kind, count in asdict(forget_old(now=timezone.now())).items():
            self.stdout.write(f"{kind.replace('_', ' ')}: {count}")
