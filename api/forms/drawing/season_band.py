"""Curves with bands, and a few curves against each other."""

from collections.abc import Iterable, Sequence
from string import ascii_uppercase
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from api.forms.charts.base import Axis, BandLine, Mark, RawPoint
from api.forms.charts.curves import Curves
from api.forms.charts.season_band import SeasonBand
from api.forms.drawing.frame import Plan, cut
from api.forms.drawing.scales import named, number, pounds_and_ounces
from api.forms.drawing.style import COLOURS, DASHES, INK, MARKERS, SMALL_PT, SOFT, THICK_PT, THIN_PT
from api.forms.width import Width

#: What the axes and margins take of the width, in pixels.
_BESIDE_PX: Final = 130
#: Area of a raw mean's circle, in square points: of one return, and of the one with the most.
_LEAST_AREA, _MOST_AREA = 6.0, 90.0
#: A line of more points has no markers.
MOST_MARKED: Final = 30
#: Room for a line's name beside its sample, in points.
NAME_PT: Final = 85.0
#: Height of a mark's letter, as a share of the axes' height.
_LETTER: Final = 0.055
_HEIGHTS: Final = {Width.PHONE: 3.0, Width.PRINT: 3.6}


def plan(chart: SeasonBand, width: Width) -> Plan:
    notes = []
    if chart.raw:
        most = max(point.returns for point in chart.raw)
        notes.append(f"Circles are raw means; their area is by returns, the largest of {most:,}.")
    if chart.marks:
        named_marks = zip(ascii_uppercase, _in_order(chart.marks), strict=False)
        notes.append("; ".join(f"{letter}: {mark.label}" for letter, mark in named_marks) + ".")
    return Plan(_HEIGHTS[width], tuple(notes))


def draw(chart: SeasonBand, figure: Figure, width: Width) -> None:
    axes = figure.subplots()
    names = list(dict.fromkeys(line.name for line in chart.lines))
    for line in chart.lines:
        _draw_line(axes, line, names.index(line.name), outer=True, markers=_has_markers(chart))
    _draw_raw(axes, chart.raw)
    if chart.level is not None:
        axes.axhline(chart.level, color=INK, lw=0.9, zorder=1)
    number(axes, "x", chart.x)
    _finish(axes, chart, width)
    _draw_marks(axes, chart.marks)
    axes.legend(
        handles=[*_handles(names, markers=_has_markers(chart)), *_bands(names), *_raw_handle(chart.raw)],
        loc="lower left",
        bbox_to_anchor=(0, 1.02 + _LETTER * _stories(chart.marks, axes)),
        ncols=2 if width is Width.PHONE else 4,
    )


def plan_curves(_chart: Curves, width: Width) -> Plan:
    return Plan(_HEIGHTS[width], ("Shaded: the 50 % interval of each line.",))


def draw_curves(chart: Curves, figure: Figure, width: Width) -> None:
    axes = figure.subplots()
    names = list(dict.fromkeys(line.name for line in chart.lines))
    for line in chart.lines:
        _draw_line(axes, line, names.index(line.name), outer=False, markers=True)
    number(axes, "x", chart.x)
    _finish(axes, chart, width)
    axes.legend(
        handles=_handles(names, markers=True),
        loc="lower left",
        bbox_to_anchor=(0, 1.02),
        ncols=2 if width is Width.PHONE else 4,
    )


