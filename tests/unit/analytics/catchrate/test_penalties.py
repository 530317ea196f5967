import numpy as np
import pytest
from numpy.random import default_rng

from analytics.catchrate.basis import sum_to_zero
from analytics.catchrate.penalties import (
    difference_penalty,
    neighbour_penalty,
    scaled_to_curve,
    smooth_penalties,
)
from analytics.catchrate.spec import Margin, Smooth

SEASON = Margin("day", 5, 1.0, period=365.25)
DISTANCE = Margin("distance", 6, 1.0)


def test_second_differences_leave_a_straight_line_free() -> None:
    line = np.arange(7.0)
    penalty = difference_penalty(7, 2, cyclic=False)
    assert line @ penalty @ line == pytest.approx(0, abs=1e-12)
    bend = line**2
    # The second difference of x² is 2, at five places.
    assert bend @ penalty @ bend == pytest.approx(5 * 4)


def test_cyclic_differences_go_round() -> None:
    spike = np.eye(6)[0]
    # -1, 2, -1 wherever the spike stands, also across the end.
    for turn in range(6):
        moved = np.roll(spike, turn)
        assert moved @ difference_penalty(6, 2, cyclic=True) @ moved == pytest.approx(6)


def test_neighbours_are_penalised_for_the_squares_of_their_differences() -> None:
    links = ((0, 1), (1, 2), (3, 4))
    effects = default_rng(1).normal(size=6)
    expected = sum((effects[left] - effects[right]) ** 2 for left, right in links)
    assert effects @ neighbour_penalty(6, links) @ effects == pytest.approx(expected)
    # Two stretches of bank and a peg alone: each may move as a whole.
    assert np.linalg.matrix_rank(neighbour_penalty(6, links)) == 3


def test_a_curves_penalty_is_that_of_its_spline_coefficients() -> None:
    (penalty,) = smooth_penalties(Smooth("season", (SEASON,)))
    shape = default_rng(2).normal(size=4)
    coefficients = sum_to_zero(5) @ shape
    expected = coefficients @ difference_penalty(5, 2, cyclic=True) @ coefficients
    assert shape @ penalty @ shape == pytest.approx(expected)


def test_a_surface_is_penalised_along_each_margin_in_turn() -> None:
    along_season, along_distance = smooth_penalties(Smooth("both", (SEASON, DISTANCE)))
    shape = default_rng(3).normal(size=(4, 5))
    surface = sum_to_zero(5) @ shape @ sum_to_zero(6).T
    for penalty, rough in (
        (along_season, np.einsum("ij,ik,kj->", surface, difference_penalty(5, 2, cyclic=True), surface)),
        (along_distance, np.einsum("ji,ik,jk->", surface, difference_penalty(6, 2, cyclic=False), surface)),
    ):
        assert shape.ravel() @ penalty @ shape.ravel() == pytest.approx(rough)


def test_the_penalties_of_one_surface_commute() -> None:
    left, right = smooth_penalties(Smooth("both", (SEASON, DISTANCE)))
    np.testing.assert_allclose(left @ right, right @ left, atol=1e-12)


def test_scaled_to_the_curve_a_precision_is_the_inverse_of_the_curves_variance() -> None:
    (penalty,) = smooth_penalties(Smooth("season", (SEASON,)))
    rows = default_rng(4).normal(size=(50, 4))
    moments = rows.T @ rows / 50
    scaled = scaled_to_curve(penalty, moments)
    # Coefficients with precision 4 S give curves whose variance, averaged over the returns, is 1/4.
    draws = np.linalg.cholesky(np.linalg.inv(4 * scaled)) @ default_rng(5).normal(size=(4, 20_000))
    assert np.mean((rows @ draws) ** 2) == pytest.approx(0.25, rel=0.02)
