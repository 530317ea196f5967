"""Advice as charts: the choices side by side, distance through the year, and baits month by month."""

from calendar import month_abbr, month_name

from analytics.answers.advice import Advice
from analytics.answers.choices import Choice
from analytics.answers.curves import DistancePoint, bait_months, distance_curves
from api.forms.charts.bars import Bar, Bars
from api.forms.charts.base import Axis, BandLine, BandPoint, Spread
from api.forms.charts.curves import Curves
from api.forms.charts.heat_map import Cell, HeatMap

G_PER_KG = 1000.0
_WEIGHT = Axis("Expected weight", "kg")


def choices_chart(advice: Advice) -> Bars | None:
    """The choices by expected weight."""
    if advice.scene is None:
        return None
    return Bars(
        title=_titled(f"What to fish {_when(advice)}", advice),
        subtitle=_reference(advice),
        caption="Means; single sessions differ far more.",
        returns=_returns(advice),
        value=_WEIGHT,
        bars=tuple(_bar(choice) for choice in advice.choices),
    )


def distances_chart(advice: Advice) -> Curves | None:
    """The first choice's bait and rig type by distance, in each season."""
    curves = () if advice.scene is None else distance_curves(advice.scene, advice.choices[0])
    if not curves:
        return None
    lines = (BandLine(curve.season, tuple(map(_band_point, curve.points))) for curve in curves)
    first = advice.choices[0]
    rig = "" if first.rig_type is None else f", {first.rig_type.name}"
    return Curves(
        title=f"Distance through the year: {first.hook_bait.name}{rig}",
        subtitle=_titled(_hours(advice), advice),
        caption="Means in the middle month of each season.",
        returns=_returns(advice),
        x=Axis("Distance", "m"),
        y=_WEIGHT,
        lines=tuple(lines),
    )


def months_chart(advice: Advice) -> HeatMap | None:
    """The choices' baits in every month."""
    if advice.scene is None:
        return None
    rows = {choice.hook_bait.uid: place for place, choice in enumerate(advice.choices)}
    cells = (
        Cell(rows[item.hook_bait.uid], item.month - 1, item.expected_g / G_PER_KG, item.returns, item.too_few)
        for item in bait_months(advice.scene, advice.choices)
    )
    return HeatMap(
        title=_titled("Hook baits through the year", advice),
        subtitle=f"{_hours(advice)}, each bait at its distance and rig type of the advice",
        caption="Hatched where fewer than 3 returns of the season speak for it.",
        returns=_returns(advice),
        x=Axis("Month"),
        y=Axis("Hook bait"),
        value=_WEIGHT,
        columns=tuple(month_abbr[1:]),
        rows=tuple(choice.hook_bait.name for choice in advice.choices),
        cells=tuple(cells),
    )


def _bar(choice: Choice) -> Bar:
    ends = (choice.expected_g, choice.lower_50_g, choice.upper_50_g, choice.lower_g, choice.upper_g)
    spread = Spread(*(end / G_PER_KG for end in ends))
    return Bar(choice.words, spread.estimate, choice.evidence.on_water, spread)


def _band_point(point: DistancePoint) -> BandPoint:
    ends = (point.expected_g, point.lower_50_g, point.upper_50_g, point.lower_90_g, point.upper_90_g)
    return BandPoint(point.distance_m, Spread(*(end / G_PER_KG for end in ends)), point.returns)


def _titled(title: str, advice: Advice) -> str:
    peg = "" if advice.peg is None else f", peg {advice.peg.label}"
    return f"{title}: {advice.water}{peg}"


def _when(advice: Advice) -> str:
    day = "in" if advice.on is None else f"on {advice.on.day}"
    return f"{day} {month_name[advice.month]}"


def _hours(advice: Advice) -> str:
    return f"Sessions of {advice.hours:g} hours"


def _reference(advice: Advice) -> str:
    return "" if advice.reference is None else advice.reference.sentence


def _returns(advice: Advice) -> int:
    """Used returns of the water."""
    return advice.evidence[0].returns
