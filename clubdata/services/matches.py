"""Matches: looked up by their code, which pegs were drawn, whether the result is out, and is final."""

import uuid
from datetime import date, datetime

from clubdata.errors import Conflict, NotFound
from clubdata.models import Match, Outcome, Peg, Return, Role, Water
from clubdata.services.members import AFTER_FINAL, Membership

DECLARES = frozenset({Role.ORGANISER})


def declare_final(*, who: Membership, uid: uuid.UUID, now: datetime) -> Match:
    """Declare a match's result final: from then on only an organiser amends its returns.

    Raises `NotFound`, `NotAllowed`, and `Conflict` when it is final already.
    """
    who.require(DECLARES, "declare a result final")
    match = _own_match(who, uid)
    if (
        Match.objects.filter(pk=match.pk, final_at__isnull=True).update(final_at=now, final_by=who.account)
        != 1
    ):
        raise Conflict("The result is final already.", field="match", code="result_is_final")
    match.refresh_from_db()
    return match


def reopen(*, who: Membership, uid: uuid.UUID) -> Match:
    """Take a result's finality back. Raises `NotFound`, `NotAllowed`, and `Conflict` when it is not final."""
    who.require(DECLARES, "reopen a result")
    match = _own_match(who, uid)
    if Match.objects.filter(pk=match.pk, final_at__isnull=False).update(final_at=None, final_by=None) != 1:
        raise Conflict("The result is not final.", field="match", code="result_is_open")
    match.refresh_from_db()
    return match


def require_open(who: Membership, match_id: int | None) -> None:
    """Raise `Conflict` for returns of a match whose result is final, unless an organiser changes them."""
    if match_id is None or who.may(AFTER_FINAL):
        return
    if Match.objects.filter(pk=match_id, final_at__isnull=False).exists():
        raise Conflict("The result is final: ask a match organiser.", field="match", code="result_is_final")


def _own_match(who: Membership, uid: uuid.UUID) -> Match:
    match: Match | None = Match.objects.visible_to(who.account).filter(club=who.club, uid=uid).first()
    if match is None:
        raise NotFound("There is no such match.")
    return match


def find_match(who: Membership, water: Water, code: str) -> Match:
    """The match of the club's code, or uid, on a water. Raises `NotFound`."""
    matches = Match.objects.visible_to(who.account).filter(club=who.club, water=water)
    found: Match | None = next((match for match in matches if code.casefold() in _names(match)), None)
    if found is None:
        raise NotFound("There is no such match on this water.", field="match")
    return found


def _names(match: Match) -> set[str]:
    return {match.code.casefold(), str(match.uid), match.uid.hex}


def drawn_pegs(match: Match) -> list[Peg]:
    """The pegs that its returns name, each once, in bank order."""
    drawn = Return.objects.filter(club_id=match.club_id, match=match, peg__isnull=False).values("peg_id")
    return list(Peg.objects.filter(pk__in=drawn).order_by("bank", "bank_order"))


def result_is_out(match: Match, *, today: date) -> bool:
    """Whether its day is over and somebody's weight is known."""
    if match.held_on >= today:
        return False
    return Return.objects.filter(club_id=match.club_id, match=match, outcome=Outcome.WEIGHED).exists()
