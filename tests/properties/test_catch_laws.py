"""Laws of the fit, each held to the last digits that the arithmetic leaves."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import Tweedie
from analytics.catchrate.fit import fit_catch, problem_of, unit_of
from analytics.catchrate.problem import Problem
from analytics.catchrate.rounds import Solution
from analytics.catchrate.solver import APPROACHES, solve
from analytics.catchrate.spec import CatchSpec
from tests.simulation.club import simulate_club

#: Both sides of a law are solved until nothing is left to gain, so that the law itself is seen.
SETTLED = CatchSpec(tolerance=1e-9)

#: What is left between two such fits, in standard errors.
LEFT = 2e-6


def fitted(frame: pd.DataFrame, spec: CatchSpec = SETTLED, warm: Estimates | None = None) -> Estimates:
    found = fit_catch(frame, spec, warm=warm)
    assert isinstance(found, Estimates), found
    return found


def effects(estimates: Estimates) -> np.ndarray:
    return np.concatenate([item.estimates for item in estimates.terms])


def errors(estimates: Estimates) -> np.ndarray:
    return np.concatenate([item.standard_errors for item in estimates.terms])


def apart(one: Estimates, other: Estimates) -> float:
    """The largest difference of an effect, in its standard errors."""
    return float(np.max(np.abs(effects(one) - effects(other)) / errors(other)))


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(7, 600, pegs=20, anglers=20).frame


@pytest.fixture(scope="module")
def estimates(frame: pd.DataFrame) -> Estimates:
    return fitted(frame)


def test_fitting_twice_gives_the_same_bits(frame: pd.DataFrame, estimates: Estimates) -> None:
    again = fitted(frame)
    first, second = (item.to_document() for item in (estimates, again))
    for document in (first, second):
        document["convergence"].pop("seconds")
    assert first == second
    assert np.array_equal(estimates.covariance_factor, again.covariance_factor)


def test_the_order_of_the_returns_does_not_matter(frame: pd.DataFrame, estimates: Estimates) -> None:
    shuffled = fitted(frame.sample(frac=1, random_state=3))
    assert apart(shuffled, estimates) < LEFT
    np.testing.assert_allclose(errors(shuffled), errors(estimates), rtol=1e-5)
    assert shuffled.power == pytest.approx(estimates.power, abs=1e-7)


def test_the_unit_of_weight_moves_the_intercept_and_the_dispersion_and_nothing_else(
    frame: pd.DataFrame, estimates: Estimates
) -> None:
    in_ounces = fitted(frame.assign(weight_g=frame["weight_g"] / 28.349523125))
    assert apart(in_ounces, estimates) < LEFT
    np.testing.assert_allclose(errors(in_ounces), errors(estimates), rtol=1e-5)
    assert in_ounces.power == pytest.approx(estimates.power, abs=1e-7)
    assert in_ounces.intercept == pytest.approx(estimates.intercept - np.log(28.349523125), abs=1e-6)
    scaled = estimates.dispersion * 28.349523125 ** (estimates.power - 2)
    assert in_ounces.dispersion == pytest.approx(scaled, rel=1e-5)


def test_doubling_effort_and_catch_leaves_every_rate_as_it_was(
    frame: pd.DataFrame, estimates: Estimates
) -> None:
    doubled = fitted(frame.assign(weight_g=frame["weight_g"] * 2, hours=frame["hours"] * 2))
    assert apart(doubled, estimates) < LEFT
    assert doubled.intercept == pytest.approx(estimates.intercept, abs=1e-6)
    assert doubled.reference.hours == 2 * estimates.reference.hours


@pytest.mark.parametrize(
    ("column", "constant", "missing"),
    [
        ("water_temperature_c", 14.0, np.nan),
        ("distance_m", 11.0, np.nan),
        ("rig_type", "bulk", None),
        ("hook_bait", "maggot", None),
        ("wind_force", 2.0, np.nan),
    ],
)
def test_a_covariate_that_never_varies_changes_nothing(
    frame: pd.DataFrame, column: str, constant: object, missing: object
) -> None:
    same, none = (fitted(frame.assign(**{column: value}), CatchSpec()) for value in (constant, missing))
    assert [item.name for item in same.terms] == [item.name for item in none.terms]
    assert {item.name for item in same.dropped} == {item.name for item in none.dropped}
    np.testing.assert_array_equal(effects(same), effects(none))
    np.testing.assert_array_equal(errors(same), errors(none))


def test_warm_and_cold_end_within_a_ten_thousandth_of_a_standard_error(frame: pd.DataFrame) -> None:
    """From the fit of all but the last hundred returns, at the usual tolerance."""
    usual = CatchSpec()
    earlier = fitted(frame.head(500), usual)
    cold, warm = fitted(frame, usual), fitted(frame, usual, warm=earlier)
    assert apart(warm, cold) < 1e-4
    # A cold fit has made its approaches before the first of these.
    assert warm.convergence.iterations <= APPROACHES + cold.convergence.iterations


def designed(frame: pd.DataFrame) -> Design:
    design = learn_design(frame, SETTLED)
    assert isinstance(design, Design)
    return design


@pytest.fixture(scope="module")
def problem(frame: pd.DataFrame) -> Problem:
    design = designed(frame)
    return problem_of(design, SETTLED, unit_of(design.returns))


@pytest.fixture(scope="module")
def solution(problem: Problem) -> Solution:
    return solve(problem, tolerance=1e-9)


def some_twice(problem: Problem) -> np.ndarray:
    """Every row once, every fifth a second time."""
    rows = np.arange(len(problem.offset))
    return np.concatenate([rows, rows[::5]])


def repeated(problem: Problem) -> Problem:
    rows = some_twice(problem)
    blocks = [replace(block, encoded=block.encoded.at(rows)) for block in problem.blocks]
    response = problem.response
    twice = replace(
        response,
        weight=response.weight[rows],
        frequency=response.frequency[rows],
        dispersion_class=response.dispersion_class[rows],
    )
    return replace(problem, response=twice, offset=problem.offset[rows], blocks=blocks)


def given(problem: Problem, solution: Solution) -> Problem:
    """The problem with smoothing parameters, dispersion and power as the solution found them."""
    return replace(
        problem,
        family=Tweedie(solution.state.family.power),
        rho=solution.state.search.rho,
        dispersion=np.exp(solution.state.log_dispersion),
    )


def standard_errors(solution: Solution) -> np.ndarray:
    covariance = solution.covariance
    return np.sqrt(np.concatenate([np.diag(covariance.matrix), covariance.variance]))


def coefficients(solution: Solution) -> np.ndarray:
    return np.concatenate([solution.state.coefficients, solution.state.eliminated])


def test_a_row_given_twice_is_a_row_of_frequency_two_everywhere(problem: Problem) -> None:
    counts = np.bincount(some_twice(problem)).astype(float)
    counted = replace(problem, response=replace(problem.response, frequency=counts))
    twice, once = (solve(one, tolerance=1e-9) for one in (repeated(problem), counted))
    gaps = (coefficients(twice) - coefficients(once)) / standard_errors(once)
    np.testing.assert_allclose(gaps, 0, atol=LEFT)
    np.testing.assert_allclose(standard_errors(twice), standard_errors(once), rtol=1e-5)
    inside = ~once.at_wall
    np.testing.assert_allclose(twice.state.search.rho[inside], once.state.search.rho[inside], atol=1e-4)
    assert twice.state.family.power == pytest.approx(once.state.family.power, abs=1e-6)
    np.testing.assert_allclose(twice.state.log_dispersion, once.state.log_dispersion, atol=1e-5)
    assert twice.criterion == pytest.approx(once.criterion, abs=1e-5)


def test_a_row_given_twice_is_a_row_of_prior_weight_two_where_all_else_is_given(
    problem: Problem, solution: Solution
) -> None:
    fixed = given(problem, solution)
    counts = np.bincount(some_twice(problem)).astype(float)
    weighted = replace(fixed, response=replace(fixed.response, prior_weight=counts))
    twice, once = (solve(one, tolerance=1e-12) for one in (repeated(fixed), weighted))
    np.testing.assert_allclose(coefficients(twice), coefficients(once), atol=1e-9)
    np.testing.assert_allclose(standard_errors(twice), standard_errors(once), rtol=1e-9)
    # It is a law of repeated rows: left out, the rows would say something else.
    assert np.max(np.abs(coefficients(once) - coefficients(solve(fixed, tolerance=1e-12)))) > 0.01


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_more_rows_never_widen_an_interval_where_all_else_is_given(
    problem: Problem, solution: Solution, seed: int
) -> None:
    """Fisher's information of given means adds up row by row; here the means are those of the whole."""
    fixed = given(problem, solution)
    kept = np.random.default_rng(seed).permutation(len(problem.offset))[:400]
    eta = solution.eta
    expected = fixed.family.working(problem.response.weight, eta).expected
    # Weights at their means: both fits then end at the whole's coefficients but for the prior's pull.
    whole, part = (at_means(fixed, eta, rows) for rows in (np.arange(len(eta)), np.sort(kept)))
    assert (expected > 0).all()
    assert (standard_errors(part) >= standard_errors(whole) * (1 - 1e-12)).all()
    assert (standard_errors(part) > standard_errors(whole) * 1.001).mean() > 0.5


def at_means(problem: Problem, eta: np.ndarray, rows: np.ndarray) -> Solution:
    """Some rows with offsets that hold each mean where it was, and no coefficients to move it."""
    blocks = [replace(block, encoded=block.encoded.at(rows)) for block in problem.blocks]
    response = replace(
        problem.response,
        weight=np.exp(eta[rows]),
        frequency=problem.response.frequency[rows],
        dispersion_class=problem.response.dispersion_class[rows],
    )
    found = solve(replace(problem, response=response, offset=eta[rows], blocks=blocks), tolerance=1e-12)
    np.testing.assert_allclose(coefficients(found), 0, atol=1e-6)
    return found
