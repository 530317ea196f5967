"""Records that are made once a module: every test of it begins with them new."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

from django.db import transaction

from analytics import runs
from analytics.catchrate.check import Check
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.trust import verdict_of
from analytics.catchrate.validation import Validation
from analytics.catchrate.verdict import HELD, INTERVALS_OFF, NO_BETTER, Verdict
from tests.factories import SmallClub, make_small_club
from tests.simulation.once import steady_ids


@contextmanager
def kept_for_a_module(blocker: Any) -> Iterator[None]:
    """One transaction around a module's tests, whose own are savepoints in it; all is rolled back.

    `blocker` is pytest-django's `django_db_blocker`. Not for modules with tests that commit.
    """
    with blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@contextmanager
def small_club_of_a_module(blocker: Any) -> Iterator[SmallClub]:
    """The small club of a module; fits that are made within it serve."""
    with kept_for_a_module(blocker):
        with steady_ids("heron-small"):
            small = make_small_club("heron-small")
        with little_clubs_serve():
            yield small


@contextmanager
def little_clubs_serve() -> Iterator[None]:
    """Whether a fit of a few hundred returns beats every baseline is luck."""
    by_unseen_days = {NO_BETTER, INTERVALS_OFF}

    def lenient(check: Check, validation: Validation | Refusal) -> Verdict:
        verdict = verdict_of(check, validation)
        return Verdict(HELD, "") if verdict.code in by_unseen_days else verdict

    with patch.object(runs, "verdict_of", lenient):
        yield
