"""Advice for a water, a peg and a month: what to put on the hook, where and how, and what that rests on."""

import logging
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from analytics.answers.choices import Choice, Scene, Setting, options, rank
from analytics.answers.freshness import FitSummary, summary_of
from analytics.answers.places import Hazard, PegName, Place, find_place, no_advice_at
from analytics.answers.question import AdviceQuestion, Limits, check_question, limits_of
from analytics.answers.support import (
    KNOWLEDGE_RULE,
    LEAST_RETURNS,
    WaterSupport,
    bait_at_peg,
    bait_in_month,
    in_season,
    returns_at_peg,
    returns_by_method,
    returns_on_water,
    water_support,
)
from analytics.answers.wording import LEAST_AT_PEG, Reference, notes_of, reference_of
from analytics.catchrate.spec import MATCH
from analytics.store import DamagedFit, StoredFit, load_fit, promoted_run
from clubdata.models import Club
from clubdata.models.returns import MOST_DISTANCE_M
from clubdata.rules.cautions import Caution, cautions_for

logger = logging.getLogger(__name__)

#: A water with fewer used returns than this gets no advice of its own.
LEAST_ON_WATER = 30


@dataclass(frozen=True, slots=True)
class NoAdvice:
    """Why there are no choices: a stable code, a sentence, and how many returns would have done."""

    code: str
    reason: str
    needed: int | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """The answer: ranked choices, or `no_advice` and none.

    `hazards` stand at the peg asked about, or at any peg of the water. `other_pegs` are named when the
    peg cannot be advised on. Nothing here speaks of a person: there are counts of returns and no names.
    """

    water_uid: UUID
    water: str
    peg: PegName | None
    month: int
    hours: float
    answers_for: str
    choices: tuple[Choice, ...]
    no_advice: NoAdvice | None
    reference: Reference | None
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    hazards: tuple[Hazard, ...]
    pegs_without_advice: tuple[PegName, ...]
    pegs_out_of_use: tuple[PegName, ...]
    other_pegs: tuple[PegName, ...]
    not_ranked: tuple[str, ...]
    fit: FitSummary | None
    knowledge_rule: str


def advise(*, club: Club, question: AdviceQuestion, today: date) -> Advice:
    """The club's advice for a water, a month and perhaps a peg, as its promoted fit has it.

    :raises NotFound: no such water, or no such peg on it.
    :raises InvalidInput: a month, hours, pole or session kind out of range, or a word that the club does
        not know; `field` names it.
    """
    check_question(question)
    place = find_place(club=club, water=question.water, peg=question.peg, today=today)
    limits = limits_of(club=club, question=question)
    advice = _bare(place, question)
    asked = place.asked
    if asked is not None and no_advice_at(asked):
        kinds = " and ".join(hazard.kind for hazard in asked.hazards)
        reason = f"Peg {asked.peg.label} has a standing hazard ({kinds}): do not fish it."
        return replace(advice, no_advice=NoAdvice("standing_hazard", reason), other_pegs=place.other_pegs())
    if asked is not None and not asked.peg.in_use:
        closed = NoAdvice("peg_out_of_use", f"Peg {asked.peg.label} is out of use.")
        return replace(advice, no_advice=closed, other_pegs=place.other_pegs())
    run = promoted_run(club=club)
    if run is None:
        return replace(advice, no_advice=NoAdvice("no_fit", "No fit of the club's returns has come out yet."))
    club.refresh_from_db(fields=["revision"])
    advice = replace(advice, fit=summary_of(run, club_revision=club.revision))
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        return replace(advice, no_advice=NoAdvice(damage.code, damage.message))
    return _answered(advice, place, question, limits, stored)


