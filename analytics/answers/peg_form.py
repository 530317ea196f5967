"""Peg form: each peg of a water against its typical peg, its ranks, and the raw figures beside them."""

from calendar import month_name
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from uuid import UUID

import numpy as np

from analytics.answers.footing import Footing, LeftOut, NoAnswer, effects_on, find_footing
from analytics.answers.freshness import FitSummary
from analytics.answers.peg_record import PegRecord, RecordReader
from analytics.answers.peg_wording import TYPICAL_PEG, middle_words, stale_note
from analytics.answers.places import PegName
from analytics.catchrate.basis import FloatArray
from analytics.catchrate.standing import (
    Contrasts,
    Ranks,
    chance_above,
    contrasts,
    joint_draws,
    ranks_of,
    ratio_interval,
)
from analytics.observed.columns import ALL_YEAR
from analytics.store import StoredFit
from clubdata.errors import InvalidInput
from clubdata.models import Club, Peg
from clubdata.rules.season import Season

#: Joint draws behind ranks: a chance is good to .008.
DRAWS = 4000
SEED = 3
#: Waters whose pegs' standings are kept.
KEPT_WATERS = 16
SORTS = ("bank", "effect", "rank", "raw", "last_drawn")


@dataclass(frozen=True, slots=True)
class PegFormQuestion:
    """A water, perhaps a part of the year for the raw figures, and the order of the pegs (`SORTS`)."""

    water: UUID
    season: str | None = None
    month: int | None = None
    sort: str = "bank"

    @property
    def period(self) -> str:
        """As the stored figures name it."""
        return self.season or (ALL_YEAR if self.month is None else str(self.month))


@dataclass(frozen=True, slots=True)
class Standing:
    """A peg's multiplier on the water's typical peg, its ranks (1 makes most) and the words for it.

    `rank_chances` has one chance a rank. Ranks come from joint draws, everything else is exact.
    """

    multiplier: float
    lower_90: float
    lower_50: float
    upper_50: float
    upper_90: float
    chance_above_middle: float
    in_words: str
    expected_rank: float
    rank_from_90: int
    rank_from_50: int
    rank_to_50: int
    rank_to_90: int
    chance_top_quarter: float
    rank_chances: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PegInForm:
    """A peg with its standing, and its record as far as the asker may read it."""

    peg: PegName
    bank: str
    place: int
    standing: Standing
    record: PegRecord


@dataclass(frozen=True, slots=True)
class PegForm:
    """The answer: pegs in the order asked for, those left out and why, or `no_answer` and no pegs.

    `bank_order` has every peg of the water; `raw_g_per_hour` is the water's rate of the period, which raw
    ratios are against.
    """

    water_uid: UUID
    water: str
    season: str | None
    month: int | None
    sort: str
    pegs: tuple[PegInForm, ...]
    left_out: tuple[LeftOut, ...]
    no_answer: NoAnswer | None
    typical_peg: str | None
    top_quarter: int | None
    raw_g_per_hour: float | None
    returns: int
    bank_order: tuple[UUID, ...]
    fit: FitSummary | None
    notes: tuple[str, ...]


def peg_form(*, club: Club, question: PegFormQuestion, today: date, sees_all: bool) -> PegForm:
    """The form of a water's pegs, as the club's promoted fit has it.

    `sees_all`: figures of fewer than five anglers are shown too.

    :raises NotFound: no such water.
    :raises InvalidInput: a season and a month at once, or an unknown one; `field` names it.
    """
    _check(question)
    footing = find_footing(club=club, water=question.water, today=today)
    pegs: list[PegInForm] = []
    reader = None
    if footing.stored is not None:
        reader = RecordReader.of(footing, question.period, sees_all=sees_all)
        pegs = _in_form(footing, reader)
    return PegForm(
        water_uid=footing.water.uid,
        water=footing.water.name,
        season=question.season,
        month=question.month,
        sort=question.sort,
        pegs=tuple(sorted(pegs, key=_ORDER[question.sort])),
        left_out=footing.left_out,
        no_answer=footing.no_answer,
        typical_peg=TYPICAL_PEG.format(count=len(pegs)) if pegs else None,
        top_quarter=_quarter(len(pegs)) if pegs else None,
        raw_g_per_hour=None if reader is None else reader.rate_g_per_hour,
        returns=0 if reader is None else reader.returns,
        bank_order=tuple(here.peg.uid for here in footing.place.pegs),
        fit=footing.fit,
        notes=_notes(footing, question, reader),
    )


