"""The whole iteration against general optimisers and brute force."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from analytics.catchrate.equations import intercept
from analytics.catchrate.family import Family, Gaussian, Poisson, Tweedie
from analytics.catchrate.likelihood import Response
from analytics.catchrate.problem import Block, Problem, Start
from analytics.catchrate.rounds import Round, Solution, Solver, State
from analytics.catchrate.solver import solve
from analytics.catchrate.terms import Encoded
from tests.unit.analytics.catchrate.dense import DenseFit, design_of, precision_of, slope_of, small_problem

SEARCHED = Tweedie(1.5, search=True)


def coefficients_of(solution: Solution) -> np.ndarray:
    """In the order of the blocks; the eliminated one of the small problem is the last."""
    return np.concatenate([solution.state.coefficients, solution.state.eliminated])


def point_of(solution: Solution) -> np.ndarray:
    """Smoothing parameters, log dispersions and power."""
    power = getattr(solution.state.family, "power", 1.5)
    return np.concatenate([solution.state.search.rho, solution.state.log_dispersion, [power]])


def by_brute_force(problem: Problem, point: np.ndarray) -> float:
    penalties = sum(len(block.penalties) for block in problem.blocks)
    return DenseFit(problem).criterion(point[:penalties], point[penalties:-1], point[-1])


@pytest.mark.parametrize(
    ("family", "classes"),
    [(Gaussian(), 1), (Gaussian(), 2), (Poisson(), 1), (Tweedie(1.5), 2), (SEARCHED, 1)],
)
def test_where_it_ends_no_numerical_derivative_of_the_criterion_is_left(family: Family, classes: int) -> None:
    problem = small_problem(family, classes=classes, rows=250)
    solution = solve(problem, tolerance=1e-9)
    assert solution.converged
    slopes = slope_of(lambda point: by_brute_force(problem, point), point_of(solution))
    searched = np.ones(len(slopes), dtype=bool)
    searched[:4] = ~solution.at_wall
    searched[4:-1] = not isinstance(family, Poisson)
    searched[-1] = family is SEARCHED
    if family is SEARCHED:
        # The power is known to about .05: its slope is told in its standard error.
        slopes[-1] *= errors_of(solution)[-1]
    np.testing.assert_allclose(slopes[searched], 0, atol=3e-5)


def errors_of(solution: Solution) -> np.ndarray:
    """Standard errors of smoothing parameters, log dispersions and power, as the fit tells them."""
    smoothing = np.diag(np.linalg.inv(solution.derivatives.hessian))
    power, *dispersions = np.diag(np.linalg.inv(solution.scale_hessian))
    return np.sqrt([*smoothing, *dispersions, power])


def test_at_the_usual_tolerance_the_answers_are_within_a_thousandth_of_their_errors() -> None:
    problem = small_problem(SEARCHED, rows=250)
    rough, fine = solve(problem), solve(problem, tolerance=1e-10)
    assert rough.converged
    assert rough.largest_gradient < 1e-4
    free = np.append(~fine.at_wall, [True, True])
    moved = (point_of(rough) - point_of(fine))[free] / errors_of(fine)[free]
    np.testing.assert_allclose(moved, 0, atol=1e-3)
    spread = np.sqrt(np.append(np.diag(fine.covariance.matrix), fine.covariance.variance))
    np.testing.assert_allclose((coefficients_of(rough) - coefficients_of(fine)) / spread, 0, atol=1e-4)


def gradient_at(problem: Problem, state: State) -> np.ndarray:
    """Of the criterion by power and log dispersions."""
    round_ = Round(Solver(problem), state)
    round_.steer()
    return round_.scaled.gradient


def test_dispersion_and_power_answer_to_the_freedom_spent_on_the_mean() -> None:
    """The gradient by both, at values that are not the best."""
    problem = small_problem(SEARCHED, rows=250, rho=np.array([0.5, 1.2, -0.4, 1.0]))
    point = np.array([0.3, 1.42])
    at = solve(replace(problem, family=Tweedie(point[1]), dispersion=np.exp(point[:1])), tolerance=1e-14)
    state = replace(at.state, family=SEARCHED.at(point[1]))
    gradient = gradient_at(problem, state)

    def criterion(other: np.ndarray) -> float:
        return DenseFit(problem).criterion(problem.rho, other[:1], other[1])

    np.testing.assert_allclose(gradient, slope_of(criterion, point)[::-1], rtol=2e-4)
    uncorrected = gradient_at(replace(problem, freedom_correction=False), state)
    assert np.max(np.abs(uncorrected - gradient)) > 1.0


@pytest.mark.parametrize("family", [Gaussian(), Poisson(), SEARCHED])
def test_eliminating_a_factor_first_changes_nothing(family: Family) -> None:
    problem = small_problem(family)
    apart, together = (solve(replace(problem, eliminate=place), tolerance=1e-9) for place in (3, None))
    np.testing.assert_allclose(coefficients_of(apart), coefficients_of(together), atol=1e-6)
    np.testing.assert_allclose(point_of(apart), point_of(together), atol=1e-5)
    variances = np.concatenate([np.diag(apart.covariance.matrix), apart.covariance.variance])
    np.testing.assert_allclose(variances, np.diag(together.covariance.matrix), rtol=1e-5)
    assert apart.criterion == pytest.approx(together.criterion, abs=1e-6)


def test_a_general_optimiser_finds_the_same_penalised_maximum_of_totals_over_parts() -> None:
    problem = in_parts(small_problem(Tweedie(1.5), rows=150))
    problem = replace(problem, rho=np.array([0.5, 1.2, -0.4, 1.0]), dispersion=np.array([1.4]))
    found = solve(problem, tolerance=1e-10)
    design, precision = design_of(problem), precision_of(problem, problem.rho)

    def objective(values: np.ndarray) -> float:
        mean = np.bincount(problem.session, np.exp(problem.offset + design @ values))
        # Minus the Tweedie log-likelihood's part in the mean, p = 1.5 (Jørgensen 1987).
        likelihood = np.sum(problem.response.weight * mean**-0.5 / 0.5 + mean**0.5 / 0.5) / 1.4
        return float(likelihood + values @ precision @ values / 2)

    start = np.zeros(design.shape[1])
    best = minimize(objective, start, method="BFGS", options={"gtol": 1e-7, "maxiter": 5000})
    np.testing.assert_allclose(coefficients_of(found), best.x, atol=1e-5)


def in_parts(problem: Problem) -> Problem:
    """The last fifty rows as the parts of sessions of two, which have one level of the eliminated factor."""
    rows = len(problem.offset)
    singles = rows - 50
    session = np.concatenate([np.arange(singles), singles + np.repeat(np.arange(25), 2)])
    last = problem.blocks[3]
    codes = last.encoded.codes.copy()
    codes[singles:] = np.repeat(codes[singles::2], 2)
    blocks = [*problem.blocks[:3], replace(last, encoded=Encoded(codes, None, last.encoded.size))]
    response = Response.exact(problem.response.weight[: singles + 25])
    return replace(problem, blocks=blocks, response=response, session=session)


def test_a_session_of_equal_parts_is_one_session_of_their_hours() -> None:
    problem = small_problem(SEARCHED)
    rows = len(problem.offset)
    twice = np.concatenate([np.arange(100), np.repeat(np.arange(100, rows), 2)])
    blocks = [replace(block, encoded=block.encoded.at(twice)) for block in problem.blocks]
    halved = problem.offset[twice] - np.where(np.arange(len(twice)) < 100, 0.0, np.log(2.0))
    split = replace(problem, blocks=blocks, offset=halved, session=twice)
    one, other = solve(problem, tolerance=1e-9), solve(split, tolerance=1e-9)
    np.testing.assert_allclose(coefficients_of(other), coefficients_of(one), atol=1e-7)
    np.testing.assert_allclose(point_of(other), point_of(one), atol=1e-6)


def start_at(solution: Solution) -> Start:
    """Where a solution ended, by block."""
    sizes = np.cumsum([block.encoded.size for block in solution.problem.blocks])[:-1]
    blocks = np.split(coefficients_of(solution), sizes)
    state = solution.state
    return Start(blocks, state.search.rho, state.family.power, state.log_dispersion)


def test_started_at_its_end_it_stays_there() -> None:
    problem = small_problem(SEARCHED)
    cold = solve(problem, tolerance=1e-8)
    warm = solve(problem, start=start_at(cold), tolerance=1e-6)
    assert len(warm.deviances) <= 2
    np.testing.assert_allclose(coefficients_of(warm), coefficients_of(cold), atol=1e-6)


def test_a_start_says_nothing_of_what_is_given() -> None:
    problem = small_problem(SEARCHED)
    begun = start_at(solve(problem))
    given = replace(problem, rho=np.zeros(4), dispersion=np.array([2.0]), family=Tweedie(1.3))
    warm, cold = solve(given, start=begun, tolerance=1e-9), solve(given, tolerance=1e-9)
    np.testing.assert_array_equal(point_of(warm), [0, 0, 0, 0, np.log(2.0), 1.3])
    np.testing.assert_allclose(coefficients_of(warm), coefficients_of(cold), atol=1e-7)


@pytest.mark.parametrize("family", [Gaussian(), Tweedie(1.5)])
def test_the_covariance_is_the_inverse_of_fishers_information_and_prior(family: Family) -> None:
    problem = small_problem(family, eliminate=None)
    found = solve(problem)
    design = design_of(problem)
    # With p = 1.5 and a log link Fisher's weights are sqrt(mu).
    weights = np.ones(len(design)) if isinstance(family, Gaussian) else np.exp(found.eta / 2)
    information = design.T @ (weights[:, None] * design) / np.exp(found.state.log_dispersion[0])
    expected = np.linalg.inv(information + precision_of(problem, found.state.search.rho))
    np.testing.assert_allclose(found.covariance.matrix, expected, rtol=1e-7, atol=1e-12)


def test_the_normal_variance_is_residual_squares_over_what_is_left_of_n() -> None:
    problem = small_problem(Gaussian())
    found = solve(problem, tolerance=1e-9)
    squares = np.sum((problem.response.weight - found.eta) ** 2)
    design = design_of(problem)
    variance = np.exp(found.state.log_dispersion[0])
    information = design.T @ design / variance
    freedom = np.trace(
        np.linalg.solve(information + precision_of(problem, found.state.search.rho), information)
    )
    assert variance == pytest.approx(squares / (len(design) - freedom), rel=1e-6)
    assert found.leverage_sum == pytest.approx(freedom, rel=1e-6)


def test_leverages_of_some_sessions_stand_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = small_problem(SEARCHED, rows=2000)
    every = solve(problem)
    monkeypatch.setattr("analytics.catchrate.rounds.SAMPLED", 700)
    some = solve(problem)
    assert len(Solver(problem).sample) == 700
    assert some.converged
    assert some.leverage_sum == pytest.approx(every.leverage_sum, rel=0.01)
    np.testing.assert_allclose(point_of(some), point_of(every), atol=0.05)


def test_a_step_that_would_raise_the_objective_is_halved() -> None:
    """Three huge weights and a start far below them: a full Newton step would overshoot."""
    weight = np.concatenate([np.zeros(60), np.full(3, 1e6)])
    flat = Block(intercept(63))
    problem = Problem(
        Tweedie(1.5), Response.exact(weight), np.zeros(63), [flat], dispersion=np.ones(1), rho=np.zeros(0)
    )
    solver = Solver(problem)
    low = replace(solver.begin(None), coefficients=np.array([-20.0]))
    round_ = Round(solver, low)
    before, after = (solver.objective(state, solver.eta(state)) for state in (low, round_.new))
    assert after <= before
    found = solve(problem, start=Start([np.array([-20.0])], np.zeros(0), 1.5, np.zeros(1)))
    assert found.converged
    assert found.state.coefficients[0] == pytest.approx(np.log(weight.mean()))


def test_progress_is_told_by_iteration_and_too_few_are_said_to_be_too_few() -> None:
    told: list[tuple[int, float]] = []
    found = solve(small_problem(SEARCHED), max_iterations=3, report=lambda *what: told.append(what))
    assert not found.converged
    assert [number for number, _ in told] == [1, 2, 3]
    assert len(found.deviances) == 3
