"""A club's words looked up as members write them; an unknown word names the nearest known one."""

import difflib
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from clubdata.errors import InvalidInput
from clubdata.models import Club, Feed, HookBait, Method, RigType, Species
from clubdata.rules.words import fold

NEAR_ENOUGH = 0.6
KINDS: dict[str, type[Any]] = {
    "method": Method,
    "hook bait": HookBait,
    "feed": Feed,
    "rig type": RigType,
    "species": Species,
}

PLURALS = {
    "methods": "method",
    "rig_types": "rig type",
    "hook_baits": "hook bait",
    "feeds": "feed",
    "species": "species",
}


@dataclass(frozen=True, slots=True)
class Lexicon:
    """The entries of one kind: every folded spelling, name and uid to the entry's id; and names to show."""

    kind: str
    ids: dict[str, int] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)

    def find(self, word: str) -> int:
        """The entry's id. Raises `InvalidInput` that names the nearest known word."""
        found = self.ids.get(fold(word))
        if found is None:
            raise InvalidInput(self._unknown(word), code="unknown_word")
        return found

    def add(self, name: str, entry_id: int, spellings: Iterable[str]) -> None:
        for spelling in (name, *spellings):
            self.ids.setdefault(fold(spelling), entry_id)
            self.names.setdefault(fold(spelling), name)

    def _unknown(self, word: str) -> str:
        shown = f"'{word[:60]}' is not a {self.kind} that the club knows"
        near = difflib.get_close_matches(fold(word)[:60], self.names, n=1, cutoff=NEAR_ENOUGH)
        if near:
            return f"{shown}; the nearest is '{self.names[near[0]]}'."
        return f"{shown}; see the club's vocabulary."


def read_lexicon(*, club: Club, kind: str) -> Lexicon:
    """The club's entries of a kind of `KINDS`, in one query."""
    lexicon = Lexicon(kind)
    rows = KINDS[kind].objects.filter(club=club).values_list("id", "uid", "name", "spellings__folded")
    for entry_id, uid, name, spelling in rows.order_by("id"):
        lexicon.add(name, entry_id, [spelling] if spelling else [])
        lexicon.ids[str(uid)] = entry_id
    return lexicon


def known_lexicon(*, club: Club, kind: str) -> Lexicon:
    """The same, to read only: kept for as long as the club's places and words stay as they are."""
    return _kept_lexicon(club.uid, club.places_revision, club.pk, kind)


@lru_cache(maxsize=500)
def _kept_lexicon(club_uid: uuid.UUID, places_revision: int, club_id: int, kind: str) -> Lexicon:  # noqa: ARG001
    return read_lexicon(club=Club(pk=club_id), kind=kind)


def known_entries(*, club: Club, kind: str) -> dict[int, Any]:
    """The entries themselves by their ids, to read only; kept for as long."""
    return _kept_entries(club.uid, club.places_revision, club.pk, kind)


@lru_cache(maxsize=500)
def _kept_entries(club_uid: uuid.UUID, places_revision: int, club_id: int, kind: str) -> dict[int, Any]:  # noqa: ARG001
    found: dict[int, Any] = KINDS[kind].objects.filter(club_id=club_id).in_bulk()
    return found


def forget_words() -> None:
    """Read every club's words anew from now on."""
    _kept_lexicon.cache_clear()
    _kept_entries.cache_clear()


def vocabulary_of(club: Club) -> dict[str, list[Any]]:
    """All of a club's entries with their spellings, by name; a constant number of queries."""
    return {
        plural: list(KINDS[kind].objects.filter(club=club).order_by("name").prefetch_related("spellings"))
        for plural, kind in PLURALS.items()
    }
