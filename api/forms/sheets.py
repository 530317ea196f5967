"""An answer as tables: what a column holds and in which unit, and the rows."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from math import isfinite
from numbers import Integral, Real
from typing import Any
from uuid import UUID


class Kind(StrEnum):
    """What the cells of a column are."""

    TEXT = "text"
    WHOLE = "whole"
    NUMBER = "number"
    FLAG = "flag"
    DAY = "day"
    MOMENT = "moment"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: `name` for programs, `title` for people, `unit` as written beside a number.

    Without a `kind` the cells tell it.
    """

    name: str
    title: str
    unit: str = ""
    description: str = ""
    kind: Kind | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table. Each row has a cell a column: a text, a number, a flag, a day, a moment or None."""

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Any, ...], ...]

    def __post_init__(self) -> None:
        if any(len(row) != len(self.columns) for row in self.rows):
            raise ValueError(f"a row of '{self.name}' has not one cell a column")
        if any(isinstance(cell, float) and not isfinite(cell) for row in self.rows for cell in row):
            raise ValueError(f"a number of '{self.name}' is not finite")

    def kinds(self) -> tuple[Kind, ...]:
        """The kind of each column."""
        return tuple(
            column.kind or _kind_of([row[place] for row in self.rows], numeric=bool(column.unit))
            for place, column in enumerate(self.columns)
        )


@dataclass(frozen=True, slots=True)
class About:
    """What stands before the tables: what was asked and answered, on which reference, from which fit."""

    title: str
    lines: tuple[tuple[str, str], ...]


def sheet_of(name: str, columns: Sequence[Column], records: Iterable[Mapping[str, Any] | object]) -> Sheet:
    """A table of records, each a mapping or an object that has what the columns name."""
    return Sheet(
        name,
        tuple(columns),
        tuple(tuple(_cell(record, column.name) for column in columns) for record in records),
    )


def _cell(record: Mapping[str, Any] | object, name: str) -> Any:
    value = record[name] if isinstance(record, Mapping) else getattr(record, name)
    return str(value) if isinstance(value, UUID | StrEnum) else value


def _kind_of(cells: Iterable[Any], *, numeric: bool) -> Kind:
    """The narrowest kind that takes every cell; of no cells, a number where the column has a unit."""
    found = {_kind_of_cell(cell) for cell in cells if cell is not None}
    if not found:
        return Kind.NUMBER if numeric else Kind.TEXT
    if found == {Kind.WHOLE, Kind.NUMBER}:
        return Kind.NUMBER
    return found.pop() if len(found) == 1 else Kind.TEXT


def _kind_of_cell(cell: Any) -> Kind:
    match cell:
        case bool():
            return Kind.FLAG
        case Integral():
            return Kind.WHOLE
        case Real() | Decimal():
            return Kind.NUMBER
        case datetime():
            return Kind.MOMENT
        case date():
            return Kind.DAY
        case _:
            return Kind.TEXT
