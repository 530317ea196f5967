"""Amounts side by side."""

from dataclasses import dataclass

from api.forms.charts.base import Axis, Chart, Spread


@dataclass(frozen=True, slots=True)
class Bar:
    """An amount, perhaps with intervals, the returns behind it, and a raw mean of the same."""

    label: str
    value: float
    returns: int | None = None
    spread: Spread | None = None
    raw: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars(Chart):
    """Bars from zero, in the order given."""

    value: Axis
    bars: tuple[Bar, ...]
