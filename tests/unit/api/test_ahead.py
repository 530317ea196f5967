"""A new fit is read, and what is asked of it is answered, before anyone asks."""

import threading
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from analytics import store
from analytics.held import HELD, Held, Source
from analytics.models import FitRun
from api import ahead as ahead_module
from api.ahead import MOST_CLUBS, MOST_QUESTIONS, Ahead, Asked
from api.usual import usual_addresses
from api.views import answers
from clubdata.models import Account, Club, PegHazard
from tests.contract.fitted import fish_for_two_years, fit
from tests.factories import SmallClub
from tests.unit.api.forms.example import BUILT

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.unit.api.forms.example")]
ClientFor = Callable[[Account | None], APIClient]


class Looking(Ahead):
    """One that looks only when it is told to, and holds as the one with a thread does."""

    def _start(self) -> None:
        pass


@pytest.fixture(autouse=True)
def ahead(monkeypatch: pytest.MonkeyPatch) -> Iterator[Ahead]:
    fresh = Looking(every_s=3600)
    monkeypatch.setattr(answers, "AHEAD", fresh)
    monkeypatch.setattr(ahead_module, "usual_addresses", lambda **_: ())
    answers.BODIES.forget()
    BUILT.clear()
    store.forget()
    yield fresh
    fresh.close()
    answers.BODIES.forget()
    store.forget()


def leave() -> None:
    raise SystemExit


def asked(number: int, source: Source | None = None) -> Asked:
    return Asked(number, lambda _club: None, source, frozenset(), lambda _club, _address: None)


def ask(small: SmallClub, client_for: ClientFor, noun: str = "example") -> Any:
    address = f"/api/v1/clubs/{small.club.slug}/waters/{small.mere.uid}/{noun}/"
    response = client_for(small.account()).get(address)
    assert response.status_code == 200, response.content
    return response


def fit_told(small: SmallClub, client_for: ClientFor) -> str:
    return str(ask(small, client_for, "peg-form").json()["fit"]["uid"])


def served_uid() -> str:
    return str(FitRun.objects.get(promoted=True).uid)


@pytest.fixture
def fitted(heron_small: SmallClub) -> SmallClub:
    fish_for_two_years(heron_small)
    fit(heron_small)
    return heron_small


@pytest.mark.slow
def test_a_new_fit_is_loaded_and_the_last_questions_are_answered_from_it(
    fitted: SmallClub, client_for: ClientFor, ahead: Ahead
) -> None:
    ask(fitted, client_for)
    ahead.look()
    assert len(BUILT) == 1, "what is served already needs nothing"
    fitted.club.raise_revision()
    fit(fitted)
    ahead.look()
    run = FitRun.objects.get(promoted=True)
    assert run.uid in store._cache
    assert len(BUILT) == 2
    ask(fitted, client_for)
    assert len(BUILT) == 2, "the question finds its answer"
    ahead.look()
    assert len(BUILT) == 2


@pytest.mark.slow
def test_the_fit_before_answers_until_the_new_one_is_prepared_and_then_never_again(
    fitted: SmallClub, client_for: ClientFor, ahead: Ahead
) -> None:
    before = fit_told(fitted, client_for)
    fit(fitted)
    after = served_uid()
    told = [fit_told(fitted, client_for)]
    assert told == [before] != [after]
    ahead.look()
    told = [fit_told(fitted, client_for) for _ in range(3)]
    assert set(told) == {after}


