"""How fast a club's sheet lands, and in how much memory.

`uv run python -m tests.benchmarks.intake --rows 100000`

The invented club's sheet is repeated with its days moved back by whole spans of years, so that every row
is a session of its own; one JSON line says what came of it. SQLite in a folder of its own, or the
database that DATABASE_URL names (its club `heron` must not exist).
"""

import argparse
import csv
import json
import os
import resource
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

SPAN_YEARS = 6
FORMATS = ("%d/%m/%Y", "%Y-%m-%d", "%d-%b-%Y")


def moved(typed: str, years: int) -> str:
    """The day some years earlier; a cell that is no day stays as it is."""
    for form in FORMATS:
        try:
            day = datetime.strptime(typed, form).replace(tzinfo=UTC)
        except ValueError:
            continue
        return f"{day.year - years:04d}-{day.month:02d}-{min(day.day, 28):02d}"
    return typed


def write_sheet(source: Path, target: Path, rows: int) -> None:
    """Write `rows` rows after the header, the source's over and over."""
    with source.open(newline="") as file:
        header, *body = list(csv.reader(file))
    with target.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        for number in range(rows):
            turn, at = divmod(number, len(body))
            row = list(body[at])
            if turn:
                row[0] = moved(row[0], turn * SPAN_YEARS)
                row[5] = f"{row[5]}-{turn}" if row[5] else ""
            writer.writerow(row)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=6150)
    rows = parser.parse_args().rows
    folder = Path(tempfile.mkdtemp(prefix="clubdata-benchmark-"))
    os.environ |= {"CLUBDATA_DEMO": "1", "CLUBDATA_VAR": str(folder)}
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdata.settings")

    import django

    django.setup()

    from django.core.management import call_command

    from clubdata.demo.files import CLUB_FILE, RETURNS_FILE
    from clubdata.intake.run import import_file
    from clubdata.models import Club
    from clubdata.services.clubs import setup_club

    call_command("migrate", verbosity=0)
    setup_club(description=json.loads(CLUB_FILE.read_text()), actor=None, now=datetime.now(UTC))
    sheet = folder / "sheet.csv"
    write_sheet(RETURNS_FILE, sheet, rows)
    steps: dict[str, float] = {}
    begun = time.perf_counter()

    def progress(_done: int, _total: int, step: str) -> None:
        steps.setdefault(step, time.perf_counter() - begun)

    report = import_file(
        club=Club.objects.get(slug="heron"),
        path=sheet,
        dry_run=False,
        actor=None,
        clock=lambda: datetime.now(UTC),
        progress=progress,
    )
    seconds = time.perf_counter() - begun
    print(
        json.dumps(
            {
                "rows": report["rows_read"],
                "landed": report["landed"],
                "seconds": round(seconds, 2),
                "rows_per_second": round(rows / seconds),
                "seconds_at_step": {step: round(at, 2) for step, at in steps.items()},
                "peak_memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
                "python": sys.version.split()[0],
            }
        )
    )


if __name__ == "__main__":
    main()
