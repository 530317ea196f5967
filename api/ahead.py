"""A new fit is read before anyone asks of it, and what is asked of it is answered before anyone waits.

A thread of the web process looks, in one indexed read, whether another run is served in the clubs that
asked lately. While it reads it, requests go on with the run before (`analytics.held`); once its numbers are
loaded and the questions of before and the usual ones are answered from it, all turn to it together.
"""

import logging
import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from analytics.catchrate.estimates import FORMAT
from analytics.held import HELD, Held, Source, working_ahead
from analytics.models import FitRun
from analytics.store import DamagedFit, load_fit, served_run
from api.usual import usual_addresses
from clubdata.errors import ClubdataError
from clubdata.models import Club
from clubdata.services.waters import date_at_water

logger = logging.getLogger(__name__)

#: Clubs that are looked after, questions of each, and sets of roles for which the usual ones are answered;
#: who asked longest ago goes first.
MOST_CLUBS = 50
MOST_QUESTIONS = 16
MOST_ASKERS = 3
#: After so long the new run is turned to with what is answered by then; the rest follows.
READY_AFTER_S = 1.0
#: So long, and at least as long as an answer took, the thread rests after each: requests go first.
LEAST_REST_S = 0.002
#: How long a request that comes back from the database may have to wait for the thread, in seconds.
SWITCH_INTERVAL_S = 0.0005

Again = Callable[[Club], None]
#: Answers what an address asks, for whoever has the same roles.
Lend = Callable[[Club, str], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """A question: `again` answers it once more and keeps the answer; `source` is what it came from."""

    question: Hashable
    again: Again
    source: Source | None
    roles: Hashable
    lend: Lend


@dataclass(frozen=True, slots=True)
class _State:
    """What answers depend on, apart from the day."""

    source: Source
    revisions: tuple[int, int]


@dataclass(slots=True)
class _Club:
    """What a club asked lately, and its state when last looked at."""

    source: Source | None
    questions: OrderedDict[Hashable, Again] = field(default_factory=OrderedDict)
    askers: OrderedDict[Hashable, Lend] = field(default_factory=OrderedDict)
    revisions: tuple[int, int] | None = None
    #: Its records have changed, and its questions were not answered since.
    is_due: bool = False


class Ahead:
    """Which clubs asked what lately, and the thread that looks after them; safe between threads."""

    def __init__(self, *, every_s: float, held: Held = HELD) -> None:
        self._every_s, self._held = every_s, held
        self._clubs: OrderedDict[int, _Club] = OrderedDict()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._ended = threading.Event()

    def note(self, *, club: Club, asked: Asked) -> None:
        """Remember a question, and hold what it was answered from until something newer is prepared."""
        with self._lock:
            here = self._clubs.setdefault(club.pk, _Club(asked.source))
            self._clubs.move_to_end(club.pk)
            _remember(here.questions, asked.question, asked.again, MOST_QUESTIONS)
            _remember(here.askers, asked.roles, asked.lend, MOST_ASKERS)
            while len(self._clubs) > MOST_CLUBS:
                gone, _ = self._clubs.popitem(last=False)
                self._held.let_go(gone)
            if self._every_s:
                if asked.source is not None:
                    self._held.begin(club.pk, asked.source)
                self._start()

    def close(self) -> None:
        """End the thread, and hold nothing any more."""
        self._ended.set()
        if self._thread is not None:
            self._thread.join()
        self._held.clear()

    def look(self) -> None:
        """Prepare clubs in which another run or study is promoted; answer anew where records changed."""
        with self._lock:
            clubs = dict(self._clubs)
        for club_pk, now in _states(clubs):
            here = clubs[club_pk]
            if here.source != now.source:
                here.source, here.revisions, here.is_due = now.source, now.revisions, False
                self._prepare(club_pk, here, now.source)
            elif here.is_due and here.revisions == now.revisions:
                # Once they stand still: of a match's returns each changes them.
                here.is_due = False
                self._answer(club_pk, here)
            elif here.revisions != now.revisions:
                here.is_due = here.revisions is not None
                here.revisions = now.revisions

    def _prepare(self, club_pk: int, here: _Club, source: Source) -> None:
        """Load the new run, answer the questions of before and the usual ones from it, and turn to it."""
        until = time.monotonic() + READY_AFTER_S
        club, before = Club.objects.get(pk=club_pk), self._held.of(club_pk)
        with working_ahead(club_pk, source):
            _read(club)
            waiting = self._questions(here, club)
            for answer in waiting:
                _tried(answer, club)
                if time.monotonic() > until:
                    break
            self._held.turn(club_pk, before, source)
            for answer in waiting:
                _tried(answer, club)

    def _answer(self, club_pk: int, here: _Club) -> None:
        """The questions of before once more, from the run that is served."""
        club = Club.objects.get(pk=club_pk)
        with self._lock:
            questions = [*reversed(here.questions.values())]
        for answer in questions:
            _tried(answer, club)

    def _questions(self, here: _Club, club: Club) -> Iterator[Again]:
        """The latest first, then the usual ones."""
        with self._lock:
            questions, askers = [*reversed(here.questions.values())], [*reversed(here.askers.values())]
        yield from questions
        today = date_at_water(club, None, now=timezone.now())
        for address in usual_addresses(club=club, today=today):
            yield from (_lent(lend, address) for lend in askers)

    def _start(self) -> None:
        if self._thread is None or not self._thread.is_alive():
            sys.setswitchinterval(SWITCH_INTERVAL_S)
            self._thread = threading.Thread(target=self._run, name="ahead", daemon=True)
            self._thread.start()

    def _run(self) -> None:
        while not self._ended.wait(self._every_s):
            close_old_connections()
            try:
                self.look()
            except (DatabaseError, Club.DoesNotExist):
                logger.warning("could not look for a new fit", exc_info=True)


def _remember(latest: OrderedDict[Hashable, Any], key: Hashable, value: Any, most: int) -> None:
    latest[key] = value
    latest.move_to_end(key)
    while len(latest) > most:
        latest.popitem(last=False)


def _states(clubs: Iterable[int]) -> Iterator[tuple[int, _State]]:
    served = FitRun.objects.filter(club_id__in=clubs, promoted=True, format=FORMAT).order_by()
    columns = ("club_id", "uid", "study__uid", "club__revision", "club__places_revision")
    for club_pk, run_uid, study_uid, *revisions in served.values_list(*columns):
        yield club_pk, _State(Source(run_uid, study_uid), (revisions[0], revisions[1]))


def _lent(lend: Lend, address: str) -> Again:
    return lambda club: lend(club, address)


def _tried(answer: Again, club: Club) -> None:
    """Answer, and rest as long as that took."""
    begun = time.monotonic()
    try:
        answer(club)
    except ClubdataError:
        # What was asked about is gone or no longer allowed: whoever asks again is told.
        logger.info("a question of before cannot be asked any more")
    time.sleep(max(LEAST_REST_S, time.monotonic() - begun))


def _read(club: Club) -> None:
    run = served_run(club=club)
    if run is None:
        return
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        return
    # Parsed when they are first looked at, and kept.
    _ = (stored.support, stored.observed)


AHEAD = Ahead(every_s=settings.ANSWERS_AHEAD_S)
