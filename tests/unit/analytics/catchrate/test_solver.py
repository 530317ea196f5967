from dataclasses import replace

import numpy as np
import pytest
from numpy.random import default_rng
from scipy.optimize import minimize

from analytics.catchrate.equations import intercept
from analytics.catchrate.fit import tweedie
from analytics.catchrate.solver import Block, Problem, solve
from analytics.catchrate.terms import Encoded

ROWS = 300


@pytest.fixture(scope="module")
def problem() -> Problem:
    rng = default_rng(4)
    nothing = np.zeros(ROWS, dtype=np.int64)
    first, second = rng.integers(0, 6, ROWS), rng.integers(-1, 25, ROWS)
    effects = rng.normal(0, 0.5, 26)
    mean = np.exp(1 + rng.normal(0, 0.5, 6)[first] + effects[second])
    response = rng.gamma(1.2, mean / 1.2) * (rng.random(ROWS) > 0.1)
    return Problem(
        family=tweedie(1.5),
        response=response,
        offset=rng.normal(0, 0.2, ROWS),
        blocks=[
            Block(intercept(ROWS), np.zeros(1)),
            Block(Encoded(first, None, 6, nothing), np.full(6, 4.0)),
            Block(Encoded(second, None, 25, nothing), np.full(25, 9.0)),
        ],
    )


def test_eliminating_a_factor_first_changes_nothing(problem: Problem) -> None:
    together = solve(problem)
    apart = solve(replace(problem, blocks=problem.blocks[:2], nuisance=problem.blocks[2]))
    np.testing.assert_allclose(apart.coefficients, together.coefficients[:7], atol=1e-9)
    np.testing.assert_allclose(apart.nuisance, together.coefficients[7:], atol=1e-9)
    np.testing.assert_allclose(apart.standard_errors, together.standard_errors[:7], rtol=1e-7)
    np.testing.assert_allclose(apart.nuisance_se, together.standard_errors[7:], rtol=1e-7)
    assert apart.total_edf == pytest.approx(together.total_edf)
    assert apart.dispersion == pytest.approx(together.dispersion)
    assert apart.gradient < 1e-6


def test_a_general_optimiser_finds_the_same_penalised_maximum(problem: Problem) -> None:
    found = solve(replace(problem, dispersion=2.0))
    precision = np.concatenate([block.precision for block in problem.blocks])
    starts = (0, 1, 7)

    def objective(values: np.ndarray) -> float:
        eta = problem.offset.copy()
        for block, start in zip(problem.blocks, starts, strict=True):
            eta += block.encoded.spread(values[start : start + block.encoded.size])
        mean = np.exp(eta)
        # Minus the Tweedie log-likelihood's part in the mean, p = 1.5 (Jørgensen 1987).
        likelihood = np.sum(problem.response * mean**-0.5 / 0.5 + mean**0.5 / 0.5) / 2.0
        return likelihood + np.sum(precision * values**2) / 2

    start = np.zeros(32)
    best = minimize(objective, start, method="BFGS", options={"gtol": 1e-6, "maxiter": 2000})
    np.testing.assert_allclose(found.coefficients, best.x, atol=1e-4)


def test_the_covariance_is_the_inverse_of_information_and_prior(problem: Problem) -> None:
    found = solve(problem)
    design = np.hstack([block.encoded.spread(np.eye(block.encoded.size)) for block in problem.blocks])
    precision = np.concatenate([block.precision for block in problem.blocks])
    # With p = 1.5 and a log link the Fisher weights are sqrt(mu).
    information = design.T @ (np.sqrt(found.mean)[:, None] * design) / found.dispersion
    expected = np.linalg.inv(information + np.diag(precision))
    factor = found.covariance_factor
    np.testing.assert_allclose(factor @ factor.T, expected, rtol=1e-8, atol=1e-12)
    edf = np.trace(expected @ information)
    assert found.total_edf == pytest.approx(edf)
    squares = np.sum((problem.response - found.mean) ** 2 / found.mean**1.5)
    assert found.dispersion == pytest.approx(squares / (ROWS - edf))


def test_too_few_iterations_are_said_to_be_too_few(problem: Problem) -> None:
    assert not solve(problem, max_iterations=3).converged