@pytest.mark.slow
def test_nobody_waits_for_a_fit_that_nobody_prepares(
    fitted: SmallClub, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = fit_told(fitted, client_for)
    fit(fitted)
    assert fit_told(fitted, client_for) == before
    monkeypatch.setattr(HELD, "_patience_s", 0.0)
    assert fit_told(fitted, client_for) == served_uid() != before


@pytest.mark.slow
def test_a_hazard_noted_while_the_fit_before_still_answers_shows_in_the_next_answer(
    fitted: SmallClub, client_for: ClientFor
) -> None:
    before = fit_told(fitted, client_for)
    fit(fitted)
    ask(fitted, client_for)
    PegHazard.objects.create(
        club=fitted.club, peg=fitted.pegs["7"], kind="broken platform", noted_on=date(2024, 1, 1)
    )
    fitted.club.raise_places_revision()
    assert fit_told(fitted, client_for) == before
    pegs = ask(fitted, client_for).json()["pegs"]
    assert {row["peg"]: row["hazard"] for row in pegs}["7"] is True
    form = ask(fitted, client_for, "peg-form").json()
    assert "7" not in [row["peg"]["label"] for row in form["pegs"]]
    assert "7" in [row["peg"]["label"] for row in form["left_out"]]


@pytest.mark.slow
def test_another_club_s_fit_is_not_waited_with(
    fitted: SmallClub, other_club: SmallClub, client_for: ClientFor, ahead: Ahead
) -> None:
    before = fit_told(fitted, client_for)
    fish_for_two_years(other_club)
    fit(other_club)
    first = fit_told(other_club, client_for)
    fit(fitted)
    assert fit_told(other_club, client_for) == first
    assert fit_told(fitted, client_for) == before
    ahead.look()
    assert fit_told(other_club, client_for) == first
    assert fit_told(fitted, client_for) != before


@pytest.mark.slow
def test_what_is_usually_asked_is_answered_before_anyone_asks(
    fitted: SmallClub, client_for: ClientFor, ahead: Ahead, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ahead_module, "usual_addresses", usual_addresses)
    ask(fitted, client_for)
    fit(fitted)
    ahead.look()
    built: list[str] = []
    for view in {type(one) for one in _answer_views()}:
        monkeypatch.setattr(view, "build", lambda self, _parameters: built.append(type(self).__name__))
    client = client_for(fitted.account())
    addresses = usual_addresses(club=fitted.club, today=timezone.now().date())
    assert {client.get(address).status_code for address in addresses} == {200}
    assert not built


def _answer_views() -> Iterator[answers.AnswerView]:
    kinds = [answers.AnswerView]
    while kinds:
        kinds.extend(found := kinds.pop().__subclasses__())
        yield from (kind() for kind in found if "build" in vars(kind))


@pytest.mark.slow
def test_once_returns_stand_still_the_last_questions_are_answered_anew(
    fitted: SmallClub, client_for: ClientFor, ahead: Ahead
) -> None:
    ask(fitted, client_for)
    ahead.look()
    fitted.club.raise_revision()
    ahead.look()
    fitted.club.raise_revision()
    ahead.look()
    assert len(BUILT) == 1, "they are still coming"
    ahead.look()
    assert len(BUILT) == 2
    ask(fitted, client_for)
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
    ahead._answer(club.pk, ahead._clubs[club.pk])
    assert len(BUILT) == 4


def test_only_so_many_questions_and_clubs_are_remembered(heron_small: SmallClub) -> None:
    held = Held()
    ahead = Looking(every_s=3600, held=held)
    source = Source(heron_small.club.uid, None)
    for number in range(MOST_QUESTIONS + 5):
        ahead.note(club=heron_small.club, asked=asked(number, source))
    assert list(ahead._clubs[heron_small.club.pk].questions) == list(range(5, MOST_QUESTIONS + 5))
    assert held.of(heron_small.club.pk) == source
    for pk in range(10_000, 10_000 + MOST_CLUBS):
        ahead.note(club=Club(pk=pk), asked=asked(1))
    assert len(ahead._clubs) == MOST_CLUBS and heron_small.club.pk not in ahead._clubs
    assert held.of(heron_small.club.pk) is None, "who is not looked after waits for nothing"


def test_a_process_that_does_not_look_ahead_holds_nothing(heron_small: SmallClub) -> None:
    held = Held()
    Ahead(every_s=0, held=held).note(
        club=heron_small.club, asked=asked(1, Source(heron_small.club.uid, None))
    )
    assert held.of(heron_small.club.pk) is None


# The test's own way to end the thread.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_one_thread_looks_and_begins_with_the_first_question(monkeypatch: pytest.MonkeyPatch) -> None:
    looked = threading.Event()
    ahead = Ahead(every_s=0.01)
    monkeypatch.setattr(ahead, "look", looked.set)
    monkeypatch.setattr("api.ahead.close_old_connections", lambda: None)
    assert not [one for one in threading.enumerate() if one.name == "ahead"]
    for number in range(3):
        ahead.note(club=Club(pk=1), asked=asked(number))
    assert looked.wait(5)
    threads = [one for one in threading.enumerate() if one.name == "ahead"]
    assert len(threads) == 1 and threads[0].daemon
    # A defect ends it; the next question begins another.
    monkeypatch.setattr(ahead, "look", leave)
    threads[0].join(5)
    assert not threads[0].is_alive()
    monkeypatch.setattr(ahead, "look", looked.set)
    looked.clear()
    ahead.note(club=Club(pk=1), asked=asked(4))
    assert looked.wait(5)
    ahead.close()
    assert not [one for one in threading.enumerate() if one.name == "ahead"]
