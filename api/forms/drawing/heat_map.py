"""A table as shades, with the values written in."""

from typing import Final

from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle

from api.forms.charts.heat_map import Cell, HeatMap
from api.forms.drawing.frame import POINTS_PER_INCH, Plan, cut, inches, text_width_pt
from api.forms.drawing.scales import number, pounds_and_ounces
from api.forms.drawing.style import FAINT, INK, SHADES, SMALL_PT, SOFT
from api.forms.plain import plain
from api.forms.width import Width

_ROW_IN: Final = {Width.PHONE: 0.33, Width.PRINT: 0.4}
#: Room for a row's name, in points.
_NAME_PT: Final = {Width.PHONE: 85.0, Width.PRINT: 150.0}
_HATCH: Final = "////"
#: A shade darker than this (relative luminance) takes white letters.
_DARK: Final = 0.45


def plan(chart: HeatMap, width: Width) -> Plan:
    in_words = f"Written in: {chart.value.title.lower()}, {_written_unit(chart)}".rstrip(", ")
    counted = "; small, the returns" if width is Width.PRINT else ""
    return Plan(1.45 + _ROW_IN[width] * len(chart.rows), (f"{in_words}{counted}.",))


def draw(chart: HeatMap, figure: Figure, width: Width) -> None:
    axes = figure.subplots()
    values = [cell.value for cell in chart.cells if cell.value is not None and not cell.too_few]
    scale = Normalize(min([0.0, *values]), max(values, default=1.0) or 1.0)
    for cell in chart.cells:
        _draw_cell(axes, chart, cell, scale, width)
    axes.set_xlim(-0.5, max(len(chart.columns), 1) - 0.5)
    axes.set_ylim(max(len(chart.rows), 1) - 0.5, -0.5)
    axes.set_xticks(range(len(chart.columns)), [plain(column) for column in chart.columns])
    if _would_touch(chart, width):
        axes.tick_params(axis="x", rotation=90)
    axes.set_yticks(range(len(chart.rows)), _row_names(chart, width))
    axes.set_xlabel(chart.x.label)
    if width is Width.PRINT:
        axes.set_ylabel(chart.y.label)
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    _legend(axes, chart)
    _bar(figure, axes, chart, scale)


def _row_names(chart: HeatMap, width: Width) -> list[str]:
    return [cut(row, _NAME_PT[width]) for row in chart.rows]


def _would_touch(chart: HeatMap, width: Width) -> bool:
    lines = [line for name in _row_names(chart, width) for line in name.splitlines()]
    rows_pt, columns_pt = (
        max((text_width_pt(plain(name), SMALL_PT) for name in names), default=0.0)
        for names in (lines, chart.columns)
    )
    room_pt = inches(width) * POINTS_PER_INCH - rows_pt - 30
    return (columns_pt + 3) * len(chart.columns) > room_pt


def _draw_cell(axes: Axes, chart: HeatMap, cell: Cell, scale: Normalize, width: Width) -> None:
    corner = (cell.column - 0.5, cell.row - 0.5)
    if cell.too_few or cell.value is None:
        axes.add_patch(Rectangle(corner, 1, 1, facecolor="white", hatch=_HATCH, edgecolor="#B0B0B0", lw=0.5))
        return
    red, green, blue, _ = colormaps[SHADES](float(scale(cell.value)))
    letters = "white" if 0.2126 * red + 0.7152 * green + 0.0722 * blue < _DARK else INK
    axes.add_patch(Rectangle(corner, 1, 1, facecolor=(red, green, blue), edgecolor="white", lw=1))
    up = 0.14 if width is Width.PRINT else 0.0
    text = _written(chart, cell.value)
    axes.text(cell.column, cell.row - up, text, ha="center", va="center", size=SMALL_PT, color=letters)
    if width is Width.PRINT:
        spot = (cell.column, cell.row + 0.27)
        axes.text(*spot, f"{cell.returns}", ha="center", va="center", size=6.5, color=letters)


def _in_thousands(chart: HeatMap) -> bool:
    """Grams of four digits are written as kilograms: a phone's cell has room for three."""
    return chart.value.unit.startswith("g") and _largest(chart) >= 1000


def _largest(chart: HeatMap) -> float:
    return max((abs(cell.value or 0) for cell in chart.cells), default=0)


def _written_unit(chart: HeatMap) -> str:
    return f"k{chart.value.unit}" if _in_thousands(chart) else chart.value.unit


def _written(chart: HeatMap, value: float) -> str:
    """With one digit behind the point in every cell, or none where ten is reached."""
    by = 1000 if _in_thousands(chart) else 1
    return f"{value / by:.{0 if _largest(chart) / by >= 10 else 1}f}"


def _legend(axes: Axes, chart: HeatMap) -> None:
    if any(cell.too_few or cell.value is None for cell in chart.cells):
        few = Patch(facecolor="white", hatch=_HATCH, edgecolor="#B0B0B0", label="too few returns")
        axes.legend(handles=[few], loc="lower left", bbox_to_anchor=(0, 1.0), labelcolor=SOFT)


def _bar(figure: Figure, axes: Axes, chart: HeatMap, scale: Normalize) -> None:
    shades = ScalarMappable(scale, SHADES)
    bar = figure.colorbar(shades, ax=axes, location="bottom", fraction=0.08, aspect=28, pad=0.03)
    bar.outline.set_edgecolor(FAINT)
    number(bar.ax, "x", chart.value, most=5)
    pounds_and_ounces(bar.ax, "x", chart.value)
