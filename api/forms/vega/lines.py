"""Curves with bands, and a few curves against each other, as Vega-Lite documents."""

from dataclasses import asdict

from api.forms.charts.curves import Curves
from api.forms.charts.season_band import SeasonBand
from api.forms.vega.parts import (
    INK,
    SOFT,
    Part,
    by_name,
    dash_by_name,
    line_rows,
    quantity,
    shape_by_name,
    tips,
    values,
    worded,
)
from api.forms.width import Width


def season_band(chart: SeasonBand, _width: Width) -> Part:
    """Bands, lines, raw means, marks, and the level where there is one."""
    layers = [_band(chart, 90, 0.16), _band(chart, 50, 0.28), _line(chart)]
    if chart.raw:
        size = {"field": "returns", "type": "quantitative", "title": "returns of a raw mean"}
        raw = {
            "x": _x(chart),
            "y": quantity("value", chart.y),
            "size": size,
            "tooltip": tips("value", "returns"),
        }
        mark = {"type": "point", "color": SOFT}
        layers.append({"data": values(asdict(one) for one in chart.raw), "mark": mark, "encoding": raw})
    if chart.marks:
        layers.extend(_marks(chart))
    if chart.level is not None:
        level = {"y": quantity("level", chart.y)}
        rows = values([{"level": chart.level}])
        layers.append({"data": rows, "mark": {"type": "rule", "color": INK}, "encoding": level})
    return {"layer": layers}


def curves(chart: Curves, _width: Width) -> Part:
    """Lines told apart by colour, dash and shape, over their 50 % bands."""
    return {"layer": [_band(chart, 50, 0.14), _line(chart)]}


def _x(chart: SeasonBand | Curves) -> Part:
    return quantity("x", chart.x, scale={"zero": False, "nice": False}, **worded(chart.ticks))


def _names(chart: SeasonBand | Curves) -> list[str]:
    return list(dict.fromkeys(line.name for line in chart.lines))


def _band(chart: SeasonBand | Curves, share: int, opacity: float) -> Part:
    return {
        "data": values(line_rows(chart.lines)),
        "mark": {"type": "area", "opacity": opacity},
        "encoding": {
            "x": _x(chart),
            "y": quantity(f"lower_{share}", chart.y),
            "y2": {"field": f"upper_{share}"},
            "color": by_name(_names(chart)),
            "detail": {"field": "piece", "type": "nominal"},
        },
    }


def _line(chart: SeasonBand | Curves) -> Part:
    names = _names(chart)
    place = {"x": _x(chart), "y": quantity("estimate", chart.y), "color": by_name(names)}
    told = tips("name", "x", "estimate", "lower_50", "upper_50", "lower_90", "upper_90", "returns")
    piece = {"field": "piece", "type": "nominal"}
    return {
        "data": values(line_rows(chart.lines)),
        "layer": [
            {"mark": "line", "encoding": {**place, "strokeDash": dash_by_name(names), "detail": piece}},
            {
                "mark": {"type": "point", "filled": True},
                "encoding": {**place, "shape": shape_by_name(names), "tooltip": told},
            },
        ],
    }


def _marks(chart: SeasonBand) -> list[Part]:
    rows = values(asdict(mark) for mark in chart.marks)
    x = {"x": _x(chart), "tooltip": tips("label")}
    word = {"type": "text", "angle": 270, "align": "right", "dy": -5, "color": SOFT}
    return [
        {"data": rows, "mark": {"type": "rule", "strokeDash": [3, 2], "color": SOFT}, "encoding": x},
        {
            "data": rows,
            "mark": word,
            "encoding": {"x": _x(chart), "y": {"value": 0}, "text": {"field": "label", "type": "nominal"}},
        },
    ]
