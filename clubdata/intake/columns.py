"""Which column of a sheet is which, by the club's own headers, in any order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from clubdata.errors import InvalidInput
from clubdata.rules.words import fold

REQUIRED_COLUMNS: Final = ("date", "water", "peg", "member", "hours", "weight")


class SheetRefused(InvalidInput):
    """The file as a whole cannot be read; no row of it was looked at."""

    code = "sheet_refused"


@dataclass(frozen=True, slots=True)
class Columns:
    """Position and header as typed of each known column; headers that the club never named."""

    positions: Mapping[str, int]
    headers: Mapping[str, str]
    ignored: tuple[str, ...]
    width: int


def find_columns(header: Sequence[str], wanted: Mapping[str, str]) -> Columns:
    """Match a sheet's header row to `wanted` (column to the club's header), case and spaces aside.

    Raises `SheetRefused` where a required column is missing or a known header stands twice.
    """
    columns_by_header = {fold(name): column for column, name in wanted.items()}
    positions: dict[str, int] = {}
    ignored: list[str] = []
    for position, typed in enumerate(header):
        column = columns_by_header.get(fold(typed))
        if column is None:
            ignored.extend([typed.strip()] if typed.strip() else [])
        elif column in positions:
            raise SheetRefused(f"The sheet has two columns '{typed.strip()}'.", code="column_twice")
        else:
            positions[column] = position
    if missing := [wanted[column] for column in REQUIRED_COLUMNS if column not in positions]:
        raise SheetRefused(
            f"The sheet lacks the required columns {', '.join(missing)}.", code="missing_columns"
        )
    headers = {column: header[position].strip() for column, position in positions.items()}
    return Columns(positions, headers, tuple(ignored), len(header))