def _draw_line(axes: Axes, line: BandLine, place: int, *, outer: bool, markers: bool) -> None:
    colour = COLOURS[place % len(COLOURS)]
    xs = [point.x for point in line.points]
    spreads = [point.spread for point in line.points]
    if len(xs) == 1:
        # A band without width would not be seen.
        if outer:
            axes.vlines(xs, spreads[0].lower_90, spreads[0].upper_90, color=colour, lw=THIN_PT)
        axes.vlines(xs, spreads[0].lower_50, spreads[0].upper_50, color=colour, lw=THICK_PT, alpha=0.55)
    if outer:
        ends = [one.lower_90 for one in spreads], [one.upper_90 for one in spreads]
        axes.fill_between(xs, *ends, color=colour, alpha=0.16, lw=0)
    ends = [one.lower_50 for one in spreads], [one.upper_50 for one in spreads]
    axes.fill_between(xs, *ends, color=colour, alpha=0.28 if outer else 0.14, lw=0)
    axes.plot(
        xs,
        [one.estimate for one in spreads],
        color=colour,
        ls=DASHES[place % len(DASHES)],
        lw=1.8,
        marker=MARKERS[place % len(MARKERS)] if markers or len(xs) == 1 else "",
        ms=4.5,
        markevery=max(1, len(xs) // 12),
        zorder=4,
    )


def _draw_raw(axes: Axes, raw: Sequence[RawPoint]) -> None:
    most = max((point.returns for point in raw), default=1)
    areas = [_LEAST_AREA + (_MOST_AREA - _LEAST_AREA) * point.returns / most for point in raw]
    axes.scatter(
        [point.x for point in raw],
        [point.value for point in raw],
        s=areas,
        facecolors="none",
        edgecolors=SOFT,
        linewidths=1.0,
        zorder=3,
    )


def _finish(axes: Axes, chart: SeasonBand | Curves, width: Width) -> None:
    if chart.ticks:
        named(axes, chart.ticks, across_px=width.pixels - _BESIDE_PX)
    number(axes, "y", chart.y)
    # A weight or a rate begins at nothing.
    low, high = axes.get_ylim()
    axes.set_ylim(min(0.0, low) if _has_negative(chart.lines) else 0.0, 1.04 * high)
    axes.grid(axis="y")
    pounds_and_ounces(axes, "y", Axis(chart.y.title, chart.y.unit))


def _has_negative(lines: Iterable[BandLine]) -> bool:
    return any(point.spread.lower_90 < 0 for line in lines for point in line.points)


def _in_order(marks: Iterable[Mark]) -> list[Mark]:
    return sorted(marks, key=lambda mark: mark.x)


def _draw_marks(axes: Axes, marks: Sequence[Mark]) -> None:
    """A line a mark, under a letter; of letters that would touch the later stands above."""
    for letter, mark, level in zip(ascii_uppercase, _in_order(marks), _levels(marks, axes), strict=False):
        axes.axvline(mark.x, color=SOFT, lw=1.0, ls=(0, (3, 2)), zorder=2)
        axes.text(
            mark.x,
            1.005 + _LETTER * level,
            letter,
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="bottom",
            size=SMALL_PT,
            color=INK,
        )


def _levels(marks: Sequence[Mark], axes: Axes) -> list[int]:
    low, high = axes.get_xlim()
    levels: list[int] = []
    for before, mark in zip([None, *_in_order(marks)], _in_order(marks), strict=False):
        close = before is not None and (mark.x - before.x) / (high - low) < 0.05
        levels.append(levels[-1] + 1 if close else 0)
    return levels


def _stories(marks: Sequence[Mark], axes: Axes) -> int:
    """How many letters stand one above the other at most."""
    return max(_levels(marks, axes), default=-1) + 1


def _raw_handle(raw: Sequence[RawPoint]) -> list[Line2D]:
    return (
        [Line2D([], [], mfc="none", mec=SOFT, marker="o", ms=6, ls="none", label="raw mean")] if raw else []
    )


def _has_markers(chart: SeasonBand) -> bool:
    """Where points lie close, as over water temperature, the line alone is clearer."""
    return max((len(line.points) for line in chart.lines), default=0) < MOST_MARKED


def _handles(names: Sequence[str], *, markers: bool) -> list[Line2D]:
    return [
        Line2D(
            [],
            [],
            color=COLOURS[place % len(COLOURS)],
            ls=DASHES[place % len(DASHES)],
            marker=MARKERS[place % len(MARKERS)] if markers else "",
            ms=4.5,
            lw=1.8,
            label=cut(name, NAME_PT),
        )
        for place, name in enumerate(names)
    ]


def _bands(names: Sequence[str]) -> list[Patch]:
    colour = COLOURS[0] if len(names) == 1 else SOFT
    return [
        Patch(color=colour, alpha=0.44, lw=0, label="50 % interval"),
        Patch(color=colour, alpha=0.16, lw=0, label="90 % interval"),
    ]
