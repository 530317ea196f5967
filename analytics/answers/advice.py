"""Advice for a water, a month or day and perhaps a peg: what to fish, where, how, and on what that rests."""

import logging
from dataclasses import dataclass, field, replace
from datetime import date
from uuid import UUID

from analytics.answers.choices import Choice
from analytics.answers.freshness import FitSummary, summary_of
from analytics.answers.knowledge import KNOWLEDGE_RULE, WORTH_TRYING_RULE, Part, part_of
from analytics.answers.nothing import NoAdvice, no_run, nothing_offered, too_few
from analytics.answers.past_returns import PastReturns, past_returns
from analytics.answers.places import Hazard, PegName, Place, find_place, no_advice_at
from analytics.answers.question import (
    AdviceQuestion,
    Checked,
    Limits,
    When,
    check_question,
    check_target,
    limits_of,
)
from analytics.answers.ranking import rank
from analytics.answers.scene import Scene, Setting, offers
from analytics.answers.support import NOBODY, Behind, behind_of, by_method, water_support
from analytics.answers.wording import (
    ASSOCIATION,
    LEAST_AT_PEG,
    Reference,
    headline_of,
    no_headline,
    notes_of,
    reference_of,
)
from analytics.catchrate.spec import MATCH
from analytics.store import DamagedFit, StoredFit, load_fit, served_run
from clubdata.models import Club
from clubdata.models.returns import MOST_DISTANCE_M
from clubdata.rules.cautions import Caution, cautions_for

logger = logging.getLogger(__name__)

#: A water with fewer used returns than this gets no advice of its own.
LEAST_ON_WATER = 30


@dataclass(frozen=True, slots=True)
class Advice:
    """The answer: ranked choices, or `no_advice` and none.

    `hazards` stand at the peg asked about, or at any peg of the water. `other_pegs` are named when the
    peg cannot be advised on. `evidence` is what stands behind the water and the peg, whatever the bait.
    Nothing here speaks of a person: there are counts of returns and no names. `scene` is what the choices
    were worked out from, for the charts beside them.
    """

    headline: str
    water_uid: UUID
    water: str
    peg: PegName | None
    month: int
    on: date | None
    hours: float
    target: str
    answers_for: str
    choices: tuple[Choice, ...]
    no_advice: NoAdvice | None
    reference: Reference | None
    association: str
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    hazards: tuple[Hazard, ...]
    pegs_without_advice: tuple[PegName, ...]
    pegs_out_of_use: tuple[PegName, ...]
    other_pegs: tuple[PegName, ...]
    not_ranked: tuple[str, ...]
    evidence: tuple[Part, ...]
    past_returns: PastReturns | None
    fit: FitSummary | None
    knowledge_rule: str
    worth_trying_rule: str
    scene: Scene | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class _Inquiry:
    """A question that can be answered, with what it means in the club's records and the day it is asked."""

    question: AdviceQuestion
    checked: Checked
    place: Place
    limits: Limits
    today: date

    @property
    def when(self) -> When:
        return self.checked.when

    def no_headline(self, why: NoAdvice) -> str:
        return no_headline(place=self.place, when=self.when, reason=why.reason)


def advise(*, club: Club, question: AdviceQuestion, today: date) -> Advice:
    """The club's advice for a water, a month or a day, and perhaps a peg, as its promoted fit has it.

    :raises NotFound: no such water.
    :raises InvalidInput: no such peg on it, a month, day, hours, pole, session kind or condition out of
        range, or a word that the club does not know; `field` names it.
    """
    inquiry = _Inquiry(
        question=question,
        checked=check_question(club=club, question=question),
        place=find_place(club=club, water=question.water, peg=question.peg, today=today),
        limits=limits_of(club=club, question=question),
        today=today,
    )
    if question.target:
        check_target(club=club, target=question.target)
    advice = _bare(inquiry)
    found = _closed(inquiry.place) or _from_fit(club, inquiry, advice)
    if isinstance(found, NoAdvice):
        return replace(advice, headline=inquiry.no_headline(found), no_advice=found)
    return found


