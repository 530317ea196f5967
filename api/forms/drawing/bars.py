"""Bars down the page, from zero."""

from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from api.forms.charts.bars import Bar, Bars
from api.forms.drawing.frame import Plan, cut
from api.forms.drawing.scales import number, pounds_and_ounces
from api.forms.drawing.style import COLOURS, INK, SMALL_PT, THICK_PT, THIN_PT
from api.forms.width import Width

_ROW_IN, _TWO_LINES_IN = 0.24, 0.34
_LABEL_PT: Final = {Width.PHONE: 105.0, Width.PRINT: 190.0}


def plan(chart: Bars, width: Width) -> Plan:
    spread = any(bar.spread for bar in chart.bars)
    told = {
        "Thick line: 50 % interval; thin: 90 %.": spread,
        "Circle: raw mean.": any(bar.raw is not None for bar in chart.bars),
        "In brackets: returns.": any(bar.returns is not None for bar in chart.bars),
    }
    sentences = " ".join(sentence for sentence, holds in told.items() if holds)
    notes = (sentences,) if sentences else ()
    row_in = _TWO_LINES_IN if any("\n" in _label(bar, width) for bar in chart.bars) else _ROW_IN
    return Plan(0.9 + row_in * len(chart.bars), notes)


def draw(chart: Bars, figure: Figure, width: Width) -> None:
    axes = figure.subplots()
    for place, bar in enumerate(chart.bars):
        _draw_bar(axes, place, bar, f"{bar.value:,.{_digits(chart)}f}")
    axes.set_ylim(len(chart.bars) - 0.4, -0.6)
    axes.set_yticks(range(len(chart.bars)), [_label(bar, width) for bar in chart.bars])
    axes.tick_params(axis="y", length=0)
    ends = [bar.value if bar.spread is None else bar.spread.upper_90 for bar in chart.bars]
    ends += [bar.raw for bar in chart.bars if bar.raw is not None]
    # Beside a bar without intervals stands its value.
    room = 1.05 if any(bar.spread for bar in chart.bars) else 1.18
    axes.set_xlim(0, room * max(ends, default=1.0) or 1.0)
    number(axes, "x", chart.value, most=5 if width is Width.PRINT else 4)
    if any(bar.spread for bar in chart.bars):
        axes.grid(axis="x")
    pounds_and_ounces(axes, "x", chart.value)


def _digits(chart: Bars) -> int:
    """As many digits behind the point in each value: three that count, of the largest."""
    largest = max((abs(bar.value) for bar in chart.bars), default=0.0)
    return 0 if largest >= 100 else 1 if largest >= 10 else 2


def _draw_bar(axes: Axes, place: int, bar: Bar, written: str) -> None:
    axes.barh(place, bar.value, height=0.62, color=COLOURS[0], alpha=0.55 if bar.spread else 0.8)
    if bar.raw is not None:
        axes.plot([bar.raw], [place], ls="none", marker="o", ms=7, mfc="white", mec=INK, mew=1.1, zorder=5)
    if bar.spread is None:
        spot = (bar.value, place)
        axes.annotate(
            written, spot, (3, 0), textcoords="offset points", va="center", size=SMALL_PT, color=INK
        )
        return
    axes.hlines(place, bar.spread.lower_90, bar.spread.upper_90, color=INK, lw=THIN_PT)
    axes.hlines(place, bar.spread.lower_50, bar.spread.upper_50, color=INK, lw=THICK_PT * 0.75)


def _label(bar: Bar, width: Width) -> str:
    label = cut(bar.label, _LABEL_PT[width])
    return label if bar.returns is None else f"{label} ({bar.returns:,})"
