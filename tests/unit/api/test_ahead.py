"""A new fit is read, and what was asked lately is answered again, before anyone asks."""

import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from rest_framework.test import APIClient

from analytics import store
from analytics.models import FitRun
from api.ahead import MOST_CLUBS, MOST_QUESTIONS, Ahead
from api.views import answers
from clubdata.models import Account, Club
from tests.contract.fitted import fish_for_two_years, fit
from tests.factories import SmallClub
from tests.unit.api.forms.example import BUILT

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.unit.api.forms.example")]
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture(autouse=True)
def ahead(monkeypatch: pytest.MonkeyPatch) -> Iterator[Ahead]:
    """One that looks only when it is told to."""
    fresh = Ahead(every_s=0)
    monkeypatch.setattr(answers, "AHEAD", fresh)
    answers.BODIES.forget()
    BUILT.clear()
    store.forget()
    yield fresh
    answers.BODIES.forget()
    store.forget()


def leave() -> None:
    raise SystemExit


def ask(small: SmallClub, client_for: ClientFor, noun: str = "example") -> Any:
    address = f"/api/v1/clubs/heron-small/waters/{small.mere.uid}/{noun}/"
    return client_for(small.account()).get(address)


@pytest.mark.slow
def test_a_new_fit_is_loaded_and_the_last_questions_are_answered_from_it(
    heron_small: SmallClub, client_for: ClientFor, ahead: Ahead
) -> None:
    fish_for_two_years(heron_small)
    fit(heron_small)
    ask(heron_small, client_for)
    ahead.look()
    assert len(BUILT) == 1, "what is served already needs nothing"
    heron_small.club.raise_revision()
    fit(heron_small)
    ahead.look()
    run = FitRun.objects.get(promoted=True)
    assert run.uid in store._cache
    assert len(BUILT) == 2
    assert ask(heron_small, client_for).status_code == 200
    assert len(BUILT) == 2, "the question finds its answer"
    ahead.look()
    assert len(BUILT) == 2


def test_a_question_that_cannot_be_asked_any_more_stops_no_other(
    heron_small: SmallClub, client_for: ClientFor, ahead: Ahead
) -> None:
    ask(heron_small, client_for)
    ask(heron_small, client_for, "personal")
    club = heron_small.club
    heron_small.mere.delete()
    club.raise_places_revision()
    ahead._prepare(club.pk)
    assert len(BUILT) == 4


def test_only_so_many_questions_and_clubs_are_remembered(heron_small: SmallClub) -> None:
    ahead = Ahead(every_s=0)
    for number in range(MOST_QUESTIONS + 5):
        ahead.note(club=heron_small.club, question=number, again=lambda _club: None)
    assert list(ahead._asked[heron_small.club.pk]) == list(range(5, MOST_QUESTIONS + 5))
    for pk in range(10_000, 10_000 + MOST_CLUBS):
        ahead.note(club=Club(pk=pk), question=1, again=lambda _club: None)
    assert len(ahead._asked) == MOST_CLUBS and heron_small.club.pk not in ahead._asked


# The test's own way to end the thread.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_one_thread_looks_and_begins_with_the_first_question(monkeypatch: pytest.MonkeyPatch) -> None:
    looked = threading.Event()
    ahead = Ahead(every_s=0.01)
    monkeypatch.setattr(ahead, "look", looked.set)
    monkeypatch.setattr("api.ahead.close_old_connections", lambda: None)
    assert not [one for one in threading.enumerate() if one.name == "ahead"]
    for number in range(3):
        ahead.note(club=Club(pk=1), question=number, again=lambda _club: None)
    assert looked.wait(5)
    threads = [one for one in threading.enumerate() if one.name == "ahead"]
    assert len(threads) == 1 and threads[0].daemon
    # It ends as a defect would end it; nobody else's test is looked after.
    monkeypatch.setattr(ahead, "look", leave)
    threads[0].join(5)
    assert not threads[0].is_alive()
