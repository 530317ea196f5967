"""Charts as SVG and PNG, each by a figure of its own and one at a time: the library is not safe between
threads.
"""

import io
import threading
from collections.abc import Callable
from typing import Any, Final
from xml.sax.saxutils import escape

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from api.forms.charts.bank_intervals import BankIntervals
from api.forms.charts.bars import Bars
from api.forms.charts.base import Chart
from api.forms.charts.calibration import Calibration
from api.forms.charts.curves import Curves
from api.forms.charts.heat_map import HeatMap
from api.forms.charts.season_band import SeasonBand
from api.forms.drawing import bank_intervals, bars, calibration, heat_map, season_band
from api.forms.drawing.frame import Plan, framed
from api.forms.plain import plain
from api.forms.width import Width

#: Twice the pixels of a screen of 96 an inch.
PNG_DPI: Final = 192
_Drawer = tuple[Callable[[Any, Width], Plan], Callable[[Any, Figure, Width], None]]
_DRAWERS: Final[dict[type[Chart], _Drawer]] = {
    BankIntervals: (bank_intervals.plan, bank_intervals.draw),
    SeasonBand: (season_band.plan, season_band.draw),
    Curves: (season_band.plan_curves, season_band.draw_curves),
    HeatMap: (heat_map.plan, heat_map.draw),
    Calibration: (calibration.plan, calibration.draw),
    Bars: (bars.plan, bars.draw),
}
_one_at_a_time = threading.Lock()


def picture(chart: Chart, form: str, width: Width) -> bytes:
    """The chart as `svg` or `png`; the same chart gives the same bytes."""
    with _one_at_a_time:
        figure = drawn(chart, width)
        return _svg(figure, chart) if form == "svg" else _png(figure, chart)


def drawn(chart: Chart, width: Width) -> Figure:
    """The chart on a figure of its own."""
    plan, draw = _DRAWERS[type(chart)]
    figure = framed(chart, plan(chart, width), width)
    draw(chart, figure, width)
    return figure


def _png(figure: Figure, chart: Chart) -> bytes:
    buffer = io.BytesIO()
    words = {"Title": plain(chart.title), "Description": plain(chart.sentences), "Software": "clubdata"}
    FigureCanvasAgg(figure)
    figure.savefig(buffer, format="png", dpi=PNG_DPI, metadata=words)
    return buffer.getvalue()


def _svg(figure: Figure, chart: Chart) -> bytes:
    """SVG with a title and a description for those who hear it."""
    buffer = io.BytesIO()
    FigureCanvasSVG(figure)
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "clubdata"})
    head, opened, rest = buffer.getvalue().decode().partition("<svg ")
    attributes, _, body = rest.partition(">")
    heard = plain(f"{chart.subtitle} {chart.sentences}").strip()
    words = (
        f'<title id="chart-title">{escape(plain(chart.title))}</title>'
        f'<desc id="chart-description">{escape(heard)}</desc>'
    )
    labelled = 'role="img" aria-labelledby="chart-title chart-description"'
    return f"{head}{opened}{labelled} {attributes}>\n {words}{body}".encode()