def _check(question: PegFormQuestion) -> None:
    if question.season is not None and question.month is not None:
        raise InvalidInput("Give a season or a month, not both.", field="month")
    if question.season is not None and question.season not in tuple(Season):
        raise InvalidInput(f"A season is one of {', '.join(Season)}.", field="season")
    if question.month is not None and not 1 <= question.month <= 12:
        raise InvalidInput("A month goes from 1 to 12.", field="month")
    if question.sort not in SORTS:
        raise InvalidInput(f"Pegs sort by {', '.join(SORTS)}.", field="sort")


def _in_form(footing: Footing, reader: RecordReader) -> list[PegInForm]:
    """The pegs in bank order."""
    assert footing.stored is not None  # noqa: S101 - asked only where there is a fit
    codes = tuple(_codes(footing.pegs))
    log_ratios, standings = _stood(footing.stored, codes)
    records = reader.records(dict(zip(codes, log_ratios, strict=True)))
    return [
        PegInForm(PegName(peg.uid, peg.label), peg.bank, place, standing, records[peg.uid.hex])
        for place, (peg, standing) in enumerate(zip(footing.pegs, standings, strict=True), start=1)
    ]


@lru_cache(maxsize=KEPT_WATERS)
def _stood(stored: StoredFit, codes: tuple[str, ...]) -> tuple[list[float], list[Standing]]:
    """The pegs' log ratios and standings: of the whole year, so kept whatever part of it is asked about."""
    effects = effects_on(stored, codes)
    against = contrasts(effects)
    draws = joint_draws(effects.estimates, effects.covariance, DRAWS, [stored.seed, SEED])
    return against.estimates.tolist(), _standings(against, ranks_of(draws))


def _standings(against: Contrasts, ranks: Ranks) -> list[Standing]:
    quantiles: Mapping[str, FloatArray] = {
        "rank_from_90": ranks.quantile(0.05),
        "rank_from_50": ranks.quantile(0.25),
        "rank_to_50": ranks.quantile(0.75),
        "rank_to_90": ranks.quantile(0.95),
    }
    quarter, expected = ranks.within(_quarter(len(ranks.chances))), ranks.expected
    found = []
    for place, (log_ratio, error) in enumerate(zip(against.estimates, against.standard_errors, strict=True)):
        lower_90, upper_90 = ratio_interval(log_ratio, error, 90)
        lower_50, upper_50 = ratio_interval(log_ratio, error, 50)
        above = chance_above(float(log_ratio), float(error))
        found.append(
            Standing(
                multiplier=float(np.exp(log_ratio)),
                lower_90=lower_90,
                lower_50=lower_50,
                upper_50=upper_50,
                upper_90=upper_90,
                chance_above_middle=above,
                in_words=middle_words(above),
                expected_rank=float(expected[place]),
                chance_top_quarter=float(quarter[place]),
                rank_chances=tuple(ranks.chances[place].tolist()),
                **{name: int(values[place]) for name, values in quantiles.items()},
            )
        )
    return found


def _quarter(pegs: int) -> int:
    """How many pegs are the top quarter of so many, rounded up."""
    return -(-pegs // 4)


def _codes(pegs: Sequence[Peg]) -> list[str]:
    return [peg.uid.hex for peg in pegs]


def _least_first(item: PegInForm) -> tuple[bool, float, int]:
    raw = item.record.raw_g_per_hour
    return raw is None, 0.0 if raw is None else -raw, item.place


#: What was not drawn for longest comes first, and what was never drawn before that; ties go by the bank.
_ORDER: Mapping[str, Callable[[PegInForm], tuple[float | str | bool, ...]]] = {
    "bank": lambda item: (item.place,),
    "effect": lambda item: (-item.standing.multiplier, item.place),
    "rank": lambda item: (item.standing.expected_rank, item.place),
    "raw": _least_first,
    "last_drawn": lambda item: (item.record.last_drawn_on or "", item.place),
}


def _notes(footing: Footing, question: PegFormQuestion, reader: RecordReader | None) -> tuple[str, ...]:
    if reader is None:
        return ()
    asked = question.season or (None if question.month is None else month_name[question.month])
    of_season = (
        f"The raw figures and counts are of {asked}; multipliers and ranks are of the whole year: the model "
        "holds a peg's effect to be the same all year round. What the peg made of what was expected in that "
        "part of the year stands in `over_expected`.",
    )
    few = reader.of_few
    of_few = (
        f"Raw ratios are against {few} {'peg' if few == 1 else 'pegs'} alone, whose figures are shown here.",
    )
    return (
        *stale_note(footing.fit),
        *(of_season if asked else ()),
        *(() if few is None else of_few),
        "Neighbouring pegs share strength along the bank: a peg with few returns leans on those beside it, "
        "and on what pegs are like in general.",
        "Adjusted for who fished, when and with what: an association, not proof of cause. A drawn peg is "
        "random given the pegs put in; a pleasure angler chooses.",
        "Ranks are less sure than multipliers: where pegs are much alike, their order is mostly chance.",
    )
