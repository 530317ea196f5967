"""Curves with their intervals over months, years or water temperature, raw means beside them."""

from dataclasses import dataclass

from api.forms.charts.base import Axis, BandLine, Chart, Mark, RawPoint, Tick


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonBand(Chart):
    """Lines with 50 % and 90 % bands, raw means sized by their returns, and what happened meanwhile.

    `ticks` replace the numbers of the horizontal axis. With `level` a line is drawn there (1 for an index).
    """

    x: Axis
    y: Axis
    lines: tuple[BandLine, ...]
    raw: tuple[RawPoint, ...] = ()
    marks: tuple[Mark, ...] = ()
    ticks: tuple[Tick, ...] = ()
    level: float | None = None
