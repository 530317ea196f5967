"""Peg form along the bank: across the page, or down it where the pegs would touch."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from api.forms.charts.bank_intervals import BankIntervals, BankPeg
from api.forms.drawing.frame import POINTS_PER_INCH, Plan, text_width_pt
from api.forms.drawing.scales import multipliers
from api.forms.drawing.style import COLOURS, FAINT, INK, SMALL_PT, SOFT, THICK_PT, THIN_PT
from api.forms.plain import plain
from api.forms.width import Width

#: A peg across the page needs so many pixels, of what the axis and margins leave.
_ACROSS_PX: Final = 18.0
_BESIDE_PX: Final = 90
_APART_PX: Final = 4
_ROW_IN, _LEAST_ROW_IN = 0.19, 0.125
#: What rows may take of a page's height.
_PAGE_IN: Final = 8.2
_BANK_GAP: Final = 1.0
TITLE: Final = "Multiplier on the typical peg"


@dataclass(frozen=True, slots=True)
class _Placed:
    place: float
    peg: BankPeg


def plan(chart: BankIntervals, width: Width) -> Plan:
    left_out = [f"{peg.label} ({peg.left_out})" for peg in chart.pegs if peg.left_out]
    notes = (f"Left out: {', '.join(left_out)}.",) if left_out else ()
    if _is_across(chart, width):
        return Plan(3.2, notes)
    rows = _length(chart) + 1
    row_in = max(_LEAST_ROW_IN, min(_ROW_IN, _PAGE_IN / rows)) if width is Width.PRINT else _ROW_IN
    return Plan(1.1 + row_in * rows, notes)


def draw(chart: BankIntervals, figure: Figure, width: Width) -> None:
    axes = figure.subplots()
    across = _is_across(chart, width)
    pegs = list(_placed(chart))
    _draw_pegs(axes, pegs, across=across)
    _scales(axes, chart, pegs, across=across)
    _banks(axes, pegs, across=across)
    named = across and any(peg.bank for peg in chart.pegs)
    axes.legend(
        handles=_legend(chart),
        loc="lower left",
        bbox_to_anchor=(0, 1.06 if named else 1.0),
        ncols=2 if width is Width.PHONE else 5,
    )


def _is_across(chart: BankIntervals, width: Width) -> bool:
    labels = (plain(text) for peg in chart.pegs for text in (peg.label, peg.counted))
    widest_px = max((text_width_pt(label, SMALL_PT) for label in labels), default=0.0) * 96 / POINTS_PER_INCH
    return _length(chart) * max(_ACROSS_PX, widest_px + _APART_PX) <= width.pixels - _BESIDE_PX


def _length(chart: BankIntervals) -> float:
    banks = len({peg.bank for peg in chart.pegs})
    return len(chart.pegs) + _BANK_GAP * (banks - 1)


def _placed(chart: BankIntervals) -> Iterator[_Placed]:
    place, bank = -1.0, chart.pegs[0].bank if chart.pegs else ""
    for peg in chart.pegs:
        place += 1 if peg.bank == bank else 1 + _BANK_GAP
        bank = peg.bank
        yield _Placed(place, peg)


def _draw_pegs(axes: Axes, pegs: Sequence[_Placed], *, across: bool) -> None:
    known = [
        (one.place, one.peg.spread) for one in pegs if one.peg.spread is not None and not one.peg.left_out
    ]
    places = [place for place, _ in known]
    lines = axes.vlines if across else axes.hlines
    ends_90 = [spread.lower_90 for _, spread in known], [spread.upper_90 for _, spread in known]
    lines(places, *ends_90, color=COLOURS[0], lw=THIN_PT)
    ends_50 = [spread.lower_50 for _, spread in known], [spread.upper_50 for _, spread in known]
    lines(places, *ends_50, color=COLOURS[0], lw=THICK_PT, alpha=0.55)
    estimates = [(place, spread.estimate) for place, spread in known]
    _spots(axes, estimates, "o", across=across, color=COLOURS[0], ms=4.5, zorder=4)
    raw = [(one.place, one.peg.raw) for one in pegs if one.peg.raw and not one.peg.left_out]
    _spots(axes, raw, "D", across=across, mfc="white", mec=COLOURS[1], ms=4.2, mew=1.1, zorder=3)
    out = [(one.place, 1.0) for one in pegs if one.peg.left_out or one.peg.spread is None]
    _spots(axes, out, "x", across=across, color=SOFT, ms=6, mew=1.4, zorder=3)


def _spots(
    axes: Axes, spots: Sequence[tuple[float, float]], marker: str, *, across: bool, **look: Any
) -> None:
    places, values = [place for place, _ in spots], [value for _, value in spots]
    xs, ys = (places, values) if across else (values, places)
    axes.plot(xs, ys, marker, **look)


def _scales(axes: Axes, chart: BankIntervals, pegs: list[_Placed], *, across: bool) -> None:
    spreads = [peg.spread for peg in chart.pegs if peg.spread is not None and not peg.left_out]
    reached = [end for spread in spreads for end in (spread.lower_90, spread.upper_90)]
    raw = [peg.raw for peg in chart.pegs if peg.raw is not None and not peg.left_out]
    multipliers(axes, "y" if across else "x", TITLE, [*reached, *raw])
    places = [one.place for one in pegs]
    before = 0.7 if across or not any(peg.bank for peg in chart.pegs) else 1.2
    ends = (min(places, default=0) - before, max(places, default=0) + 0.7)
    (axes.axhline if across else axes.axvline)(1, color=INK, lw=0.9, zorder=1)
    axes.grid(axis="y" if across else "x")
    labels = [plain(one.peg.label) for one in pegs]
    if across:
        axes.set_xlim(*ends)
        counted = [f"{label}\n{one.peg.counted}" for label, one in zip(labels, pegs, strict=True)]
        axes.set_xticks(places, counted)
        axes.set_xlabel("Peg in bank order, and its returns")
    else:
        axes.set_ylim(ends[1], ends[0])
        counted = [f"{label} ({one.peg.counted})" for label, one in zip(labels, pegs, strict=True)]
        axes.set_yticks(places, counted)
        axes.set_ylabel("Peg in bank order (its returns)")
    axes.tick_params(axis="x" if across else "y", length=0)


def _banks(axes: Axes, pegs: list[_Placed], *, across: bool) -> None:
    """A line in each gap, and the banks' names where they have one."""
    for before, after in pairwise(pegs):
        if before.peg.bank != after.peg.bank:
            middle = (before.place + after.place) / 2 - (0 if across else 0.25)
            (axes.axvline if across else axes.axhline)(middle, color=FAINT, lw=1.2)
    for bank in dict.fromkeys(one.peg.bank for one in pegs):
        if bank:
            first = next(one.place for one in pegs if one.peg.bank == bank)
            _name(axes, plain(bank), first, across=across)


