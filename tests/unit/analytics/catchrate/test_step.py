"""The step from a round to the next: together near the bottom, apart far from it."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.catchrate.family import Family, Gaussian, Tweedie
from analytics.catchrate.problem import Problem, Start
from analytics.catchrate.reml import FAR
from analytics.catchrate.rounds import Round, Solver
from analytics.catchrate.solver import solve
from analytics.catchrate.step import next_state
from tests.unit.analytics.catchrate.dense import small_problem

FAMILIES = [Gaussian(), Tweedie(1.5, search=True)]


def steered(problem: Problem, start: Start, *, rho: float = 0.0, dispersion: float = 0.0) -> Round:
    """The round that begins a little way from where another fit ended."""
    away = replace(start, rho=start.rho + rho, log_dispersion=start.log_dispersion + dispersion)
    solver = Solver(problem)
    round_ = Round(solver, solver.begin(away))
    round_.steer()
    return round_


def followed(round_: Round) -> Round:
    after = Round(round_.solver, *next_state(round_, 0.0))
    after.steer()
    return after


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("classes", [1, 2])
def test_near_the_bottom_one_step_settles_rho_and_dispersion_together(family: Family, classes: int) -> None:
    problem = small_problem(family, rows=600, classes=classes, eliminate=3)
    best = solve(problem, tolerance=1e-10)
    begun = steered(problem, best.as_start(), rho=0.05, dispersion=0.02)
    free = ~best.at_wall
    after = next_state(begun, 0.0)[0]
    missed = np.abs(after.search.rho - best.state.search.rho)[free]
    assert np.max(missed) < 0.05 / 10.0
    assert np.max(np.abs(after.log_dispersion - best.state.log_dispersion)) < 0.02 / 20.0
    assert followed(begun).largest_gradient() < 0.1 * begun.largest_gradient()


@pytest.mark.parametrize("family", FAMILIES)
def test_there_the_coefficients_go_along(family: Family) -> None:
    problem = small_problem(family, rows=600, eliminate=3)
    best = solve(problem, tolerance=1e-10)
    begun = steered(problem, best.as_start(), rho=0.05)
    after = next_state(begun, 0.0)[0]
    stayed = np.max(np.abs(begun.new.coefficients - best.state.coefficients))
    assert np.max(np.abs(after.coefficients - best.state.coefficients)) < 0.1 * stayed


def test_a_long_step_leaves_the_coefficients_and_takes_each_ones_own_way() -> None:
    problem = small_problem(Gaussian(), rows=600)
    best = solve(problem, tolerance=1e-10)
    begun = steered(problem, best.as_start(), rho=3.0)
    after, part_eta = next_state(begun, 0.0)
    assert np.max(np.abs(after.search.rho - begun.new.search.rho)) > FAR
    np.testing.assert_array_equal(after.coefficients, begun.new.coefficients)
    np.testing.assert_array_equal(part_eta, begun.new_part_eta)
    np.testing.assert_array_equal(after.log_dispersion, begun.scaled.log_dispersion)


def test_known_smoothing_parameters_and_dispersions_stay() -> None:
    rho = np.array([0.5, 1.2, -0.4, 1.0])
    known = small_problem(Gaussian(), rho=rho)
    assert np.array_equal(solve(known).state.search.rho, rho)
    given = small_problem(Gaussian(), dispersion=np.array([0.7]))
    np.testing.assert_allclose(solve(given, tolerance=1e-8).state.log_dispersion, np.log([0.7]))