def _answered(
    advice: Advice, place: Place, question: AdviceQuestion, limits: Limits, stored: StoredFit
) -> Advice:
    """The choices, or why there are none, from a fit that can be read."""
    water = place.water.uid.hex
    support = water_support(stored.support, water=water, methods=limits.methods)
    on_water = returns_on_water(stored.support, water=water)
    if on_water < LEAST_ON_WATER:
        reason = f"Only {on_water} returns from {place.water.name}; {LEAST_ON_WATER} are needed."
        return replace(advice, no_advice=NoAdvice("too_few_returns_on_water", reason, LEAST_ON_WATER))
    fished = in_season(stored.support, water=water, month=question.month)
    known = {code for code in limits.tackle if code in fished or code in support.rigs}
    found = options(support, limits.allowed, known)
    if not found:
        return replace(advice, no_advice=_nothing_offered(question, support, stored, water))
    peg = place.peg()
    baits_at_peg = {} if peg is None else bait_at_peg(stored.support, peg=peg.uid.hex)
    at_peg = None if peg is None else returns_at_peg(stored.support, peg=peg.uid.hex)
    setting = _setting(question, place, stored, at_peg)
    scene = Scene(
        estimates=stored.estimates,
        support=support,
        setting=setting,
        tackle=limits.tackle,
        in_month=bait_in_month(stored.support, water=water, month=question.month),
        at_peg=baits_at_peg,
        seed=stored.seed,
    )
    assert advice.fit is not None  # noqa: S101 - a fit that can be read has been summed up
    offered = {support.baits[option.bait] for option in found}
    return replace(
        advice,
        answers_for="water" if at_peg is None or at_peg < LEAST_AT_PEG else "peg",
        choices=rank(scene, found),
        reference=reference_of(
            stored.estimates,
            session_kind=setting.session_kind,
            hours=question.hours,
            month=question.month,
        ),
        notes=(
            *notes_of(fit=advice.fit, place=place, at_peg=at_peg, support=support, month=question.month),
            *_of_methods(limits, stored, water),
        ),
        not_ranked=tuple(sorted(limits.tackle[code].name for code in limits.baits - offered)),
    )


def _setting(question: AdviceQuestion, place: Place, stored: StoredFit, at_peg: int | None) -> Setting:
    """A peg of too few returns is asked about as one never seen: the prior, with its spread."""
    peg = None if place.asked is None else place.asked.peg.uid.hex
    if peg is not None and at_peg is not None and at_peg < LEAST_AT_PEG:
        peg = f"{peg} as any"
    kind = question.session_kind
    if kind is None:
        has_matches = stored.estimates.term("match_day") is not None
        kind = MATCH if has_matches else stored.estimates.reference.session_kind
    return Setting(place.water.uid.hex, peg, question.month, question.hours, kind)


def _bare(place: Place, question: AdviceQuestion) -> Advice:
    """What holds whether or not there are choices."""
    peg = place.peg()
    hazards = place.hazards()
    cautions = cautions_for(
        water_kind=place.water.kind,
        on=None,
        month=question.month,
        water_temperature_c=None,
        wind_force=None,
        hazards=[] if peg is None else [hazard.kind for hazard in hazards],
        longest_pole_m=MOST_DISTANCE_M if question.longest_pole_m is None else question.longest_pole_m,
    )
    return Advice(
        water_uid=place.water.uid,
        water=place.water.name,
        peg=peg,
        month=question.month,
        hours=question.hours,
        answers_for="water" if peg is None else "peg",
        choices=(),
        no_advice=None,
        reference=None,
        notes=(),
        cautions=(*place.cautions(), *cautions),
        hazards=hazards,
        pegs_without_advice=place.under_hazard(),
        pegs_out_of_use=place.out_of_use(),
        other_pegs=(),
        not_ranked=(),
        fit=None,
        knowledge_rule=KNOWLEDGE_RULE,
    )


def _nothing_offered(
    question: AdviceQuestion, support: WaterSupport, stored: StoredFit, water: str
) -> NoAdvice:
    if question.methods is not None and not returns_by_method(stored.support, water=water):
        reason = "The returns of this water do not say by which method they were caught: ask without one."
        return NoAdvice("no_method_recorded", reason)
    limited = (question.baits, question.rig_types, question.methods, question.longest_pole_m)
    if any(limit is not None for limit in limited):
        reason = (
            f"Within these limits no bait has {LEAST_RETURNS} returns of this water at this time of the year "
            "and near any distance: widen the baits, the rig types, the methods or the reach."
        )
        return NoAdvice("nothing_within_limits", reason, LEAST_RETURNS)
    reason = (
        f"No bait has {LEAST_RETURNS} returns of this water ({support.returns} in all) at this time of the "
        "year that record it."
    )
    return NoAdvice("no_bait_recorded", reason, LEAST_RETURNS)


def _of_methods(limits: Limits, stored: StoredFit, water: str) -> Iterable[str]:
    if limits.methods is None:
        return ()
    count = sum(
        number
        for method, number in returns_by_method(stored.support, water=water).items()
        if method in limits.methods
    )
    return (
        f"Only what {count:,} returns by these methods speak for is offered; the weights themselves are "
        "of all methods together.",
    )