def _name(axes: Axes, bank: str, first: float, *, across: bool) -> None:
    """Above the first peg across the page; in a line of its own before it down the page."""
    at = (first - 0.45, 1.01) if across else (0.01, first - 0.72)
    how = axes.get_xaxis_transform() if across else axes.get_yaxis_transform()
    va = "bottom" if across else "center"
    axes.text(*at, bank, transform=how, ha="left", va=va, size=SMALL_PT, color=SOFT, style="italic")


def _legend(chart: BankIntervals) -> list[Line2D]:
    handles = [
        Line2D([], [], color=COLOURS[0], marker="o", ms=4.5, ls="none", label="estimate"),
        Line2D([], [], color=COLOURS[0], lw=THICK_PT, alpha=0.55, label="50 % interval"),
        Line2D([], [], color=COLOURS[0], lw=THIN_PT, label="90 % interval"),
    ]
    if any(peg.raw is not None and not peg.left_out for peg in chart.pegs):
        raw = Line2D([], [], mfc="white", mec=COLOURS[1], marker="D", ms=4.2, ls="none", label="raw mean")
        handles.append(raw)
    if any(peg.left_out or peg.spread is None for peg in chart.pegs):
        out = Line2D([], [], color=SOFT, marker="x", ms=6, mew=1.4, ls="none", label="left out")
        handles.append(out)
    return handles
