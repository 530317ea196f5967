"""Charts as Vega-Lite documents, for front ends that draw themselves.

Version 5, as the media type says: it is what most front ends carry. Made from the same records as the
drawings; in place of the second scale in pounds and ounces a front end may put its own.
"""

from collections.abc import Callable
from typing import Any, Final

from api.forms.charts.bank_intervals import BankIntervals
from api.forms.charts.bars import Bars
from api.forms.charts.base import Chart
from api.forms.charts.calibration import Calibration
from api.forms.charts.curves import Curves
from api.forms.charts.heat_map import HeatMap
from api.forms.charts.season_band import SeasonBand
from api.forms.vega import bank_intervals, lines, tables
from api.forms.vega.parts import Part
from api.forms.width import Width

#: What axes and legends take of the width, in pixels.
_BESIDE_PX: Final = 100
SCHEMA: Final = "https://vega.github.io/schema/vega-lite/v5.json"
_PARTS: Final[dict[type[Chart], Callable[[Any, Width], Part]]] = {
    BankIntervals: bank_intervals.part,
    SeasonBand: lines.season_band,
    Curves: lines.curves,
    HeatMap: tables.heat_map,
    Bars: tables.bars,
    Calibration: tables.calibration,
}


def document(chart: Chart, width: Width) -> dict[str, Any]:
    """The chart's document, with its data in it; `usermeta` holds its words and its number of returns."""
    part = _PARTS[type(chart)](chart, width)
    size = {"width": width.pixels - _BESIDE_PX} if "layer" in part else {}
    said = [text for text in (chart.subtitle, chart.sentences) if text]
    return {
        "$schema": SCHEMA,
        "title": {"text": chart.title, "subtitle": said, "anchor": "start"},
        "description": " ".join([chart.title, *said]),
        **size,
        **part,
        "usermeta": {"reference": chart.subtitle, "caption": chart.caption, "returns": chart.returns},
    }
