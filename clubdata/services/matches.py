"""Matches looked up by their code: which pegs were drawn, and whether the result is out."""

from datetime import date

from clubdata.errors import NotFound
from clubdata.models import Match, Outcome, Peg, Return, Water
from clubdata.services.members import Membership


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
