"""Charts as Vega-Lite documents, version 5, for front ends that draw themselves."""

from typing import Any

from api.forms.charts.base import Chart
from api.forms.width import Width

SCHEMA = "https://vega.github.io/schema/vega-lite/v5.json"


def document(chart: Chart, width: Width) -> dict[str, Any]:
    """The chart's document, with its data in it."""
    return {
        "$schema": SCHEMA,
        "title": {"text": chart.title, "subtitle": chart.subtitle},
        "description": chart.sentences,
        "width": width.pixels,
        "data": {"values": []},
        "mark": "point",
    }
