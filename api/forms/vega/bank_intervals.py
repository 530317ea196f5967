"""Peg form along the bank, as a Vega-Lite document."""

from dataclasses import asdict
from itertools import pairwise

from api.forms.charts.bank_intervals import BankIntervals
from api.forms.vega.parts import COLOURS, INK, SOFT, Part, tips, values
from api.forms.width import Width

_ROW_PX = 18
_VALID = "isValid(datum.estimate)"


def part(chart: BankIntervals, width: Width) -> Part:
    """Layers over the pegs: down the page on a phone, across it in print."""
    along, beside = ("y", "x") if width is Width.PHONE else ("x", "y")
    pegs: Part = {"field": "peg", "type": "nominal", "title": "Peg in bank order", "sort": None}
    pegs |= {"scale": {"domain": _domain(chart)}, "axis": {"labelAngle": 0, "grid": False}}
    multiplier = {"type": "quantitative", "title": "Multiplier on the typical peg", "scale": {"type": "log"}}

    def interval(share: int, thickness: float) -> Part:
        return {
            "transform": [{"filter": _VALID}],
            "mark": {"type": "rule", "strokeWidth": thickness, "color": COLOURS[0]},
            "encoding": {
                along: pegs,
                beside: {**multiplier, "field": f"lower_{share}"},
                f"{beside}2": {"field": f"upper_{share}"},
            },
        }

    def spot(field: str, mark: Part, keep: str) -> Part:
        encoding = {along: pegs, beside: {**multiplier, "field": field}, "tooltip": _tips()}
        return {"transform": [{"filter": keep}], "mark": mark, "encoding": encoding}

    raw = {"type": "point", "shape": "diamond", "color": COLOURS[1]}
    out = {"type": "point", "shape": "cross", "angle": 45, "color": SOFT, "filled": True}
    return {
        **({"height": {"step": _ROW_PX}} if along == "y" else {}),
        "data": values(_rows(chart)),
        "layer": [
            {"mark": {"type": "rule", "color": INK}, "encoding": {beside: {**multiplier, "datum": 1}}},
            interval(90, 1.2),
            interval(50, 5),
            spot("estimate", {"type": "point", "filled": True, "color": COLOURS[0], "size": 40}, _VALID),
            spot("raw", raw, f"isValid(datum.raw) && {_VALID}"),
            spot("typical", out, f"!{_VALID}"),
        ],
    }


def _tips() -> list[Part]:
    return tips(
        "peg", "bank", "returns", "estimate", "lower_50", "upper_50", "lower_90", "upper_90", "left_out"
    )


def _rows(chart: BankIntervals) -> list[Part]:
    rows = []
    for peg in chart.pegs:
        spread = {} if peg.spread is None or peg.left_out else asdict(peg.spread)
        row = {"peg": peg.label, "bank": peg.bank, "returns": peg.returns, "raw": peg.raw, "typical": 1}
        rows.append({**row, "left_out": peg.left_out, **spread})
    return rows


def _domain(chart: BankIntervals) -> list[str]:
    """The labels in bank order, a blank between banks; no two blanks alike."""
    labels = [chart.pegs[0].label] if chart.pegs else []
    for before, peg in pairwise(chart.pegs):
        if peg.bank != before.bank:
            labels.append(" " * sum(label.isspace() for label in labels) + " ")
        labels.append(peg.label)
    return labels