def _closed(place: Place) -> NoAdvice | None:
    """Why the peg asked about gets no fishing advice whatever the fit says."""
    asked = place.asked
    if asked is not None and no_advice_at(asked):
        kinds = " and ".join(hazard.kind for hazard in asked.hazards)
        reason = f"Peg {asked.peg.label} has a standing hazard ({kinds}): do not fish it."
        return NoAdvice("standing_hazard", reason)
    if asked is not None and not asked.peg.in_use:
        return NoAdvice("peg_out_of_use", f"Peg {asked.peg.label} is out of use.")
    return None


def _from_fit(club: Club, inquiry: _Inquiry, advice: Advice) -> Advice | NoAdvice:
    run = served_run(club=club, target=inquiry.question.target)
    if run is None:
        return no_run(club=club, target=inquiry.question.target)
    club.refresh_from_db(fields=["revision"])
    fit = summary_of(run, club_revision=club.revision)
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        found: Scene | NoAdvice = NoAdvice(damage.code, damage.message)
    else:
        found = _scene(inquiry, stored, fit)
    if isinstance(found, NoAdvice):
        return replace(advice, fit=fit, headline=inquiry.no_headline(found), no_advice=found)
    return replace(_answered(inquiry, advice, found, fit), notes=_notes(inquiry, found, stored, fit))


def _scene(inquiry: _Inquiry, stored: StoredFit, fit: FitSummary) -> Scene | NoAdvice:
    """What may be offered and under which conditions, or why there is nothing."""
    place, limits = inquiry.place, inquiry.limits
    water = place.water.uid.hex
    behind = behind_of(stored, water)
    if behind is None or behind.water.returns < LEAST_ON_WATER:
        on_water = 0 if behind is None else behind.water.returns
        return too_few(water=place.water.name, returns=on_water, needed=LEAST_ON_WATER)
    support = water_support(stored, water, limits.methods)
    fished = behind.in_season(inquiry.when.month)
    known = {code for code in limits.tackle if code in fished or code in support.rigs}
    offered = offers(support, limits.allowed, known)
    if not len(offered):
        methods = by_method(stored.support, water=water)
        return nothing_offered(inquiry.question, returns=behind.water.returns, methods=methods)
    peg = None if place.asked is None else place.asked.peg.uid.hex
    return Scene(
        estimates=stored.estimates,
        support=support,
        behind=behind,
        offered=offered,
        setting=_setting(inquiry, stored, peg, _at_peg(place, behind)),
        peg=peg,
        tackle=limits.tackle,
        latest=fit.last_on,
        seed=stored.seed,
    )


def _setting(inquiry: _Inquiry, stored: StoredFit, peg: str | None, at_peg: int | None) -> Setting:
    """A peg of too few returns is asked about as one never seen: the prior, with its spread."""
    if peg is not None and at_peg is not None and at_peg < LEAST_AT_PEG:
        peg = f"{peg} as any"
    kind = inquiry.question.session_kind
    if kind is None:
        has_matches = stored.estimates.term("match_day") is not None
        kind = MATCH if has_matches else stored.estimates.reference.session_kind
    water, hours = inquiry.place.water.uid.hex, inquiry.question.hours
    return Setting(water, peg, inquiry.when, hours, kind, inquiry.checked.day)


