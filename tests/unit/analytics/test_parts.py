"""How the effort of a session is shared among its parts, and when a part is a session of its own."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.parts import share_hours, split_sessions

NAN = float("nan")


def shared(session_hours: float, *stated: float) -> list[float]:
    parts = len(stated)
    return share_hours(
        session=np.zeros(parts, dtype=np.int64),
        session_hours=np.full(parts, session_hours),
        stated_hours=np.array(stated),
    ).tolist()


@pytest.mark.parametrize("stated", [NAN, 3.0])
def test_a_single_part_takes_the_sessions_hours_whatever_it_states(stated: float) -> None:
    assert shared(5.0, stated) == [5.0]


def test_several_parts_take_the_hours_stated_for_them() -> None:
    assert shared(5.0, 1.5, 2.5) == [1.5, 2.5]


def test_parts_that_state_nothing_share_the_rest_equally() -> None:
    assert shared(5.0, 2.0, NAN, NAN) == [2.0, 1.5, 1.5]
    assert shared(6.0, NAN, NAN, NAN) == [2.0, 2.0, 2.0]


def test_two_lines_at_the_same_time_do_not_make_two_sessions() -> None:
    assert shared(5.0, 5.0, 5.0) == [2.5, 2.5]
    assert shared(6.0, 6.0, 3.0) == [4.0, 2.0]


def test_a_rounding_of_the_sum_is_no_time_left() -> None:
    assert 3.3 - (1.1 + 2.2) != 0
    assert shared(3.3, 1.1, 2.2, NAN) == pytest.approx([1.1, 1.1, 1.1])


@pytest.mark.parametrize("stated", [5.0, 7.0])
def test_a_part_for_which_nothing_is_left_was_fished_all_the_same(stated: float) -> None:
    assert shared(5.0, stated, NAN) == [2.5, 2.5]


def test_without_the_sessions_hours_only_stated_hours_are_known() -> None:
    np.testing.assert_array_equal(shared(NAN, 2.0, NAN), [2.0, NAN])


def test_each_session_shares_its_own_hours() -> None:
    hours = share_hours(
        session=np.array([0, 1, 1, 2, 3, 3]),
        session_hours=np.array([4.0, 5.0, 5.0, 6.0, 8.0, 8.0]),
        stated_hours=np.array([NAN, 1.0, NAN, 2.0, 3.0, 5.0]),
    )
    assert hours.tolist() == [4.0, 1.0, 4.0, 6.0, 3.0, 5.0]


@given(
    whole=st.floats(0.25, 48),
    stated=st.lists(st.one_of(st.just(NAN), st.floats(0.25, 48)), min_size=2, max_size=6),
)
def test_every_part_was_fished_and_no_session_is_longer_than_it_was(
    whole: float, stated: list[float]
) -> None:
    hours = shared(whole, *stated)
    assert min(hours) > 1e-4
    assert sum(hours) <= whole * (1 + 1e-12)
    if any(np.isnan(stated)):
        assert sum(hours) == pytest.approx(whole), "what no part states is shared out to the last minute"


def split(total: float, *parts: float) -> list[bool]:
    return split_sessions(
        session=np.zeros(len(parts), dtype=np.int64),
        weight_g=np.full(len(parts), total),
        part_weight_g=np.array(parts),
    ).tolist()


def test_parts_that_were_each_weighed_are_sessions_of_their_own() -> None:
    assert split(5000, 3000, 2000) == [True, True]
    assert split(0, 0, 0) == [True, True]


def test_one_part_without_a_weight_leaves_the_total_standing() -> None:
    assert split(5000, 3000, NAN) == [False, False]


def test_a_single_part_stays_a_session() -> None:
    assert split(5000, 5000) == [False]


def test_rounding_to_the_gram_is_no_disagreement_and_anything_more_is() -> None:
    assert split(5001, 3000, 2000) == [True, True]
    assert split(5002, 3000, 2000) == [False, False]


def test_parts_of_a_total_that_is_not_known_are_not_split() -> None:
    assert split(NAN, 3000, 2000) == [False, False]


def test_no_rows_are_no_sessions() -> None:
    nothing, none = np.zeros(0, dtype=np.int64), np.zeros(0)
    assert share_hours(session=nothing, session_hours=none, stated_hours=none).size == 0
    assert split_sessions(session=nothing, weight_g=none, part_weight_g=none).size == 0
