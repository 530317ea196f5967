"""How even a draw is: what each peg is worth to equally able anglers, by simulated matches."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from analytics.answers.footing import Footing, LeftOut, NoAnswer, find_footing, peg_named
from analytics.answers.freshness import FitSummary
from analytics.answers.peg_wording import evenness_words, stale_note
from analytics.answers.places import PegName
from analytics.answers.support import behind_of
from analytics.answers.wording import Reference, reference_of
from analytics.catchrate.drawn_matches import DrawnOutcomes, effective_number, simulate_matches
from analytics.catchrate.predict import Questions
from analytics.catchrate.spec import MATCH
from analytics.store import StoredFit
from clubdata.errors import InvalidInput, NotAllowed
from clubdata.models import Match, Peg
from clubdata.models.returns import MOST_HOURS
from clubdata.services.matches import drawn_pegs, find_match, result_is_out
from clubdata.services.members import SEES_DRAWS, Membership

#: A chance to win of one in twenty is good to .002.
MATCHES = 10_000
SEED = 4
LEAST_PEGS = 2

_ONLY_AFTER = (
    "Until a match is over, only its organisers see how even the draw is. Once its result is out any member "
    "may ask: name the 'match', and no 'pegs', 'anglers' or 'month'."
)


@dataclass(frozen=True, slots=True)
class EvennessQuestion:
    """The draw: the pegs put in (all when none is named), how many anglers (one a peg), hours and month.

    A match stands for its own pegs and month.
    """

    water: UUID
    pegs: tuple[str, ...] | None = None
    anglers: int | None = None
    hours: float = 5.0
    month: int | None = None
    match: str | None = None


@dataclass(frozen=True, slots=True)
class DrawnPeg:
    """What drawing the peg is worth to one of equally able anglers."""

    peg: PegName
    bank: str
    chance_win: float
    chance_top_quarter: float
    expected_place: float
    expected_points: float


@dataclass(frozen=True, slots=True)
class EvenShare:
    """The summary. `win_ratio` is the largest chance to win over the smallest, None where one is nought.

    `effective_pegs` is how many equal pegs would leave the winner's peg as uncertain as these do.
    """

    even_chance_win: float
    win_ratio: float | None
    effective_pegs: float
    in_words: str


@dataclass(frozen=True, slots=True)
class Evenness:
    """The answer: pegs in bank order, or `no_answer` and none; `returns` are the water's, as used."""

    water_uid: UUID
    water: str
    match: str | None
    anglers: int | None
    hours: float
    month: int
    pegs: tuple[DrawnPeg, ...]
    left_out: tuple[LeftOut, ...]
    summary: EvenShare | None
    simulated_matches: int
    reference: Reference | None
    no_answer: NoAnswer | None
    returns: int
    fit: FitSummary | None
    notes: tuple[str, ...]


def evenness(*, who: Membership, question: EvennessQuestion, today: date) -> Evenness:
    """How even a draw is on a water's pegs, by matches simulated from the promoted fit.

    :raises NotFound: no such water or match.
    :raises NotAllowed: the result is not out, or no match was named, and the actor runs no matches.
    :raises InvalidInput: pegs, anglers, hours or month that cannot be; `field` names it.
    """
    _check(question)
    footing = find_footing(club=who.club, water=question.water, today=today)
    match = None if question.match is None else find_match(who, footing.water, question.match)
    _check_may_ask(who, question, match, today=today)
    asked = _asked(footing, question, match)
    pegs = [peg for peg in footing.pegs if peg.pk in asked]
    anglers = _anglers(question, len(pegs))
    month = match.held_on.month if match is not None else question.month or today.month
    no_answer = footing.no_answer or _too_few(pegs)
    found = None
    if no_answer is None and footing.stored is not None:
        conditions = Questions(
            month=month,
            water=footing.water.uid.hex,
            peg=[peg.uid.hex for peg in pegs],
            session_kind=MATCH,
            hours=question.hours,
        )
        found = _simulate(footing.stored, conditions, anglers)
    return Evenness(
        water_uid=footing.water.uid,
        water=footing.water.name,
        match=None if match is None else match.code,
        anglers=anglers if found is not None else None,
        hours=question.hours,
        month=month,
        pegs=() if found is None else _drawn(pegs, found),
        left_out=tuple(item for item in footing.left_out if item.peg.uid in set(asked.values())),
        summary=None if found is None else _summary(found, anglers),
        simulated_matches=0 if found is None else found.matches,
        reference=_reference(footing, found, question.hours, month),
        no_answer=no_answer,
        returns=0 if found is None else _returns(footing),
        fit=footing.fit,
        notes=() if found is None else (*stale_note(footing.fit), *_NOTES),
    )


