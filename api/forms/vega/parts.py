"""What Vega-Lite documents share: encodings, rows of data, and colours as in the drawings."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any, Final

from api.forms.charts.base import Axis, BandLine, Tick

Part = dict[str, Any]
#: As in `api.forms.drawing.style`, which is not loaded for a document.
COLOURS: Final = ("#0072B2", "#D55E00", "#009E73", "#7A3B6E")
DASHES: Final = ([1, 0], [5, 2], [2, 2], [7, 2, 2, 2])
SHAPES: Final = ("circle", "square", "triangle-up", "diamond")
INK: Final = "#1A1A1A"
SOFT: Final = "#555555"


def values(rows: Iterable[Part]) -> Part:
    """Data that stands in the document."""
    return {"values": list(rows)}


def quantity(field: str, shown: Axis, **more: Any) -> Part:
    """A number on an axis with its title and unit."""
    return {"field": field, "type": "quantitative", "title": shown.label, **more}


def line_rows(lines: Sequence[BandLine]) -> list[Part]:
    """A row a point; pieces of one name are told apart by their place, so that gaps stay gaps."""
    return [
        {"name": line.name, "piece": piece, "x": point.x, "returns": point.returns, **asdict(point.spread)}
        for piece, line in enumerate(lines)
        for point in line.points
    ]


def by_name(names: Sequence[str]) -> Part:
    """Colour by name."""
    scale = {"domain": list(names), "range": [COLOURS[place % 4] for place in range(len(names))]}
    return {"field": "name", "type": "nominal", "title": None, "scale": scale}


def dash_by_name(names: Sequence[str]) -> Part:
    scale = {"domain": list(names), "range": [DASHES[place % 4] for place in range(len(names))]}
    return {"field": "name", "type": "nominal", "title": None, "scale": scale}


def shape_by_name(names: Sequence[str]) -> Part:
    scale = {"domain": list(names), "range": [SHAPES[place % 4] for place in range(len(names))]}
    return {"field": "name", "type": "nominal", "title": None, "scale": scale}


def worded(ticks: Sequence[Tick]) -> Part:
    """Words for an axis's numbers. They are written into the expression as JSON strings, never as code."""
    if not ticks:
        return {}
    words = json.dumps({str(place): tick.label for place, tick in enumerate(ticks)})
    places = json.dumps([tick.x for tick in ticks])
    return {
        "axis": {
            "values": [tick.x for tick in ticks],
            "labelExpr": f"{words}[indexof({places}, datum.value)]",
            "grid": False,
        }
    }


def tips(*fields: str) -> list[Part]:
    """What a pointer is told."""
    return [{"field": field, "type": "nominal" if field in _WORDS else "quantitative"} for field in fields]


_WORDS: Final = {"peg", "bank", "name", "label", "row", "column", "left_out"}
