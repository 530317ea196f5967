"""A few curves against each other, such as distance in each season."""

from dataclasses import dataclass

from api.forms.charts.base import Axis, BandLine, Chart, Tick

#: More lines than this cannot be told apart by dash and marker.
MOST_LINES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves(Chart):
    """Up to four lines, told apart by colour, dash and marker; their 50 % bands are shaded."""

    x: Axis
    y: Axis
    lines: tuple[BandLine, ...]
    ticks: tuple[Tick, ...] = ()

    def __post_init__(self) -> None:
        if len({line.name for line in self.lines}) > MOST_LINES:
            raise ValueError(f"at most {MOST_LINES} lines can be told apart")
