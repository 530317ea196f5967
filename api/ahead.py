"""A new fit is read before anyone asks of it, and what was asked lately is answered again from it.

A thread of the web process looks, in one indexed read, whether another run is served in the clubs that
asked lately, so that the first question after a fit finds its numbers loaded, and most find their answer.
"""

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

from django.conf import settings
from django.db import DatabaseError, close_old_connections

from analytics.models import FitRun
from analytics.store import DamagedFit, load_fit, promoted_run
from clubdata.errors import ClubdataError
from clubdata.models import Club

logger = logging.getLogger(__name__)

#: Clubs that are looked after, and questions of each; who asked longest ago goes first.
MOST_CLUBS = 50
MOST_QUESTIONS = 16

Again = Callable[[Club], None]


class Ahead:
    """Which clubs asked what lately, and the thread that looks after them; safe between threads."""

    def __init__(self, *, every_s: float) -> None:
        self._every_s = every_s
        self._asked: OrderedDict[int, OrderedDict[Hashable, Again]] = OrderedDict()
        self._seen: dict[int, tuple[Any, Any]] = {}
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def note(self, *, club: Club, question: Hashable, again: Again) -> None:
        """Remember a question; `again` answers it once more and keeps the answer."""
        with self._lock:
            questions = self._asked.setdefault(club.pk, OrderedDict())
            self._asked.move_to_end(club.pk)
            questions[question] = again
            questions.move_to_end(question)
            while len(questions) > MOST_QUESTIONS:
                questions.popitem(last=False)
            while len(self._asked) > MOST_CLUBS:
                gone, _ = self._asked.popitem(last=False)
                self._seen.pop(gone, None)
            if self._every_s and (self._thread is None or not self._thread.is_alive()):
                self._thread = threading.Thread(target=self._run, name="ahead", daemon=True)
                self._thread.start()

    def look(self) -> None:
        """Prepare every club in which another run or study is served than when it was last looked at."""
        with self._lock:
            clubs = list(self._asked)
        served = FitRun.objects.filter(club_id__in=clubs, promoted=True).order_by()
        for club_pk, *now in served.values_list("club_id", "uid", "study__uid"):
            before, self._seen[club_pk] = self._seen.get(club_pk), (now[0], now[1])
            if before not in (None, (now[0], now[1])):
                self._prepare(club_pk)

    def _prepare(self, club_pk: int) -> None:
        with self._lock:
            questions = [*reversed(self._asked.get(club_pk, {}).values())]
        club = Club.objects.get(pk=club_pk)
        run = promoted_run(club=club)
        if run is not None:
            _read(run)
        for again in questions:
            try:
                again(club)
            except ClubdataError:
                # What was asked about is gone or no longer allowed: whoever asks again is told.
                logger.info("a question of before cannot be asked any more")

    def _run(self) -> None:
        wait = threading.Event()
        while not wait.wait(self._every_s):
            close_old_connections()
            try:
                self.look()
            except (DatabaseError, Club.DoesNotExist):
                logger.warning("could not look for a new fit", exc_info=True)


def _read(run: FitRun) -> None:
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        logger.error("fit damaged: %s", damage.message, extra={"run_uid": str(run.uid)})
        return
    # Parsed when they are first looked at, and kept.
    _ = (stored.support, stored.observed)


AHEAD = Ahead(every_s=settings.ANSWERS_AHEAD_S)