_NOTES = (
    "For equally able anglers, each on one peg, on one day that is the same for all; what is not known of "
    "the pegs is drawn anew in each match, so that chances are those that can be promised, not those of pegs "
    "known exactly.",
    "Points here are as many as there are anglers for the first and one for the last; blanks share the last "
    "places.",
    "Adjusted for who fished, when and with what: an association, not proof of cause.",
)


def _check(question: EvennessQuestion) -> None:
    if not (math.isfinite(question.hours) and 0 < question.hours <= MOST_HOURS):
        raise InvalidInput(f"Hours lie above 0 and up to {MOST_HOURS}.", field="hours")
    if question.month is not None and not 1 <= question.month <= 12:
        raise InvalidInput("A month goes from 1 to 12.", field="month")


def _check_may_ask(who: Membership, question: EvennessQuestion, match: Match | None, *, today: date) -> None:
    if who.may(SEES_DRAWS):
        return
    of_its_own = (question.pegs, question.anglers, question.month)
    if match is None or any(value is not None for value in of_its_own):
        raise NotAllowed(_ONLY_AFTER)
    if not result_is_out(match, today=today):
        raise NotAllowed("The result of this match is not out yet. " + _ONLY_AFTER)


def _asked(footing: Footing, question: EvennessQuestion, match: Match | None) -> Mapping[int, UUID]:
    """The pegs put in, by key: those named, else those drawn in the match, else all of the water."""
    if question.pegs is not None:
        chosen = [peg_named(footing.place, label, field="pegs") for label in question.pegs]
    elif match is not None:
        chosen = drawn_pegs(match)
    else:
        chosen = [here.peg for here in footing.place.pegs]
    return {peg.pk: peg.uid for peg in chosen}


def _anglers(question: EvennessQuestion, pegs: int) -> int:
    if question.anglers is None:
        return pegs
    if question.anglers < LEAST_PEGS:
        raise InvalidInput(f"A match takes at least {LEAST_PEGS} anglers.", field="anglers")
    if pegs >= LEAST_PEGS and question.anglers > pegs:
        raise InvalidInput(f"There are {pegs} pegs to draw, each for one angler.", field="anglers")
    return question.anglers


def _too_few(pegs: Sequence[Peg]) -> NoAnswer | None:
    if len(pegs) >= LEAST_PEGS:
        return None
    reason = "Fewer than two of these pegs are in use, under no hazard and known to the fit."
    return NoAnswer("too_few_pegs", reason)


def _simulate(stored: StoredFit, conditions: Questions, anglers: int) -> DrawnOutcomes:
    return simulate_matches(
        stored.estimates, conditions, anglers=anglers, matches=MATCHES, seed=[stored.seed, SEED]
    )


def _drawn(pegs: Sequence[Peg], found: DrawnOutcomes) -> tuple[DrawnPeg, ...]:
    return tuple(
        DrawnPeg(
            peg=PegName(peg.uid, peg.label),
            bank=peg.bank,
            chance_win=float(found.wins[place]),
            chance_top_quarter=float(found.top_quarter[place]),
            expected_place=float(found.place[place]),
            expected_points=float(found.points[place]),
        )
        for place, peg in enumerate(pegs)
    )


def _summary(found: DrawnOutcomes, anglers: int) -> EvenShare:
    least, most = float(found.wins.min()), float(found.wins.max())
    ratio = most / least if least > 0 else None
    like = effective_number(found.win_shares)
    return EvenShare(1.0 / anglers, ratio, like, evenness_words(len(found.wins), like, ratio))


def _returns(footing: Footing) -> int:
    assert footing.stored is not None  # noqa: S101 - asked only where there is an answer
    behind = behind_of(footing.stored, footing.water.uid.hex)
    return 0 if behind is None else behind.water.returns


def _reference(footing: Footing, found: DrawnOutcomes | None, hours: float, month: int) -> Reference | None:
    if found is None or footing.stored is None:
        return None
    return reference_of(footing.stored.estimates, session_kind=MATCH, hours=hours, month=month)
