"""Figures of few anglers are withheld, and so is what would give them away."""

import numpy as np

from analytics.observed.privacy import withheld

ONE_FAMILY = np.zeros(3, dtype=np.int64)


def test_four_anglers_are_too_few_and_five_are_not() -> None:
    assert withheld(np.array([[4, 4, 5, 0]]), np.zeros(4, dtype=np.int64)).tolist() == [
        [True, True, False, False]
    ]


def test_the_only_one_withheld_takes_the_smallest_beside_it_along() -> None:
    assert withheld(np.array([[9, 3, 7]]), ONE_FAMILY).tolist() == [[False, True, True]]


def test_families_stand_apart() -> None:
    found = withheld(np.array([[9, 3, 7, 6]]), np.array([0, 0, 1, 1]))
    assert found.tolist() == [[True, True, False, False]]


def test_across_waters_as_well_until_nothing_follows() -> None:
    """The second water's figure is the club's less the first one's."""
    found = withheld(np.array([[20, 30], [3, 12], [18, 19]]), np.array([0, 1]))
    assert found.tolist() == [[False, False], [True, False], [True, False]]


def test_nothing_is_withheld_where_nobody_fished() -> None:
    assert not withheld(np.array([[0, 0, 0]]), ONE_FAMILY).any()


def test_a_figure_alone_in_its_family_is_withheld_alone() -> None:
    assert withheld(np.array([[2, 0, 0]]), ONE_FAMILY).tolist() == [[True, False, False]]
