import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kstest, norm

from analytics.catchrate.draws import draw
from analytics.catchrate.residuals import FLAT, NOT_FLAT, NOT_JUDGED, flatness, quantile_residuals
from analytics.catchrate.terms import Coded

POWER, DISPERSION, COUNT = 1.55, 1.25, 4000


@pytest.fixture(scope="module")
def means() -> np.ndarray:
    return np.exp(np.random.default_rng(1).normal(0.5, 0.8, COUNT))


@pytest.fixture(scope="module")
def weights(means: np.ndarray) -> np.ndarray:
    return draw(np.random.default_rng(2), means, DISPERSION, POWER)


def residuals(weights: np.ndarray, means: np.ndarray, dispersion: float = DISPERSION) -> np.ndarray:
    return quantile_residuals(np.random.default_rng(3), weights, means, np.full(COUNT, dispersion), POWER)


def test_residuals_of_the_true_model_are_standard_normal(weights: np.ndarray, means: np.ndarray) -> None:
    assert (weights == 0).sum() > 200
    assert kstest(residuals(weights, means), "norm").pvalue > 0.001
    assert kstest(residuals(weights, means, 2 * DISPERSION), "norm").pvalue < 1e-6


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    power=st.floats(1.05, 1.95),
    log_dispersion=st.floats(-2.0, 2.0),
    log_mean_sd=st.floats(0.0, 1.5),
    seed=st.integers(0, 2**32 - 1),
)
def test_residuals_are_uniform_under_the_truth_whatever_it_is(
    power: float, log_dispersion: float, log_mean_sd: float, seed: int
) -> None:
    generator = np.random.default_rng(seed)
    means = np.exp(generator.normal(0.0, log_mean_sd, 1000))
    dispersion = np.exp(log_dispersion) * np.where(np.arange(1000) % 3 == 0, 2.0, 1.0)
    weights = draw(generator, means, dispersion, power)
    z = quantile_residuals(generator, weights, means, dispersion, power)
    # Forty clubs: one in a hundred thousand each leaves one in two and a half thousand for them all.
    assert kstest(norm.cdf(z), "uniform").pvalue > 1e-5


def test_a_weight_that_cannot_be_has_a_finite_residual() -> None:
    z = quantile_residuals(np.random.default_rng(1), np.array([1e9]), np.ones(1), np.ones(1), POWER)
    assert z[0] == 8.0


def test_the_true_model_is_flat_and_its_p_values_are_uniform(weights: np.ndarray, means: np.ndarray) -> None:
    z = residuals(weights, means)
    assert flatness("fitted", means, z).verdict == FLAT
    generator = np.random.default_rng(8)
    found = [
        flatness("noise", generator.integers(1, 13, COUNT), generator.standard_normal(COUNT))
        for _ in range(200)
    ]
    assert kstest([item.p_value for item in found], "uniform").pvalue > 0.001


def test_a_season_that_the_means_leave_out_shows_in_its_month(weights: np.ndarray, means: np.ndarray) -> None:
    month = np.random.default_rng(5).integers(1, 13, COUNT)
    z = residuals(weights, np.where(month == 7, 1.6 * means, means))
    found = flatness("season", month, z)
    assert found.verdict == NOT_FLAT
    assert found.largest_bin == "7" and found.bins == 12
    assert found.largest_mean == pytest.approx(abs(z[month == 7].mean()))
    assert found.largest_mean_se == pytest.approx(1 / np.sqrt((month == 7).sum()))
    assert found.chi_square == pytest.approx(
        sum((month == m).sum() * z[month == m].mean() ** 2 for m in range(1, 13))
    )


def test_what_is_significant_but_too_small_to_matter_is_flat() -> None:
    month = np.repeat(np.arange(1, 13), 10_000)
    z = np.random.default_rng(1).standard_normal(len(month)) + 0.05 * (month == 7)
    found = flatness("season", month, z)
    assert found.p_value is not None and found.p_value < 0.001
    assert found.verdict == FLAT


def test_many_values_fall_into_ten_bins_and_missing_ones_out() -> None:
    values = np.arange(1000.0)
    values[::10] = np.nan
    assert flatness("fitted", values, np.zeros(1000)).bins == 10


def test_words_are_their_own_bins() -> None:
    years = Coded(np.repeat([0, 1, 2, -1], [30, 30, 3, 40]).astype(np.int32), ("2023", "2024", "2025"))
    found = flatness("year", years, np.concatenate([np.zeros(30), np.ones(30), np.full(43, 9.0)]))
    assert found.bins == 2 and found.largest_bin == "2024" and found.largest_mean == 1.0


@pytest.mark.parametrize("values", [np.full(50, np.nan), np.ones(50), np.arange(12.0)])
def test_a_covariate_without_two_bins_of_returns_is_not_judged(values: np.ndarray) -> None:
    found = flatness("peg order", values, np.zeros(len(values)))
    assert found.verdict == NOT_JUDGED and found.p_value is None


def test_the_ends_of_a_bin_are_written_out() -> None:
    values = np.concatenate([np.full(100, 13_994.6), np.linspace(0.01234, 1.0, 900), [122_951.0]])
    z = np.where(values > 1, 3.0, 0.0)
    assert flatness("fitted", values, z).largest_bin == "13,990 to 123,000"
