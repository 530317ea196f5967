"""Families against numerical derivatives, SciPy's and statsmodels' formulas."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats
from statsmodels.genmod import families

from analytics.catchrate.family import Family, Gaussian, Poisson, Tweedie, zero_probability
from tests.unit.analytics.catchrate.dense import slope_of, tweedie_log_density

FAMILIES = [Gaussian(), Poisson(), Tweedie(1.2), Tweedie(1.5), Tweedie(1.85)]
ETA = np.array([-2.0, -0.3, 0.0, 0.8, 2.5])
WEIGHT = np.array([0.0, 1.0, 3.0, 0.0, 11.0])


def each(function, eta: np.ndarray) -> np.ndarray:
    """Elementwise derivatives of an elementwise function."""
    return np.diag(slope_of(function, eta))


@pytest.mark.parametrize("family", FAMILIES)
def test_score_and_information_are_the_derivatives_of_the_log_likelihood(family: Family) -> None:
    work = family.working(WEIGHT, ETA)
    np.testing.assert_allclose(work.score, -each(lambda eta: family.halves(WEIGHT, eta), ETA), atol=1e-8)
    observed = -each(lambda eta: family.working(WEIGHT, eta).score, ETA)
    np.testing.assert_allclose(work.observed, observed, atol=1e-8)
    slope = each(lambda eta: family.working(WEIGHT, eta).observed, ETA)
    np.testing.assert_allclose(work.slope, slope, atol=1e-8)


@pytest.mark.parametrize("family", FAMILIES)
def test_fishers_information_is_the_observed_at_a_weight_as_expected(family: Family) -> None:
    mean = ETA if isinstance(family, Gaussian) else np.exp(ETA)
    work = family.working(mean, ETA)
    np.testing.assert_allclose(work.expected, work.observed, rtol=1e-12)
    np.testing.assert_allclose(work.score, 0, atol=1e-12)


@pytest.mark.parametrize(
    ("family", "log_density"),
    [
        (Gaussian(), lambda eta: stats.norm.logpdf(WEIGHT, eta)),
        (Poisson(), lambda eta: stats.poisson.logpmf(WEIGHT, np.exp(eta))),
        (Tweedie(1.2), lambda eta: tweedie_log_density(WEIGHT, np.exp(eta), np.ones(5), 1.2)),
        (Tweedie(1.85), lambda eta: tweedie_log_density(WEIGHT, np.exp(eta), np.ones(5), 1.85)),
    ],
)
def test_what_is_left_of_the_log_density_depends_on_no_mean(
    family: Family, log_density: Callable[[np.ndarray], np.ndarray]
) -> None:
    left, other = (log_density(eta) + family.halves(WEIGHT, eta) for eta in (ETA, ETA + 0.7))
    np.testing.assert_allclose(left, other, atol=1e-9)


@pytest.mark.parametrize(
    ("family", "theirs"),
    [
        (Gaussian(), families.Gaussian()),
        (Poisson(), families.Poisson()),
        (Tweedie(1.4), families.Tweedie(var_power=1.4)),
    ],
)
def test_deviances_are_statsmodels(family: Family, theirs: families.Family) -> None:
    mean = ETA if isinstance(family, Gaussian) else np.exp(ETA)
    assert family.deviance(WEIGHT, ETA).sum() == pytest.approx(theirs.deviance(WEIGHT, mean), rel=1e-9)


def test_derivatives_by_power_are_those_of_the_derivatives() -> None:
    family = Tweedie(1.6)
    score, observed = family.by_power(WEIGHT, ETA)

    def derivatives(power: np.ndarray) -> np.ndarray:
        work = family.at(power[0]).working(WEIGHT, ETA)
        return np.stack([work.score, work.observed])

    np.testing.assert_allclose([score, observed], slope_of(derivatives, np.array([1.6]))[0], atol=1e-7)


def test_blanks_are_as_likely_as_no_catch_at_all() -> None:
    mean = np.exp(ETA)
    rate = mean**0.5 / (2.0 * 0.5)
    np.testing.assert_allclose(zero_probability(mean, 2.0, 1.5), stats.poisson.pmf(0, rate))


def test_a_fit_begins_where_every_mean_is_the_overall_one() -> None:
    assert Gaussian().start(3.0) == 3.0
    assert Poisson().start(3.0) == pytest.approx(np.log(3.0))
    assert Tweedie().start(3.0) == pytest.approx(np.log(3.0))
