"""Which run a process answers from while a newer one is being read.

A process that reads ahead holds, club by club, the run that it has read, until the newer one is loaded and
what is usually asked is answered from it; then all its threads turn to it at once. Any other process holds
nothing, and answers from what is promoted.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from uuid import UUID

#: After so long a newer run is read by whoever asks, prepared or not.
PATIENCE_S = 5.0


@dataclass(frozen=True, slots=True)
class Source:
    """A run of everything caught and the study that follows it, by public id."""

    run_uid: UUID
    study_uid: UUID | None


_ahead: ContextVar[tuple[int, Source] | None] = ContextVar("ahead", default=None)


@dataclass(slots=True)
class _Holding:
    source: Source
    #: Since when a newer one was seen to wait.
    waiting_since: float | None = None


class Held:
    """The source that each club's answers come from in this process; safe between threads."""

    def __init__(
        self, *, patience_s: float = PATIENCE_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._patience_s, self._clock = patience_s, clock
        self._holdings: dict[int, _Holding] = {}
        self._lock = threading.Lock()

    def begin(self, club_pk: int, source: Source) -> None:
        """Hold what an answer came from, unless one is held: the club is read ahead for from now on."""
        with self._lock:
            self._holdings.setdefault(club_pk, _Holding(source))

    def turn(self, club_pk: int, before: Source | None, after: Source) -> None:
        """Answer from `after` from now on, if `before` is still what is held."""
        with self._lock:
            holding = self._holdings.get(club_pk)
            if holding is not None and holding.source == before:
                self._holdings[club_pk] = _Holding(after)

    def let_go(self, club_pk: int) -> None:
        with self._lock:
            self._holdings.pop(club_pk, None)

    def clear(self) -> None:
        with self._lock:
            self._holdings.clear()

    def of(self, club_pk: int) -> Source | None:
        """The source that is held, None where none is."""
        prepared = _prepared(club_pk)
        if prepared is not None:
            return prepared
        with self._lock:
            holding = self._holdings.get(club_pk)
            return None if holding is None else holding.source

    def choose(self, club_pk: int, promoted: Source | None) -> Source | None:
        """What to answer from, where `promoted` is what is promoted now."""
        prepared = _prepared(club_pk)
        if prepared is not None:
            return prepared
        with self._lock:
            holding = self._holdings.get(club_pk)
            if holding is None or holding.source == promoted:
                return promoted
            if promoted is None:
                del self._holdings[club_pk]
                return None
            now = self._clock()
            if holding.waiting_since is None:
                holding.waiting_since = now
            if now - holding.waiting_since < self._patience_s:
                return holding.source
            self._holdings[club_pk] = _Holding(promoted)
            return promoted


@contextmanager
def working_ahead(club_pk: int, source: Source) -> Iterator[None]:
    """Within it this thread answers the club from this source, whatever is held or promoted."""
    token = _ahead.set((club_pk, source))
    try:
        yield
    finally:
        _ahead.reset(token)


def _prepared(club_pk: int) -> Source | None:
    ahead = _ahead.get()
    return ahead[1] if ahead is not None and ahead[0] == club_pk else None


HELD = Held()
