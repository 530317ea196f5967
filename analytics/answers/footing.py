"""What every answer on a water's pegs stands on: the pegs that may be spoken of, and the fit.

A peg out of use, or under a standing hazard, is left out as it stands today, whatever the fit has seen.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from analytics.answers.freshness import FitSummary, summary_of
from analytics.answers.places import PegHere, PegName, Place, find_place, no_such_peg
from analytics.catchrate.estimates import TermEstimate
from analytics.catchrate.standing import Effects, effects_of
from analytics.store import DamagedFit, StoredFit, load_fit, served_run
from clubdata.models import Club, Peg, Water
from clubdata.rules.words import fold

logger = logging.getLogger(__name__)

STANDING_HAZARD, OUT_OF_USE, NO_RETURNS = "standing_hazard", "out_of_use", "no_returns"


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """Why there is none: a stable code and a sentence."""

    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A peg that is not compared with the others, and why."""

    peg: PegName
    bank: str
    code: str
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Footing:
    """A water's pegs in bank order and the fit that tells of them; without `stored`, `no_answer` says why.

    `pegs` are in use, under no hazard and known to the fit.
    """

    place: Place
    pegs: tuple[Peg, ...]
    left_out: tuple[LeftOut, ...]
    fit: FitSummary | None
    stored: StoredFit | None
    no_answer: NoAnswer | None

    @property
    def water(self) -> Water:
        return self.place.water

    def effects(self) -> Effects:
        """Of `pegs`, in their order."""
        assert self.stored is not None  # noqa: S101 - asked only where there is an answer
        return effects_on(self.stored, [peg.uid.hex for peg in self.pegs])


def effects_on(stored: StoredFit, codes: Sequence[str]) -> Effects:
    """The effects of pegs that the fit knows, by their codes."""
    item = _peg_term(stored)
    assert item is not None  # noqa: S101 - there is no footing without it
    return effects_of(item, stored.estimates.covariance_factor, codes)


def find_footing(*, club: Club, water: UUID, today: date) -> Footing:
    """The water as it stands today and the club's promoted fit, in eight queries at most.

    :raises NotFound: no such water.
    """
    place = find_place(club=club, water=str(water), peg=None, today=today)
    run = served_run(club=club)
    if run is None:
        reason = "No fit of the club's returns has come out yet."
        return _without(place, None, NoAnswer("no_fit_yet", reason))
    club.refresh_from_db(fields=["revision"])
    fit = summary_of(run, club_revision=club.revision)
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        return _without(place, fit, NoAnswer(damage.code, damage.message))
    item = _peg_term(stored)
    if item is None:
        reason = "The club's returns do not tell its pegs apart: the fit has no term for them."
        return _without(place, fit, NoAnswer("no_pegs_in_fit", reason))
    known = frozenset(item.term.coefficient_names)
    pegs = tuple(here.peg for here in place.pegs if _left_out(here, known) is None)
    if not pegs:
        reason = "No peg of this water is in use, under no hazard and known to the fit."
        return _without(place, fit, NoAnswer("no_pegs", reason), known)
    return Footing(place, pegs, _all_left_out(place, known), fit, stored, None)


def peg_named(place: Place, asked: str, *, field: str) -> Peg:
    """The water's peg of a label, as painted, or a uid.

    :raises InvalidInput: it has no such peg.
    """
    for here in place.pegs:
        peg: Peg = here.peg
        if asked in {str(peg.uid), peg.uid.hex} or fold(peg.label) == fold(asked):
            return peg
    raise no_such_peg(place.water, asked, field=field)


def _without(
    place: Place, fit: FitSummary | None, reason: NoAnswer, known: frozenset[str] | None = None
) -> Footing:
    return Footing(place, (), _all_left_out(place, known), fit, None, reason)


def _all_left_out(place: Place, known: frozenset[str] | None) -> tuple[LeftOut, ...]:
    found = (_left_out(here, known) for here in place.pegs)
    return tuple(item for item in found if item is not None)


def _left_out(here: PegHere, known: frozenset[str] | None) -> LeftOut | None:
    """Why a peg is left out, the gravest reason first; None when it is not."""
    peg = PegName(here.peg.uid, here.peg.label)
    if here.hazards:
        kinds = " and ".join(dict.fromkeys(hazard.kind for hazard in here.hazards))
        return LeftOut(peg, here.peg.bank, STANDING_HAZARD, f"A standing hazard is noted here ({kinds}).")
    if not here.peg.in_use:
        return LeftOut(peg, here.peg.bank, OUT_OF_USE, "Out of use.")
    if known is not None and here.peg.uid.hex not in known:
        reason = "The fit knows no return from here: nothing tells it from a typical peg."
        return LeftOut(peg, here.peg.bank, NO_RETURNS, reason)
    return None


def _peg_term(stored: StoredFit) -> TermEstimate | None:
    item = stored.estimates.term("peg")
    return None if item is None or item.start is None else item
