"""A weather station's file: one reading a line, every fault told by line and column."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from clubdata.errors import InvalidInput
from clubdata.intake.sheet import open_sheet
from clubdata.models import Club
from clubdata.rules.weather import MEASURED, PLAUSIBLE, Reading
from clubdata.services.faults import ManyInvalid

MOST_READINGS: Final = 20_000
MOST_FAULTS_TOLD: Final = 50
#: Before it no station wrote files.
EARLIEST: Final = datetime(1950, 1, 1, tzinfo=UTC)
#: A station's clock may be so far ahead.
AHEAD: Final = timedelta(hours=1)


def read_station(*, path: Path, club: Club, now: datetime) -> list[Reading]:
    """The readings of a file with `read_at` and any of the measured columns, in the units of their names.

    `read_at` is ISO 8601, and the club's local time unless it names an offset. A local time that the clock
    shows twice or never when it is changed is refused, and so is one to come.

    Raises `ManyInvalid` with every fault, `SheetRefused` for a file that cannot be read.
    """
    sheet = open_sheet(path)
    names = [name.strip().casefold() for name in sheet.header]
    unknown = [name for name in names if name and name not in {"read_at", *MEASURED}]
    doubled = {name for name in names if name and names.count(name) > 1}
    if doubled:
        told = ", ".join(sorted(doubled))
        raise InvalidInput(f"There twice: {told}.", field="file", code="columns_twice")
    if "read_at" not in names or unknown:
        known = ", ".join(("read_at", *MEASURED))
        raise InvalidInput(f"The columns of a station's file are: {known}.", field="file", code="columns")
    zone, found, faults = ZoneInfo(club.time_zone), [], []
    for line, cells in sheet.rows():
        row = dict(zip(names, cells, strict=False))
        try:
            found.append(_reading(row, zone, now))
        except InvalidInput as fault:
            faults.append(InvalidInput(fault.message, field=f"line {line}.{fault.field}", code=fault.code))
        if len(faults) >= MOST_FAULTS_TOLD:
            break
        if len(found) > MOST_READINGS:
            raise InvalidInput(f"At most {MOST_READINGS} readings at once.", field="file", code="too_many")
    if faults:
        raise ManyInvalid(tuple(faults))
    return found


def _reading(row: dict[str, str], zone: ZoneInfo, now: datetime) -> Reading:
    read_at = _moment(row.get("read_at", "").strip(), zone)
    if not EARLIEST <= read_at <= now + AHEAD:
        raise InvalidInput("From 1950 to now.", field="read_at", code="out_of_range")
    return Reading(read_at, **{name: _number(name, row.get(name, "")) for name in MEASURED})


def _moment(text: str, zone: ZoneInfo) -> datetime:
    """In UTC."""
    try:
        moment = datetime.fromisoformat(text)
        local = moment.replace(tzinfo=zone) if moment.tzinfo is None else moment
        first, second = (local.replace(fold=fold).astimezone(UTC) for fold in (0, 1))
    except (ValueError, OverflowError):
        raise InvalidInput("Write a time as 2024-05-01T10:00.", field="read_at", code="not_a_time") from None
    if first != second:
        raise InvalidInput(
            "The clock is changed at this time: write it with its offset, as in 2024-10-27T01:30+00:00.",
            field="read_at",
            code="clock_change",
        )
    return first


def _number(name: str, text: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        raise InvalidInput("Not a number.", field=name, code="not_a_number") from None
    least, most = PLAUSIBLE[name]
    if not math.isfinite(value) or not least <= value <= most:
        raise InvalidInput(f"From {least:g} to {most:g}.", field=name, code="out_of_range")
    return value
