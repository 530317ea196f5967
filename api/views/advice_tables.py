"""Advice as tables: the choices, what drives each, and what stands behind each part."""

from collections.abc import Iterator
from typing import Any

from analytics.answers.advice import Advice
from analytics.answers.choices import Choice
from analytics.answers.knowledge import Part
from analytics.catchrate.predictive import OUTLOOK
from api.forms.sheets import Column, Sheet

_CHOICE = (Column("place", "Place"), Column("hook_bait", "Hook bait"))
_OF_SESSION = tuple(round(100 * share) for share in OUTLOOK)

CHOICES = (
    *_CHOICE,
    Column("distance_m", "Distance", "m"),
    Column("rig_type", "Rig type"),
    Column("expected_g", "Expected weight", "g", "The mean under the reference"),
    Column("lower_50_g", "Lower end, 50 %", "g", "Of the mean's interval"),
    Column("upper_50_g", "Upper end, 50 %", "g", "Of the mean's interval"),
    Column("lower_g", "Lower end, 90 %", "g", "Of the mean's interval"),
    Column("upper_g", "Upper end, 90 %", "g", "Of the mean's interval"),
    *(
        Column(f"session_{share}_g", f"{share} % of sessions under", "g", "Single sessions, blanks included")
        for share in _OF_SESSION
    ),
    Column("chance_of_blank", "Chance of a blank", "", "In one session"),
    Column("chance_best", "Chance best", "", "Share of joint draws in which it leads"),
    Column("regret_g", "Given up", "g", "On average, against each draw's best"),
    Column("regret_share", "Given up, share"),
    Column("how_much_we_know", "How much we know"),
    Column("worth_trying", "Worth trying"),
)
DRIVERS = (
    *_CHOICE,
    Column("name", "Driver"),
    Column("label", "In words"),
    Column("multiplier", "Multiplier"),
    Column("lower_50", "Lower end, 50 %"),
    Column("upper_50", "Upper end, 50 %"),
    Column("lower_90", "Lower end, 90 %"),
    Column("upper_90", "Upper end, 90 %"),
)
EVIDENCE = (
    *_CHOICE,
    Column("part", "Part"),
    Column("label", "In words"),
    Column("returns", "Returns"),
    Column("last_on", "Last day", "", "Not shown of fewer than five members"),
    Column("last_year", "Last year"),
    Column("members", "Members", "", "Not shown of fewer than five"),
)


def advice_sheets(advice: Advice) -> tuple[Sheet, ...]:
    """Of an answer without choices the tables are empty."""
    ranked = list(enumerate(advice.choices, start=1))
    return (
        Sheet("choices", CHOICES, tuple(_choice(place, choice) for place, choice in ranked)),
        Sheet("drivers", DRIVERS, tuple(row for place, choice in ranked for row in _drivers(place, choice))),
        Sheet("evidence", EVIDENCE, tuple(_evidence(advice))),
    )


def _choice(place: int, choice: Choice) -> tuple[Any, ...]:
    session = choice.one_session
    return (
        place,
        choice.hook_bait.name,
        choice.distance_m,
        None if choice.rig_type is None else choice.rig_type.name,
        *(choice.expected_g, choice.lower_50_g, choice.upper_50_g, choice.lower_g, choice.upper_g),
        *(percentile.weight_g for percentile in session.percentiles),
        session.chance_of_blank,
        *(choice.chance_best, choice.regret_g, choice.regret_share),
        *(choice.how_much_we_know, choice.worth_trying or None),
    )


def _drivers(place: int, choice: Choice) -> Iterator[tuple[Any, ...]]:
    for driver in choice.drivers:
        ends = (driver.lower_50, driver.upper_50, driver.lower_90, driver.upper_90)
        yield (place, choice.hook_bait.name, driver.name, driver.label, driver.multiplier, *ends)


def _evidence(advice: Advice) -> Iterator[tuple[Any, ...]]:
    for part in advice.evidence:
        yield (None, None, *_part(part))
    for place, choice in enumerate(advice.choices, start=1):
        for part in choice.evidence.parts:
            yield (place, choice.hook_bait.name, *_part(part))


def _part(part: Part) -> tuple[Any, ...]:
    return (part.name, part.label, part.returns, part.last_on, part.last_year, part.members)
