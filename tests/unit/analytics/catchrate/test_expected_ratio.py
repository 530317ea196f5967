"""Observed over expected: the ends of its interval solve their equation, and hold what they promise."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from analytics.catchrate.draws import draw
from analytics.catchrate.expected_ratio import ratio_bounds
from analytics.catchrate.predict import NORMAL_95

POWER = 1.55


def test_the_ends_solve_the_score_equation() -> None:
    observed, expected, variance = np.array([0.0, 500.0, 9000.0]), np.array([3000.0, 800.0, 8000.0]), 4e6
    for end in ratio_bounds(observed, expected, np.full(3, variance), POWER, 1.3):
        away = np.abs(observed - end * expected)
        assert_allclose(away, 1.3 * end ** (POWER / 2) * np.sqrt(variance), rtol=1e-6, atol=1e-6)


def test_an_interval_holds_its_ratio_and_widens_with_the_quantile() -> None:
    narrow = ratio_bounds(1500.0, 1000.0, 1e5, POWER, 0.6745)
    wide = ratio_bounds(1500.0, 1000.0, 1e5, POWER, 1.645)
    assert wide[0][0] < narrow[0][0] < 1.5 < narrow[1][0] < wide[1][0]


def test_a_sum_of_blanks_is_at_nought_with_an_upper_end() -> None:
    lower, upper = ratio_bounds(0.0, 1000.0, 1e5, POWER, 1.645)
    assert lower[0] == pytest.approx(0.0, abs=1e-9)
    # |0 - r E| = z r^(p/2) sqrt(V), in closed form.
    assert upper[0] == pytest.approx((1.645 * np.sqrt(1e5) / 1000.0) ** (2 / (2 - POWER)))


def test_with_a_power_of_one_it_is_the_score_interval_of_a_poisson_count() -> None:
    # Closed form: the roots of (O - m)^2 = z^2 m, m = r E.
    z, observed, expected = 1.96, 12.0, 10.0
    roots = observed + z**2 / 2 + np.array([-1, 1]) * z * np.sqrt(observed + z**2 / 4)
    bounds = np.concatenate(ratio_bounds(observed, expected, expected, 1.0, z))
    assert_allclose(bounds, roots / expected, rtol=1e-9)


@pytest.mark.parametrize("ratio", [0.6, 1.0, 1.5])
def test_nine_intervals_in_ten_hold_the_true_ratio(ratio: float) -> None:
    rng = np.random.default_rng(11)
    mean, dispersion, sessions, trials = rng.uniform(1000, 4000, 12), 28.0, 12, 4000
    weights = draw(rng, np.tile(ratio * mean, (trials, 1)), dispersion, POWER)
    variance = np.sum(dispersion * mean**POWER)
    observed = weights.sum(axis=1)
    size = np.full(trials, mean.sum())
    lower, upper = ratio_bounds(observed, size, np.full(trials, variance), POWER, NORMAL_95)
    held = int(((lower <= ratio) & (ratio <= upper)).sum())
    bounds = stats.binom.interval(0.999, trials, 0.90)
    # The sum of a dozen sessions is a little skewed: two in a hundred more or less are allowed.
    assert bounds[0] - 0.02 * trials <= held <= bounds[1] + 0.02 * trials, (sessions, held / trials)
