"""Observed coverage against nominal, and means observed against means predicted."""

from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import PercentFormatter

from api.forms.charts.base import Axis
from api.forms.charts.calibration import Calibration
from api.forms.drawing.frame import Plan
from api.forms.drawing.scales import number, pounds_and_ounces
from api.forms.drawing.style import COLOURS, FAINT, INK
from api.forms.width import Width

_PANEL_IN: Final = {Width.PHONE: 3.3, Width.PRINT: 2.9}
_LEAST_AREA, _MOST_AREA = 8.0, 80.0


def plan(chart: Calibration, width: Width) -> Plan:
    notes = []
    if chart.coverage:
        notes.append("Lines on the points of coverage are 95 % binomial bounds (Wilson).")
    if chart.means:
        most = max(pair.returns for pair in chart.means)
        notes.append(f"The area of a mean is by its returns, the largest of {most:,}.")
    panels = bool(chart.coverage) + bool(chart.means)
    rows = panels if width is Width.PHONE else 1
    return Plan(_PANEL_IN[width] * rows, tuple(notes))


def draw(chart: Calibration, figure: Figure, width: Width) -> None:
    panels = [
        draw_panel for draw_panel, wanted in ((_coverage, chart.coverage), (_means, chart.means)) if wanted
    ]
    across = width is Width.PRINT
    grid = figure.subplots(1 if across else len(panels), len(panels) if across else 1, squeeze=False)
    layout = figure.get_layout_engine()
    if isinstance(layout, ConstrainedLayoutEngine):
        layout.set(hspace=0.06, wspace=0.05)
    for axes, draw_panel in zip(grid.flat, panels, strict=True):
        draw_panel(axes, chart)


def _coverage(axes: Axes, chart: Calibration) -> None:
    axes.plot([0, 1], [0, 1], color=INK, lw=0.9, ls=(0, (4, 2)))
    for point in chart.coverage:
        low, high = point.bounds
        axes.vlines(point.nominal, low, high, color=COLOURS[0], lw=1.4)
        axes.plot([point.nominal], [point.observed], "o", color=COLOURS[0], ms=5)
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.set_aspect("equal")
    for scale in (axes.xaxis, axes.yaxis):
        scale.set_major_formatter(PercentFormatter(1, symbol=" %"))
    axes.set_xlabel("Promised by the interval")
    axes.set_ylabel("Sessions inside it")
    axes.grid(color=FAINT)


def _means(axes: Axes, chart: Calibration) -> None:
    most = max(pair.returns for pair in chart.means)
    largest = 1.08 * max(max(pair.predicted, pair.observed) for pair in chart.means)
    axes.plot([0, largest], [0, largest], color=INK, lw=0.9, ls=(0, (4, 2)))
    axes.scatter(
        [pair.predicted for pair in chart.means],
        [pair.observed for pair in chart.means],
        s=[_LEAST_AREA + (_MOST_AREA - _LEAST_AREA) * pair.returns / most for pair in chart.means],
        color=COLOURS[0],
        alpha=0.75,
        linewidths=0,
        zorder=3,
    )
    axes.set_xlim(0, largest)
    axes.set_ylim(0, largest)
    axes.set_aspect("equal")
    number(axes, "x", Axis(f"{chart.weight.title} predicted", chart.weight.unit), most=4)
    number(axes, "y", Axis("Observed", chart.weight.unit), most=5)
    pounds_and_ounces(axes, "y", chart.weight)
    axes.grid(color=FAINT)
