import numpy as np
import pytest

from analytics.catchrate.penalties import difference_penalty, factor_precision, smooth_precision
from analytics.catchrate.spec import Factor, Margin, Smooth


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


def test_a_factors_precision_is_the_inverse_prior_variance() -> None:
    np.testing.assert_allclose(factor_precision(Factor("peg", "peg", 0.35), 3), 1 / 0.35**2)


def test_a_tensors_penalty_is_the_kronecker_sum_of_its_margins() -> None:
    margins = (Margin("day", 4, 1.0, period=365.25), Margin("distance", 5, 1.0))
    term = Smooth("both", margins, roughness_sd=0.5, order=1, level_sd=2.0)
    expected = (
        np.eye(20) / 4
        + np.kron(difference_penalty(4, 1, cyclic=True), np.eye(5)) / 0.25
        + np.kron(np.eye(4), difference_penalty(5, 1, cyclic=False)) / 0.25
    )
    np.testing.assert_allclose(smooth_precision(term), expected)
