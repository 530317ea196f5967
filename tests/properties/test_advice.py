"""Laws of advice that hold for every question that a member may ask."""

import math
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics import store
from analytics.answers.advice import Advice, advise
from analytics.answers.knowledge import A_LITTLE
from analytics.answers.question import AdviceQuestion
from tests.simulation.club import simulate_club
from tests.simulation.stored import StoredClub, fit_now, store_club
from tests.simulation.truth import BAITS, RIGS

pytestmark = pytest.mark.django_db
TODAY = date(2024, 6, 1)
laws = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def club(django_db_setup: None, django_db_blocker: Any) -> Iterator[StoredClub]:
    """One fit for all laws: they only read it."""
    frame = simulate_club(seed=7, returns=700, pegs=12, anglers=12, waters=2, years=3).frame
    with django_db_blocker.unblock(), transaction.atomic():
        stored = store_club("heron-laws", frame)
        fit_now(stored.club)
        store.forget()
        yield stored
        transaction.set_rollback(True)
    store.forget()


limits = st.fixed_dictionaries(
    {},
    optional={
        "baits": st.sets(st.sampled_from(BAITS), min_size=1).map(lambda words: tuple(sorted(words))),
        "rig_types": st.sets(st.sampled_from(RIGS), min_size=1).map(lambda words: tuple(sorted(words))),
        "longest_pole_m": st.floats(1.0, 20.0),
    },
)
whens = st.integers(1, 12).map(lambda month: {"month": month}) | st.integers(0, 3000).map(
    lambda days: {"on": date(2020, 1, 1) + timedelta(days=days)}
)
days = st.fixed_dictionaries(
    {},
    optional={
        "water_temperature_c": st.floats(-2.0, 40.0),
        "wind_force": st.integers(0, 12).map(str),
        "tow": st.sampled_from(["none", "slight", "steady", "strong"]),
        "hours": st.floats(0.5, 48.0),
        "session_kind": st.sampled_from(["match", "pleasure"]),
        "peg": st.sampled_from(["peg 00", "peg 03", "peg 05"]),
    },
)


def ask(club: StoredClub, **values: Any) -> Advice:
    return advise(club=club.club, question=AdviceQuestion(water="water 0", **values), today=TODAY)


@given(limits=limits, when=whens)
@laws
def test_nothing_beyond_the_limits_is_ever_offered(club: StoredClub, limits: Any, when: Any) -> None:
    advice = ask(club, **limits, **when)
    assert bool(advice.choices) == (advice.no_advice is None)
    for choice in advice.choices:
        assert choice.hook_bait.name in limits.get("baits", BAITS)
        rigs = [choice.rig_type, *(other.rig_type for other in choice.alternatives)]
        if "rig_types" in limits:
            assert {rig.name if rig else None for rig in rigs} <= set(limits["rig_types"])
        reach = limits.get("longest_pole_m", 16.0)
        distances = [choice.distance_m, choice.good_from_m, choice.good_to_m]
        assert all(metres <= reach for metres in distances if metres is not None)
        assert all(other.distance_m <= reach for other in choice.alternatives if other.distance_m is not None)


@given(limits=limits, tighter=limits, when=whens)
@laws
def test_tightening_the_limits_never_adds_a_choice(
    club: StoredClub, limits: Any, tighter: Any, when: Any
) -> None:
    wide = ask(club, **limits, **when)
    both = {**limits, **tighter}
    for name in ("baits", "rig_types"):
        if name in limits and name in tighter:
            both[name] = tuple(sorted(set(limits[name]) & set(tighter[name])))
            if not both[name]:
                return
    if "longest_pole_m" in limits and "longest_pole_m" in tighter:
        both["longest_pole_m"] = min(limits["longest_pole_m"], tighter["longest_pole_m"])
    narrow = ask(club, **both, **when)
    before = {choice.hook_bait.name: choice.expected_g for choice in wide.choices}
    for choice in narrow.choices:
        assert choice.expected_g <= before[choice.hook_bait.name] * (1 + 1e-12)


@given(limits=limits, when=whens, day=days)
@laws
def test_the_numbers_of_an_answer_hang_together(club: StoredClub, limits: Any, when: Any, day: Any) -> None:
    choices = ask(club, **limits, **when, **day).choices
    if not choices:
        return
    assert sum(choice.chance_best for choice in choices) == pytest.approx(1.0)
    assert [choice.expected_g for choice in choices] == sorted(
        (choice.expected_g for choice in choices), reverse=True
    )
    for choice in choices:
        product = math.prod(driver.multiplier for driver in choice.drivers)
        assert choice.base_g_per_hour * choice.hours * product == pytest.approx(choice.expected_g, rel=1e-9)
        nested = (choice.lower_g, choice.lower_50_g, choice.expected_g, choice.upper_50_g, choice.upper_g)
        assert list(nested) == sorted(nested)
        for driver in choice.drivers:
            ends = (driver.lower_90, driver.lower_50, driver.multiplier, driver.upper_50, driver.upper_90)
            assert list(ends) == sorted(ends)
        assert choice.regret_g >= 0 and 0 <= choice.regret_share < 1
        weights = [percentile.weight_g for percentile in choice.one_session.percentiles]
        assert weights == sorted(weights) and weights[0] >= 0
        assert 0 < choice.one_session.chance_of_blank < 1
        if choice.worth_trying:
            assert choice is not choices[0] and choice.how_much_we_know == A_LITTLE
            assert choice.chance_beats_first >= 0.25 and choice.upper_g > choices[0].expected_g


@given(when=whens, day=days)
@laws
def test_the_same_question_has_the_same_answer(club: StoredClub, when: Any, day: Any) -> None:
    assert ask(club, **when, **day) == ask(club, **when, **day)
