"""A process goes on with the run that it has read, for a while, and turns to a newer one at once."""

from uuid import uuid4

import pytest

from analytics.held import PATIENCE_S, Held, Source, working_ahead

CLUB, OTHER = 1, 2


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def held(clock: Clock) -> Held:
    return Held(clock=clock)


def source() -> Source:
    return Source(uuid4(), None)


def test_nothing_is_held_where_nobody_reads_ahead(held: Held) -> None:
    promoted = source()
    assert held.choose(CLUB, promoted) == promoted
    assert held.of(CLUB) is None


def test_the_run_that_was_read_answers_until_all_turn_to_the_newer_one(held: Held) -> None:
    old, new = source(), source()
    held.begin(CLUB, old)
    assert held.choose(CLUB, new) == held.of(CLUB) == old
    held.turn(CLUB, old, new)
    assert held.choose(CLUB, new) == held.of(CLUB) == new
    held.begin(CLUB, old)
    held.turn(CLUB, old, old)
    assert held.of(CLUB) == new, "nothing leads back"


def test_a_study_that_comes_later_is_turned_to_as_a_run_is(held: Held) -> None:
    before = source()
    after = Source(before.run_uid, uuid4())
    held.begin(CLUB, before)
    assert held.choose(CLUB, after) == before
    held.turn(CLUB, before, after)
    assert held.choose(CLUB, after) == after


def test_another_club_is_unaffected(held: Held) -> None:
    held.begin(CLUB, source())
    promoted = source()
    assert held.choose(OTHER, promoted) == promoted
    assert held.of(OTHER) is None


def test_the_wait_is_bounded_whatever_comes_meanwhile(held: Held, clock: Clock) -> None:
    old, newer, newest = source(), source(), source()
    held.begin(CLUB, old)
    assert held.choose(CLUB, newer) == old
    clock.now += PATIENCE_S - 0.1
    assert held.choose(CLUB, newest) == old
    clock.now += 0.1
    assert held.choose(CLUB, newest) == held.of(CLUB) == newest
    held.turn(CLUB, old, newer)
    assert held.of(CLUB) == newest, "whoever was late with the older one turns nobody back"


def test_where_no_run_is_promoted_any_more_none_is_held(held: Held) -> None:
    held.begin(CLUB, source())
    assert held.choose(CLUB, None) is None
    assert held.of(CLUB) is None


def test_whoever_works_ahead_answers_from_what_they_prepare(held: Held) -> None:
    old, new, newest = source(), source(), source()
    held.begin(CLUB, old)
    held.begin(OTHER, old)
    with working_ahead(CLUB, new):
        assert held.choose(CLUB, newest) == held.of(CLUB) == new
        assert held.choose(OTHER, newest) == held.of(OTHER) == old
    assert held.choose(CLUB, newest) == held.of(CLUB) == old
