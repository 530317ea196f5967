"""A club's waters, its pegs and what is dangerous at them: kept for as long as they stay as they are."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, Generic, TypeVar

from clubdata.models import Club, Peg, PegHazard, Water

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Named(Generic[Row]):
    """Rows as people name them: by public id, by their own exact word, or by that word in any case."""

    by_uid: dict[uuid.UUID, Row]
    by_word: dict[str, Row]
    in_any_case: dict[str, Row]

    def find(self, text: str) -> Row | None:
        try:
            return self.by_uid.get(uuid.UUID(text))
        except ValueError:
            return self.by_word.get(text) or self.in_any_case.get(text.casefold())

    @property
    def words(self) -> list[str]:
        return sorted(self.by_word)


@dataclass(frozen=True, slots=True)
class Grounds:
    """Rows to read only. Waters have their club with them, as it was when they were read."""

    waters: Named[Water]
    pegs: dict[int, Named[Peg]]
    hazards: dict[int, tuple[PegHazard, ...]]

    def pegs_of(self, water: Water) -> Named[Peg]:
        return self.pegs.get(water.pk) or _named((), "label")

    def hazards_at(self, peg_id: int, on: date) -> list[str]:
        """The kinds of the hazards that stand at a peg on a day, as they were noted."""
        return [
            hazard.kind
            for hazard in self.hazards.get(peg_id, ())
            if hazard.noted_on <= on and (hazard.cleared_on is None or hazard.cleared_on > on)
        ]


def known_grounds(club: Club) -> Grounds:
    """Of the club as it stands at its `places_revision`, which every change of a place raises."""
    return _kept_grounds(club.uid, club.places_revision, club.pk)


@lru_cache(maxsize=100)
def _kept_grounds(club_uid: uuid.UUID, places_revision: int, club_id: int) -> Grounds:  # noqa: ARG001
    pegs: dict[int, list[Peg]] = {}
    for peg in Peg.objects.filter(club_id=club_id).order_by("pk"):
        pegs.setdefault(peg.water_id, []).append(peg)
    hazards: dict[int, list[PegHazard]] = {}
    for hazard in PegHazard.objects.filter(club_id=club_id).order_by("noted_on", "kind"):
        hazards.setdefault(hazard.peg_id, []).append(hazard)
    waters = Water.objects.filter(club_id=club_id).select_related("club").order_by("pk")
    return Grounds(
        waters=_named(waters, "name"),
        pegs={water_id: _named(rows, "label") for water_id, rows in pegs.items()},
        hazards={peg_id: tuple(rows) for peg_id, rows in hazards.items()},
    )


def _named(rows: Iterable[Any], column: str) -> Named[Any]:
    found: Named[Any] = Named({}, {}, {})
    for row in rows:
        word = getattr(row, column)
        found.by_uid[row.uid] = row
        found.by_word[word] = row
        found.in_any_case.setdefault(word.casefold(), row)
    return found


def forget_grounds() -> None:
    """Read every club's places anew from now on."""
    _kept_grounds.cache_clear()
