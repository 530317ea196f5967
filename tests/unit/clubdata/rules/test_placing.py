"""Three ways to place tied weights; the worked row is arithmetic that anyone can redo."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.rules.placing import competition_ranks, dense_ranks, fractional_ranks

WEIGHTS = (12, 12, 9, 7, 7, 7, 0, 0)
scores = st.lists(st.integers(0, 20), max_size=40)


def test_competition_places_share_the_best() -> None:
    assert competition_ranks(WEIGHTS) == (1, 1, 3, 4, 4, 4, 7, 7)


def test_fractional_places_share_the_mean() -> None:
    assert fractional_ranks(WEIGHTS) == (1.5, 1.5, 3, 5, 5, 5, 7.5, 7.5)


def test_dense_places_pass_over_none() -> None:
    assert dense_ranks(WEIGHTS) == (1, 1, 2, 3, 3, 3, 4, 4)


def test_the_order_of_the_rows_does_not_matter() -> None:
    assert competition_ranks((0, 7, 12)) == (3, 2, 1)


def test_nobody_has_no_place() -> None:
    assert competition_ranks(()) == fractional_ranks(()) == dense_ranks(()) == ()


def test_a_score_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="not a number"):
        dense_ranks([1.0, float("nan")])


@given(scores)
def test_a_competition_place_is_one_more_than_those_ahead(scores: list[int]) -> None:
    assert list(competition_ranks(scores)) == [1 + sum(other > score for other in scores) for score in scores]


@given(scores)
def test_fractional_places_add_up_to_those_without_ties(scores: list[int]) -> None:
    assert sum(fractional_ranks(scores)) == len(scores) * (len(scores) + 1) / 2


@given(scores)
def test_dense_places_count_the_distinct_scores(scores: list[int]) -> None:
    assert set(dense_ranks(scores)) == set(range(1, len(set(scores)) + 1))
