"""A small invented club and sheets for it, as text."""

import copy
import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from clubdata.intake.run import import_file
from clubdata.models import Club
from clubdata.services.clubs import setup_club

NOON = datetime(2024, 6, 1, 12, tzinfo=UTC)
HEADERS = {
    "date": "Date",
    "water": "Water",
    "peg": "Peg",
    "member": "Member",
    "session": "Session",
    "match": "Match",
    "hours": "Hours",
    "hook_bait": "Hook bait",
    "distance": "Distance",
    "rig_type": "Rig",
    "wind": "Wind",
    "water_temperature": "Water temp",
    "weight": "Weight",
    "notes": "Notes",
}
DESCRIPTION: dict[str, Any] = {
    "slug": "alder",
    "name": "Alder Pond Anglers (invented)",
    "time_zone": "Europe/London",
    "waters": [
        {
            "name": "Alder Pond",
            "kind": "stillwater",
            "latitude": 52.5,
            "longitude": -1.25,
            "pegs": [
                {"number": "1", "order": 1, "depth_cm": 150},
                {
                    "number": "2",
                    "order": 2,
                    "hazards": [{"kind": "overhead power line", "noted": "2023-11-04"}],
                },
                {"number": "12A", "order": 3, "accessible": True},
            ],
        },
        {
            "name": "Brick Canal",
            "kind": "canal",
            "latitude": 52.6,
            "longitude": -1.3,
            "pegs": [{"number": "1", "order": 1}],
        },
    ],
    "hook_baits": [{"name": "maggot, live", "aliases": ["maggot", "maggots"]}, {"name": "caster"}],
    "rig_types": [{"name": "tapered shot", "aliases": ["taper"]}, {"name": "spread shot"}],
    "members": [{"number": "M1", "role": "secretary"}, {"number": "M2"}],
    "conventions": {
        "date_order": "day-month-year",
        "distance_unit": "m",
        "session_words": {"match": ["match", "m"], "pleasure": ["pleasure", "p"]},
        "wind_words": {"calm": 0, "strong": 6},
        "weight_words": {
            "blank": ["blank", "nothing", "0"],
            "did_not_weigh": ["dnw", "did not weigh"],
            "estimated": ["abt", "est", "c."],
        },
        "headers": HEADERS,
    },
}
GOOD = {
    "date": "01/05/2024",
    "water": "Alder Pond",
    "peg": "1",
    "member": "M1",
    "session": "pleasure",
    "match": "",
    "hours": "5",
    "hook_bait": "maggots",
    "distance": "11.5m",
    "rig_type": "taper",
    "wind": "F3",
    "water_temperature": "12.5",
    "weight": "12-7-8",
    "notes": "",
}


def described(**changes: Any) -> dict[str, Any]:
    return {**copy.deepcopy(DESCRIPTION), **changes}


def small_club(**changes: Any) -> Club:
    return setup_club(description=described(**changes), actor=None, now=NOON).club


def row(**cells: str) -> dict[str, str]:
    """A row that lands, but for the cells given."""
    return {**GOOD, **cells}


def as_text(
    *rows: dict[str, str],
    columns: list[str] | None = None,
    names: dict[str, str] = HEADERS,
    delimiter: str = ",",
) -> str:
    columns = columns or list(HEADERS)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter)
    writer.writerow(names[column] for column in columns)
    writer.writerows([one[column] for column in columns] for one in rows)
    return text.getvalue()


def silent(done: int, total: int, step: str) -> None:
    pass


class Desk:
    """Imports texts for one club, as the command does."""

    def __init__(self, club: Club, directory: Path, clock: Callable[[], datetime] = lambda: NOON) -> None:
        self.club = club
        self.clock = clock
        self.path = directory / "sheet.csv"

    def take(self, *rows: dict[str, str], dry_run: bool = False) -> dict[str, Any]:
        return self.take_bytes(as_text(*rows).encode(), dry_run=dry_run)

    def take_bytes(self, content: bytes, *, dry_run: bool = False, progress: Any = silent) -> dict[str, Any]:
        self.path.write_bytes(content)
        return import_file(
            club=self.club, path=self.path, dry_run=dry_run, actor=None, clock=self.clock, progress=progress
        )


def codes(report: dict[str, Any]) -> list[tuple[int, str, str]]:
    return [(one["line"], one["column"], one["code"]) for one in report["problems"]]
