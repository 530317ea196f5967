"""Is one peg better than another: the chance, the ratio, and what that rests on."""

import math
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from analytics.answers.footing import Footing, LeftOut, NoAnswer, find_footing, peg_named
from analytics.answers.freshness import FitSummary
from analytics.answers.peg_record import PegRecord, RecordReader
from analytics.answers.peg_wording import pair_words, stale_note
from analytics.answers.places import PegName
from analytics.catchrate.standing import chance_above, contrasts, difference, ratio_interval
from analytics.observed.columns import ALL_YEAR
from clubdata.errors import InvalidInput
from clubdata.models import Club, Peg


@dataclass(frozen=True, slots=True)
class Comparison:
    """The first peg over the second, with intervals that allow for what the two share."""

    chance_first_better: float
    chance_second_better: float
    ratio: float
    lower_90: float
    lower_50: float
    upper_50: float
    upper_90: float
    in_words: str


@dataclass(frozen=True, slots=True)
class PegPair:
    """The answer: two pegs of a water with their records, or why they are not compared."""

    water_uid: UUID
    water: str
    first: PegName
    second: PegName
    comparison: Comparison | None
    first_record: PegRecord | None
    second_record: PegRecord | None
    no_answer: NoAnswer | None
    fit: FitSummary | None
    notes: tuple[str, ...]


def peg_pair(*, club: Club, water: UUID, first: str, second: str, today: date, sees_all: bool) -> PegPair:
    """Two pegs, by label or uid.

    :raises NotFound: no such water.
    :raises InvalidInput: no such peg on it, or twice the same; `field` names which.
    """
    footing = find_footing(club=club, water=water, today=today)
    one, other = (
        peg_named(footing.place, asked, field=field)
        for asked, field in ((first, "first"), (second, "second"))
    )
    if one == other:
        raise InvalidInput("Compare a peg with another one.", field="second")
    no_answer = footing.no_answer or _kept_out(footing, one, other)
    comparison, records = None, {}
    if no_answer is None:
        comparison = _compared(footing, one, other)
        records = _records(footing, sees_all=sees_all)
    return PegPair(
        water_uid=footing.water.uid,
        water=footing.water.name,
        first=PegName(one.uid, one.label),
        second=PegName(other.uid, other.label),
        comparison=comparison,
        first_record=records.get(one.uid.hex),
        second_record=records.get(other.uid.hex),
        no_answer=no_answer,
        fit=footing.fit,
        notes=() if no_answer is not None else (*stale_note(footing.fit), *_NOTES),
    )


_NOTES = (
    "The chance is of one peg's effect being the greater, all year round, for the same angler, day and "
    "tackle; what single sessions bring differs far more.",
    "Neighbouring pegs share strength along the bank; what the two share cancels from their ratio.",
    "Adjusted for who fished, when and with what: an association, not proof of cause.",
)


def _kept_out(footing: Footing, *pegs: Peg) -> NoAnswer | None:
    """Why one of the pegs is not compared, if one is not: the gravest reason of the first."""
    found: dict[UUID, LeftOut] = {item.peg.uid: item for item in footing.left_out}
    kept_out = next((found[peg.uid] for peg in pegs if peg.uid in found), None)
    if kept_out is None:
        return None
    return NoAnswer(kept_out.code, f"Peg {kept_out.peg.label} is not compared. {kept_out.reason}")


def _compared(footing: Footing, one: Peg, other: Peg) -> Comparison:
    places = {peg.pk: place for place, peg in enumerate(footing.pegs)}
    log_ratio, error = difference(footing.effects(), places[one.pk], places[other.pk])
    lower_90, upper_90 = ratio_interval(log_ratio, error, 90)
    lower_50, upper_50 = ratio_interval(log_ratio, error, 50)
    chance, ratio = chance_above(log_ratio, error), math.exp(log_ratio)
    return Comparison(
        chance_first_better=chance,
        chance_second_better=chance_above(-log_ratio, error),
        ratio=ratio,
        lower_90=lower_90,
        lower_50=lower_50,
        upper_50=upper_50,
        upper_90=upper_90,
        in_words=pair_words(one.label, other.label, chance, ratio),
    )


def _records(footing: Footing, *, sees_all: bool) -> dict[str, PegRecord]:
    """Of every peg of the water, as their raw ratios are against the water."""
    against = contrasts(footing.effects()).estimates.tolist()
    asked = dict(zip((peg.uid.hex for peg in footing.pegs), against, strict=True))
    return RecordReader.of(footing, ALL_YEAR, sees_all=sees_all).records(asked)
