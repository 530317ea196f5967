"""Dispersion and power against a general optimiser, bounded weights against the density they stand for."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.random import default_rng
from scipy.optimize import minimize

from analytics.catchrate.censoring import interval_moments
from analytics.catchrate.family import Gaussian, Poisson, Tweedie
from analytics.catchrate.likelihood import Correction, Likelihood, Response, Scale
from tests.unit.analytics.catchrate.dense import slope_of, tweedie_log_density

ROWS = 500
CORRECTION = Correction(power=-4.0, log_dispersion=np.array([-15.0, -8.0]))


@pytest.fixture(scope="module")
def eta() -> np.ndarray:
    return default_rng(1).normal(0.5, 0.6, ROWS)


@pytest.fixture(scope="module")
def response(eta: np.ndarray) -> Response:
    """Weights of power 1.6 with two dispersions, 1 and 2, and some returns that count twice."""
    rng = default_rng(2)
    classes = (rng.random(ROWS) < 0.3).astype(np.int8)
    mean, dispersion = np.exp(eta), 1.0 + classes
    catches = rng.poisson(mean**0.4 / (dispersion * 0.4))
    weight = np.zeros(ROWS)
    caught = catches > 0
    scale = dispersion * 0.6 * mean**0.6
    weight[caught] = rng.gamma(catches[caught] * 0.4 / 0.6, scale[caught])
    return Response(weight, 1.0 + (np.arange(ROWS) % 5 == 0), classes)


def criterion(response: Response, eta: np.ndarray, point: np.ndarray) -> float:
    """Minus the log-likelihood with the correction, by direct summation."""
    dispersion = np.exp(point[1:])[response.dispersion_class]
    each = tweedie_log_density(response.weight, np.exp(eta), dispersion, point[0])
    corrected = CORRECTION.power * point[0] + CORRECTION.log_dispersion @ point[1:]
    return float(corrected - response.frequency @ each)


def settled(likelihood: Likelihood, family: Tweedie, eta: np.ndarray, logs: np.ndarray) -> Scale:
    scale = likelihood.improved(family, eta, logs, CORRECTION)
    for _ in range(20):
        scale = likelihood.improved(scale.family, eta, scale.log_dispersion, CORRECTION)
    return scale


def test_power_and_dispersions_settle_where_a_general_optimiser_does(
    response: Response, eta: np.ndarray
) -> None:
    family = Tweedie(1.5, search=True)
    found = settled(Likelihood(response, family, None), family, eta, np.zeros(2))
    best = minimize(
        lambda point: criterion(response, eta, point),
        np.array([1.5, 0.0, 0.0]),
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 2000},
    )
    np.testing.assert_allclose([found.family.power, *found.log_dispersion], best.x, atol=2e-5)
    assert found.distance < 1e-5


def test_the_gradient_before_the_steps_and_its_hessian_are_the_criterions(
    response: Response, eta: np.ndarray
) -> None:
    family, logs = Tweedie(1.45, search=True), np.array([0.2, 0.3])
    found = Likelihood(response, family, None).improved(family, eta, logs, CORRECTION)
    point = np.array([1.45, 0.2, 0.3])
    gradient = slope_of(lambda other: criterion(response, eta, other), point)
    np.testing.assert_allclose(found.gradient, gradient, rtol=1e-4)
    hessian = slope_of(lambda other: slope_of(lambda one: criterion(response, eta, one), other), point)
    np.testing.assert_allclose(found.hessian, hessian, rtol=2e-3, atol=0.05)


def test_what_is_given_is_left_alone(response: Response, eta: np.ndarray) -> None:
    given = np.array([1.1, 2.2])
    for family, free in ((Tweedie(1.5, search=True), 1), (Tweedie(1.5), 0)):
        found = Likelihood(response, family, given).improved(family, eta, np.log(given), CORRECTION)
        np.testing.assert_array_equal(found.log_dispersion, np.log(given))
        assert len(found.gradient) == free
        assert (found.family.power == 1.5) == (free == 0)
    found = Likelihood(response, Tweedie(1.5), None).improved(Tweedie(1.5), eta, np.zeros(2), CORRECTION)
    assert found.family.power == 1.5
    assert (found.log_dispersion != 0).all()


def test_a_normal_variance_is_residual_squares_over_what_is_left_of_n(eta: np.ndarray) -> None:
    weight = default_rng(3).normal(eta, 1.3)
    response = Response.exact(weight)
    spent = 20.0
    correction = Correction(0.0, np.array([-spent / 2]))
    found = Likelihood(response, Gaussian(), None).improved(Gaussian(), eta, np.zeros(1), correction)
    squares = np.sum((weight - eta) ** 2)
    assert np.exp(found.log_dispersion[0]) == pytest.approx(squares / (ROWS - spent))
    settled_there = Likelihood(response, Gaussian(), None).improved(
        Gaussian(), eta, found.log_dispersion, correction
    )
    assert settled_there.distance < 1e-10


def test_a_poissons_dispersion_is_one(eta: np.ndarray) -> None:
    counts = default_rng(4).poisson(np.exp(eta)).astype(float)
    likelihood = Likelihood(Response.exact(counts), Poisson(), None)
    np.testing.assert_array_equal(likelihood.start(Poisson(), eta), [0.0])
    nothing = Correction(0.0, np.zeros(1))
    assert likelihood.improved(Poisson(), eta, np.zeros(1), nothing).distance == 0.0


def test_the_search_starts_at_pearsons_dispersion(response: Response, eta: np.ndarray) -> None:
    family = Tweedie(1.5)
    mean = np.exp(eta)
    pearson = np.average((response.weight - mean) ** 2 / mean**1.5, weights=response.frequency)
    start = Likelihood(response, family, None).start(family, eta)
    np.testing.assert_allclose(np.exp(start), [pearson, pearson])


def test_prior_weights_divide_a_dispersion_that_is_known(response: Response) -> None:
    weighted = replace(response, prior_weight=np.full(ROWS, 2.0))
    scale = Likelihood(weighted, Tweedie(1.5), np.array([4.0, 8.0])).scale(np.log([4.0, 8.0]))
    np.testing.assert_allclose(
        scale, response.frequency * 2.0 / np.array([4.0, 8.0])[response.dispersion_class]
    )
    for family, dispersion in ((Tweedie(1.5), None), (Tweedie(1.5, search=True), np.ones(2))):
        with pytest.raises(ValueError, match="known dispersion and power"):
            Likelihood(weighted, family, dispersion)


@pytest.fixture(scope="module")
def bounded(response: Response) -> Response:
    """Every fourth weight known only between bounds, every eighth of those only from below."""
    lower = np.where(np.arange(ROWS) % 4 == 0, 0.3, np.nan)
    upper = np.where(np.arange(ROWS) % 32 == 0, np.inf, np.where(np.isnan(lower), np.nan, 2.5))
    return replace(
        response, lower=lower, upper=upper, weight=np.where(np.isnan(lower), response.weight, lower)
    )


def test_bounded_weights_score_as_their_interval_and_exact_ones_as_before(
    response: Response, bounded: Response, eta: np.ndarray
) -> None:
    family, logs = Tweedie(1.5), np.array([0.1, 0.5])
    likelihood = Likelihood(bounded, family, None)
    work, exact = likelihood.working(family, eta, logs), family.working(response.weight, eta)
    rows = np.isnan(bounded.lower)
    np.testing.assert_array_equal(work.score[rows], exact.score[rows])
    np.testing.assert_array_equal(work.observed[rows], exact.observed[rows])
    directions = default_rng(5).normal(size=(3, ROWS))
    slopes = slope_of(lambda t: likelihood.objective(family, eta + t @ directions, logs), np.zeros(3))
    np.testing.assert_allclose(directions @ (likelihood.scale(logs) * work.score), -slopes, rtol=1e-6)
    assert (work.observed > 0).all()


def test_the_objective_of_bounded_weights_is_minus_the_log_of_their_probability(
    bounded: Response, eta: np.ndarray
) -> None:
    family, logs = Tweedie(1.5), np.array([0.1, 0.5])
    likelihood = Likelihood(bounded, family, None)
    rows = np.flatnonzero(~np.isnan(bounded.lower))
    dispersion = np.exp(logs)[bounded.dispersion_class]
    log_probability, _, _ = interval_moments(
        bounded.lower[rows], bounded.upper[rows], np.exp(eta[rows]), dispersion[rows], 1.5
    )
    exact = np.isnan(bounded.lower)
    halves = bounded.frequency * family.halves(bounded.weight, eta) / dispersion
    expected = halves[exact].sum() - bounded.frequency[rows] @ log_probability
    assert likelihood.objective(family, eta, logs) == pytest.approx(expected)
    deviance = (bounded.frequency * family.deviance(bounded.weight, eta))[exact].sum()
    assert likelihood.deviance(family, eta) == pytest.approx(deviance)
