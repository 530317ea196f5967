"""A table of estimates as shades, such as hook bait by month."""

from dataclasses import dataclass

from api.forms.charts.base import Axis, Chart


@dataclass(frozen=True, slots=True)
class Cell:
    """The value at a row and a column, by their places; `too_few` returns leave it hatched."""

    row: int
    column: int
    value: float | None
    returns: int
    too_few: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatMap(Chart):
    """Shades of `value` by row and column; a place without a cell stays empty."""

    x: Axis
    y: Axis
    value: Axis
    columns: tuple[str, ...]
    rows: tuple[str, ...]
    cells: tuple[Cell, ...]