def _answered(inquiry: _Inquiry, advice: Advice, scene: Scene, fit: FitSummary) -> Advice:
    """The choices and what stands behind them."""
    question, place = inquiry.question, inquiry.place
    choices = rank(scene)
    at_peg = _at_peg(place, scene.behind)
    listed = {choice.hook_bait.uid.hex for choice in choices}
    return replace(
        advice,
        headline=headline_of(
            place=place,
            when=inquiry.when,
            hours=question.hours,
            first=choices[0],
            cautions=advice.cautions,
        ),
        answers_for="water" if at_peg is None or at_peg < LEAST_AT_PEG else "peg",
        choices=choices,
        reference=reference_of(
            scene.estimates,
            session_kind=scene.setting.session_kind,
            hours=question.hours,
            month=inquiry.when.month,
            day=inquiry.checked.day,
            target=question.target,
        ),
        not_ranked=tuple(sorted(inquiry.limits.tackle[code].name for code in inquiry.limits.baits - listed)),
        evidence=_evidence(place, scene.behind),
        past_returns=_past_returns(inquiry, choices[0]),
        fit=fit,
        scene=scene,
    )


def _notes(inquiry: _Inquiry, scene: Scene, stored: StoredFit, fit: FitSummary) -> tuple[str, ...]:
    place, methods = inquiry.place, inquiry.limits.methods
    water = by_method(stored.support, water=place.water.uid.hex)
    by_these = None if methods is None else sum(water.get(method, 0) for method in methods)
    return notes_of(
        fit=fit,
        estimates=scene.estimates,
        place=place,
        at_peg=_at_peg(place, scene.behind),
        support=scene.support,
        when=inquiry.when,
        day=inquiry.checked.day,
        by_these_methods=by_these,
        today=inquiry.today,
    )


def _at_peg(place: Place, behind: Behind) -> int | None:
    """Used returns of the peg asked about."""
    return None if place.asked is None else behind.peg.get(place.asked.peg.uid.hex, NOBODY).returns


def _bare(inquiry: _Inquiry) -> Advice:
    """What holds whether or not there are choices."""
    place, question, (when, day) = inquiry.place, inquiry.question, inquiry.checked
    peg, hazards = place.peg(), place.hazards()
    closed = _closed(place) is not None
    cautions = cautions_for(
        water_kind=place.water.kind,
        on=when.on,
        month=when.month,
        water_temperature_c=day.water_temperature_c,
        wind_force=day.wind_force,
        hazards=[] if peg is None else [hazard.kind for hazard in hazards],
        longest_pole_m=MOST_DISTANCE_M if question.longest_pole_m is None else question.longest_pole_m,
        tow=day.tow,
    )
    return Advice(
        headline="",
        water_uid=place.water.uid,
        water=place.water.name,
        peg=peg,
        month=when.month,
        on=when.on,
        hours=question.hours,
        target=question.target,
        answers_for="water" if peg is None else "peg",
        choices=(),
        no_advice=None,
        reference=None,
        association=ASSOCIATION,
        notes=(),
        cautions=(*place.cautions(), *cautions),
        hazards=hazards,
        pegs_without_advice=place.under_hazard(),
        pegs_out_of_use=place.out_of_use(),
        other_pegs=place.other_pegs() if closed else (),
        not_ranked=(),
        evidence=(),
        past_returns=None,
        fit=None,
        knowledge_rule=KNOWLEDGE_RULE,
        worth_trying_rule=WORTH_TRYING_RULE,
    )


def _evidence(place: Place, behind: Behind) -> tuple[Part, ...]:
    parts = [part_of("water", "this water", behind.water)]
    if place.asked is not None:
        parts.append(part_of("peg", "this peg", behind.peg.get(place.asked.peg.uid.hex, NOBODY)))
    return tuple(parts)


def _past_returns(inquiry: _Inquiry, first: Choice) -> PastReturns | None:
    """None where one group of species is asked about: returns state what everything weighed together."""
    if inquiry.question.target:
        return None
    codes = inquiry.limits.bait_codes.items()
    return past_returns(
        place=inquiry.place,
        choice=first,
        bait=next(key for key, code in codes if code == first.hook_bait.uid.hex),
        month=inquiry.when.month,
        hours=inquiry.question.hours,
        today=inquiry.today,
    )
