"""Charts as SVG and PNG, by figures of their own: no shared state, so that threads may draw at once."""

import io
from functools import singledispatch
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from api.forms.charts.base import Chart
from api.forms.width import Width


def picture(chart: Chart, form: str, width: Width) -> bytes:
    """The chart as `svg` or `png`."""
    inches = width.pixels / 96
    figure = Figure(figsize=(inches, inches * 0.7), layout="constrained")
    axes = figure.subplots()
    axes.set_title(chart.title)
    axes.set_xlabel(chart.sentences)
    draw(chart, axes)
    canvas: Any = FigureCanvasSVG(figure) if form == "svg" else FigureCanvasAgg(figure)
    buffer = io.BytesIO()
    if form == "svg":
        canvas.print_svg(buffer)
    else:
        canvas.print_png(buffer)
    return buffer.getvalue()


@singledispatch
def draw(chart: Chart, axes: Any) -> None:
    """Draw a chart on axes."""
