"""Shades, bars and calibration as Vega-Lite documents."""

from dataclasses import asdict
from typing import Any

from api.forms.charts.bars import Bars
from api.forms.charts.base import Axis
from api.forms.charts.calibration import Calibration
from api.forms.charts.heat_map import HeatMap
from api.forms.vega.parts import COLOURS, INK, SOFT, Part, quantity, tips, values
from api.forms.width import Width


def heat_map(chart: HeatMap, _width: Width) -> Part:
    """Shades with the values in them; grey with a dash where there are too few returns."""
    rows = [
        {
            "row": chart.rows[cell.row],
            "column": chart.columns[cell.column],
            "value": None if cell.too_few else cell.value,
            "returns": cell.returns,
        }
        for cell in chart.cells
    ]
    place = {
        "x": {"field": "column", "type": "ordinal", "sort": list(chart.columns), "title": chart.x.label},
        "y": {"field": "row", "type": "ordinal", "sort": list(chart.rows), "title": chart.y.label},
    }
    shade = {**quantity("value", chart.value), "scale": {"scheme": "cividis"}}
    text = {"field": "value", "type": "quantitative", "format": ".3~s"}
    told = tips("row", "column", "value", "returns")
    known, too_few = "isValid(datum.value)", "!isValid(datum.value)"
    return {
        "data": values(rows),
        "layer": [
            {
                "transform": [{"filter": known}],
                "mark": "rect",
                "encoding": {**place, "color": shade, "tooltip": told},
            },
            {
                "transform": [{"filter": known}],
                "mark": {"type": "text", "stroke": "white", "strokeWidth": 2.5, "strokeOpacity": 0.75},
                "encoding": {**place, "text": text},
            },
            {
                "transform": [{"filter": known}],
                "mark": {"type": "text", "color": INK},
                "encoding": {**place, "text": text},
            },
            {
                "transform": [{"filter": too_few}],
                "mark": {"type": "rect", "color": "#E4E4E4"},
                "encoding": {**place, "tooltip": told},
            },
            {
                "transform": [{"filter": too_few}],
                "mark": {"type": "text", "color": SOFT},
                "encoding": {**place, "text": {"value": "–"}},
            },
        ],
    }


def bars(chart: Bars, _width: Width) -> Part:
    """Bars from zero, with their intervals where they have them."""
    rows = [
        {
            "label": bar.label,
            "value": bar.value,
            "returns": bar.returns,
            **({} if bar.raw is None else {"raw": bar.raw}),
            **({} if bar.spread is None else asdict(bar.spread)),
        }
        for bar in chart.bars
    ]
    y = {"field": "label", "type": "nominal", "sort": None, "title": None}

    def interval(share: int, thickness: float) -> Part:
        return {
            "transform": [{"filter": f"isValid(datum.lower_{share})"}],
            "mark": {"type": "rule", "strokeWidth": thickness, "color": INK},
            "encoding": {
                "y": y,
                "x": quantity(f"lower_{share}", chart.value),
                "x2": {"field": f"upper_{share}"},
            },
        }

    bar = {"y": y, "x": quantity("value", chart.value), "tooltip": tips("label", "value", "returns")}
    return {
        "data": values(rows),
        "layer": [
            {"mark": {"type": "bar", "color": COLOURS[0], "opacity": 0.7}, "encoding": bar},
            interval(90, 1.2),
            interval(50, 4),
            {
                "transform": [{"filter": "isValid(datum.raw)"}],
                "mark": {"type": "point", "color": INK, "size": 60},
                "encoding": {
                    "y": y,
                    "x": quantity("raw", chart.value),
                    "tooltip": tips("label", "raw", "returns"),
                },
            },
        ],
    }


def calibration(chart: Calibration, width: Width) -> Part:
    """One panel or two, side by side in print."""
    panels = []
    if chart.coverage:
        panels.append(_coverage(chart))
    if chart.means:
        panels.append(_means(chart))
    return {"vconcat" if width is Width.PHONE else "hconcat": panels}


def _diagonal(x: Axis, y: Axis, end: float) -> Part:
    return {
        "data": values([{"x": 0, "y": 0}, {"x": end, "y": end}]),
        "mark": {"type": "line", "strokeDash": [4, 2], "color": INK},
        "encoding": {"x": quantity("x", x), "y": quantity("y", y)},
    }


def _coverage(chart: Calibration) -> Part:
    x, y = Axis("Promised by the interval"), Axis("Sessions inside it")
    share: dict[str, Any] = {"axis": {"format": "%"}, "scale": {"domain": [0, 1]}}
    rows = [
        {"nominal": one.nominal, "observed": one.observed, "lower": one.bounds[0], "upper": one.bounds[1]}
        | {"returns": one.of}
        for one in chart.coverage
    ]
    place = {"x": quantity("nominal", x, **share)}
    told = tips("nominal", "observed", "lower", "upper", "returns")
    return {
        "data": values(rows),
        "layer": [
            _diagonal(x, y, 1),
            {
                "mark": {"type": "rule", "color": COLOURS[0]},
                "encoding": {**place, "y": quantity("lower", y, **share), "y2": {"field": "upper"}},
            },
            {
                "mark": {"type": "point", "filled": True, "color": COLOURS[0]},
                "encoding": {**place, "y": quantity("observed", y, **share), "tooltip": told},
            },
        ],
    }


def _means(chart: Calibration) -> Part:
    x = Axis(f"{chart.weight.title} predicted", chart.weight.unit)
    y = Axis("Observed", chart.weight.unit)
    end = max(max(pair.predicted, pair.observed) for pair in chart.means)
    encoding = {
        "x": quantity("predicted", x),
        "y": quantity("observed", y),
        "size": {"field": "returns", "type": "quantitative", "title": "returns"},
        "tooltip": tips("predicted", "observed", "returns"),
    }
    return {
        "data": values(asdict(pair) for pair in chart.means),
        "layer": [
            _diagonal(x, y, end),
            {"mark": {"type": "point", "filled": True, "color": COLOURS[0]}, "encoding": encoding},
        ],
    }
