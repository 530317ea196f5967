"""Where a question asks about: the water, the peg, what is dangerous there, and where else to go."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from uuid import UUID

from analytics.held import HELD
from clubdata.errors import InvalidInput, NotFound
from clubdata.models import Club, Peg, PegHazard, Water
from clubdata.rules.cautions import Caution, forbids_advice, means_power_line
from clubdata.rules.words import fold
from clubdata.services.waters import standing_hazards

#: No peg this near to one under a power line, counted along the bank, is named as another place to go.
#: A count of pegs, since their spacing is not recorded; common practice, no source.
PLACES_CLEAR_OF_A_LINE = 3
MOST_OTHER_PEGS = 4
#: Waters that stay known with their pegs, as long as the club's records stay as they are.
KEPT_WATERS = 64

_TELL_THE_CLUB = "Tell the club's water officer or a bailiff."
_TELL_THE_NETWORK = (
    "Tell the club's water officer or a bailiff, and the electricity network operator (in Great Britain "
    "call 105; 999 if anyone is in danger)."
)
_LINE_NEARBY = Caution(
    "power_line_nearby",
    "An overhead power line is noted at a peg close to this one. Look up before you put a pole together, "
    "and carry it low. Network operators ask anglers to keep at least 30 m away along the ground; no "
    "distance is a promise of safety. The fishery's signs and rules come first.",
)


@dataclass(frozen=True, slots=True)
class Hazard:
    """A standing hazard of a peg, since when, and whom to tell."""

    peg: str
    kind: str
    since: date
    whom_to_tell: str


@dataclass(frozen=True, slots=True)
class PegName:
    """A peg to name in an answer."""

    uid: UUID
    label: str


@dataclass(frozen=True, slots=True)
class PegHere:
    """A peg with the hazards that stand there."""

    peg: Peg
    hazards: Sequence[PegHazard]


@dataclass(frozen=True, slots=True)
class Place:
    """A water with its pegs in bank order, and the peg asked about, if one was."""

    water: Water
    pegs: Sequence[PegHere]
    asked: PegHere | None

    def peg(self) -> PegName | None:
        return None if self.asked is None else _name(self.asked)

    def hazards(self) -> tuple[Hazard, ...]:
        """Standing hazards of the peg asked about, or of every peg when none was."""
        return tuple(
            Hazard(here.peg.label, hazard.kind, hazard.noted_on, _whom_to_tell(hazard.kind))
            for here in (self.pegs if self.asked is None else [self.asked])
            for hazard in here.hazards
        )

    def cautions(self) -> tuple[Caution, ...]:
        """A line noted a few pegs away reaches further than its peg."""
        if self.asked is None or no_advice_at(self.asked) or not self._line_within(self.asked):
            return ()
        return (_LINE_NEARBY,)

    def out_of_use(self) -> tuple[PegName, ...]:
        return tuple(_name(here) for here in self.pegs if not here.peg.in_use)

    def under_hazard(self) -> tuple[PegName, ...]:
        """Pegs that get no fishing advice."""
        return tuple(_name(here) for here in self.pegs if no_advice_at(here))

    def other_pegs(self) -> tuple[PegName, ...]:
        """The nearest pegs that can be used, those of the same bank first."""
        if self.asked is None:
            return ()
        asked = self.asked.peg
        usable = [
            here
            for here in self.pegs
            if here.peg != asked
            and here.peg.in_use
            and not no_advice_at(here)
            and not self._line_within(here)
        ]
        usable.sort(
            key=lambda here: (here.peg.bank != asked.bank, abs(here.peg.bank_order - asked.bank_order))
        )
        return tuple(_name(here) for here in usable[:MOST_OTHER_PEGS])

    def beside(self) -> tuple[Peg, ...]:
        """The peg asked about and its neighbours along the bank, whatever their use; none without one."""
        if self.asked is None:
            return ()
        bank = [here.peg for here in self.pegs if here.peg.bank == self.asked.peg.bank]
        at = bank.index(self.asked.peg)
        return tuple(bank[max(at - 1, 0) : at + 2])

    def _line_within(self, here: PegHere) -> bool:
        """Whether another peg of the bank, few places away, lies under a power line."""
        bank = [other for other in self.pegs if other.peg.bank == here.peg.bank]
        at = bank.index(here)
        near = bank[max(at - PLACES_CLEAR_OF_A_LINE, 0) : at + PLACES_CLEAR_OF_A_LINE + 1]
        return any(
            means_power_line(hazard.kind)
            for other in near
            if other.peg != here.peg
            for hazard in other.hazards
        )


def find_place(*, club: Club, water: str, peg: str | None, today: date) -> Place:
    """The water, by name or uid, and the peg, by label or uid, as they stand today.

    :raises NotFound: the club has no such water.
    :raises InvalidInput: the water has no such peg.
    """
    read = _read if HELD.of(club.pk) is None else _kept
    found, pegs = read(club.uid, (club.revision, club.places_revision), water, today)
    if peg is None:
        return Place(found, pegs, None)
    asked = next((here for here in pegs if _is(here.peg.uid, here.peg.label, peg)), None)
    if asked is None:
        raise no_such_peg(found, peg, field="peg")
    return Place(found, pegs, asked)


def no_such_peg(water: Water, asked: str, *, field: str) -> InvalidInput:
    """What to say of a peg that the water has not: of another water's or club's the same."""
    return InvalidInput(f"{water.name} has no peg '{asked}'.", field=field, code="unknown_peg")


def _read(
    club_uid: UUID,
    revisions: tuple[int, int],  # noqa: ARG001 - what is known ends with them
    water: str,
    today: date,
) -> tuple[Water, tuple[PegHere, ...]]:
    waters = Water.objects.filter(club__uid=club_uid)
    found = next((item for item in waters if _is(item.uid, item.name, water)), None)
    if found is None:
        raise NotFound("There is no such water.", field="water")
    return found, tuple(_pegs(found, today=today))


#: For a process that keeps answers as well, under the same revisions.
_kept = lru_cache(maxsize=KEPT_WATERS)(_read)


def _pegs(water: Water, *, today: date) -> list[PegHere]:
    """The water's pegs, each bank in its order."""
    standing: dict[int, list[PegHazard]] = {}
    for hazard in standing_hazards(today).filter(club_id=water.club_id, peg__water=water):
        standing.setdefault(hazard.peg_id, []).append(hazard)
    pegs = Peg.objects.filter(club_id=water.club_id, water=water).order_by("bank", "bank_order")
    return [PegHere(peg, standing.get(peg.pk, [])) for peg in pegs]


def no_advice_at(here: PegHere) -> bool:
    """Whether a hazard stands there under which nobody should be advised to fish."""
    return forbids_advice([hazard.kind for hazard in here.hazards])


def _name(here: PegHere) -> PegName:
    return PegName(here.peg.uid, here.peg.label)


def _is(uid: UUID, name: str, asked: str) -> bool:
    return asked in {str(uid), uid.hex} or fold(name) == fold(asked)


def _whom_to_tell(kind: str) -> str:
    return _TELL_THE_NETWORK if means_power_line(kind) else _TELL_THE_CLUB
