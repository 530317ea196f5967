"""The restricted likelihood's derivatives against numerical ones of the criterion by brute force."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.random import default_rng

from analytics.catchrate.family import Family, Gaussian, Poisson, Tweedie
from analytics.catchrate.problem import Problem
from analytics.catchrate.reml import LARGEST_STEP, Derivatives, Search
from analytics.catchrate.rounds import Solution
from analytics.catchrate.solver import solve
from tests.unit.analytics.catchrate.dense import (
    DenseFit,
    slope_of,
    small_problem,
)

RHO = np.array([0.5, 1.2, -0.4, 1.0])
DISPERSIONS = np.array([0.7, 1.3])
FAMILIES = [Gaussian(), Poisson(), Tweedie(1.5)]


def given(family: Family, **choices: object) -> Problem:
    """The small problem with everything but its coefficients given."""
    classes = 1 if isinstance(family, Poisson) else 2
    dispersion = np.ones(1) if isinstance(family, Poisson) else DISPERSIONS
    return small_problem(family, classes=classes, dispersion=dispersion, rho=RHO, **choices)


def solved(problem: Problem) -> Solution:
    solution = solve(problem, tolerance=1e-14)
    assert solution.converged
    assert solution.derivatives is not None
    return solution


def by_brute_force(problem: Problem, rho: np.ndarray) -> float:
    return DenseFit(problem).criterion(rho, np.log(problem.dispersion), 1.5)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("eliminate", [None, 3])
def test_the_gradient_is_exact_with_how_the_information_turns_with_the_coefficients(
    family: Family, eliminate: int | None
) -> None:
    problem = given(family, eliminate=eliminate)
    numerical = slope_of(lambda rho: by_brute_force(problem, rho), RHO)
    np.testing.assert_allclose(solved(problem).derivatives.gradient, numerical, rtol=1e-6, atol=1e-8)


def test_for_the_normal_distribution_the_hessian_is_exact_too() -> None:
    problem = given(Gaussian())
    numerical = slope_of(lambda rho: slope_of(lambda one: by_brute_force(problem, one), rho), RHO)
    np.testing.assert_allclose(solved(problem).derivatives.hessian, numerical, rtol=1e-5, atol=1e-6)


def test_for_the_normal_distribution_so_is_the_derivative_by_dispersion_as_well() -> None:
    problem = given(Gaussian())
    problem = replace(problem, blocks=[replace(block, known=0.0) for block in problem.blocks])

    def gradient(shift: np.ndarray) -> np.ndarray:
        shifted = replace(problem, dispersion=problem.dispersion * np.exp(shift))
        return slope_of(lambda rho: by_brute_force(shifted, rho), RHO)

    numerical = slope_of(gradient, np.zeros(1))[0]
    np.testing.assert_allclose(solved(problem).derivatives.by_dispersion, numerical, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("family", FAMILIES)
def test_the_criterion_differs_from_brute_force_by_a_constant(family: Family) -> None:
    problem = given(family)
    rhos = (RHO, RHO + np.array([1.0, -0.5, 0.3, 0.8]))
    gaps = [solved(replace(problem, rho=rho)).criterion - by_brute_force(problem, rho) for rho in rhos]
    assert gaps[0] == pytest.approx(gaps[1], abs=1e-8)


@pytest.mark.parametrize("family", FAMILIES)
def test_coefficients_move_with_the_smoothing_parameters_as_told(family: Family) -> None:
    problem = given(family)
    found = solved(problem).derivatives
    moves = slope_of(lambda rho: DenseFit(problem).maximiser(rho, np.log(problem.dispersion), 1.5), RHO).T
    np.testing.assert_allclose(np.vstack([found.moves, found.own_moves]), moves, atol=1e-8)


def test_freedom_is_what_the_data_spent_and_no_more_than_a_penalty_could_hold() -> None:
    solution = solved(given(Gaussian()))
    found = solution.derivatives
    assert ((found.freedom > 0) & (found.freedom < found.held)).all()
    # Ridge and neighbours of one factor share its six coefficients; the last ridge has nine of its own.
    assert found.held[0] + found.held[1] == pytest.approx(6)
    assert found.held[3] == pytest.approx(9)


def told(gradient: list[float], hessian: list[float], freedom: list[float], held: list[float]) -> Derivatives:
    size, pull = len(gradient), np.array(freedom)
    nothing = np.zeros((0, size))
    return Derivatives(
        np.array(gradient),
        np.diag(hessian),
        nothing,
        nothing,
        np.array(freedom),
        np.array(held),
        np.array(held),
        pull,
        np.zeros(size),
    )


def test_a_step_is_newtons_where_that_is_short() -> None:
    search = Search(np.array([1.0, 2.0]), -6.0, 13.0)
    stepped = search.step(told([1.0, -0.6], [2.0, 3.0], [4.0, 4.0], [8.0, 8.0]), 0.0)
    np.testing.assert_allclose(stepped.rho, [1.0 - 0.5, 2.0 + 0.2])


def test_a_step_goes_downhill_where_the_criterion_curves_down() -> None:
    stepped = Search(np.array([1.0]), -6.0, 13.0).step(told([0.8], [-2.0], [4.0], [8.0]), 0.0)
    np.testing.assert_allclose(stepped.rho, [1.0 - 0.4])


def test_what_has_settled_stays_however_flat_it_lies() -> None:
    search = Search(np.array([1.0, 2.0]), -6.0, 13.0)
    stepped = search.step(told([1e-7, -0.6], [1e-9, 3.0], [4.0, 4.0], [8.0, 8.0]), 1e-6)
    np.testing.assert_allclose(stepped.rho, [1.0, 2.0 + 0.2])


def test_where_newtons_step_is_too_long_the_safe_one_stands_in() -> None:
    found = replace(told([-3.0], [0.01], [6.0], [8.0]), pull=np.array([1.5]))
    stepped = Search(np.array([1.0]), -6.0, 13.0).step(found, 0.0)
    # Fellner and Schall: lambda times the freedom spent over lambda b'S b.
    np.testing.assert_allclose(stepped.rho, [1.0 + np.log(6.0 / 1.5)])


def test_no_step_is_longer_than_the_longest_nor_leaves_the_walls() -> None:
    found = replace(told([-3.0, 4.0], [0.01, 0.01], [6.0, 6.0], [8.0, 8.0]), pull=np.array([0.01, 900.0]))
    stepped = Search(np.array([12.0, 0.0]), -6.0, 13.0).step(found, 0.0)
    np.testing.assert_allclose(stepped.rho, [13.0, -LARGEST_STEP])


def parabola(rho: float, bottom: float) -> Derivatives:
    """Of (exp(-rho) - bottom)² / 2 by rho, where next to nothing is spent."""
    share = np.exp(-rho)
    gradient, hessian = -share * (share - bottom), share * (2 * share - bottom)
    return told([gradient], [hessian], [1e-4], [8.0])


def test_a_variance_nearly_nothing_goes_to_the_bottom_of_its_parabola_in_one_step() -> None:
    search = Search(np.array([7.0]), -6.0, 13.0)
    for bottom in (np.exp(-9.0), np.exp(-6.0)):
        stepped = search.step(parabola(7.0, bottom), 0.0)
        assert stepped.rho[0] == pytest.approx(-np.log(bottom))


def test_a_variance_whose_best_is_below_nothing_is_put_on_its_wall_and_held_there() -> None:
    found = parabola(7.0, -np.exp(-8.0))
    at_the_wall = Search(np.array([7.0]), -6.0, 13.0).step(found, 0.0)
    assert at_the_wall.rho[0] == 13.0
    assert not at_the_wall.free(found.gradient).any()
    # Once the criterion falls again away from the wall, it is let go.
    assert at_the_wall.free(np.array([0.4])).all()
    assert at_the_wall.step(told([0.4], [0.4], [0.5], [8.0]), 0.0).rho[0] < 13.0


@pytest.mark.parametrize("family", [Gaussian(), Tweedie(1.5)])
def test_variances_of_nothing_end_on_the_wall_and_where_it_stands_is_of_no_account(family: Family) -> None:
    problem = small_problem(family)
    # Weights that know nothing of any term: the same ones in another order.
    weight = default_rng(11).permutation(problem.response.weight)
    unrelated = replace(
        problem, response=replace(problem.response, weight=weight), offset=np.zeros_like(problem.offset)
    )
    near, far = (solve(replace(unrelated, walls=(-6.0, wall))) for wall in (10.0, 13.8))
    for solution, wall in ((near, 10.0), (far, 13.8)):
        assert solution.converged
        np.testing.assert_array_equal(solution.state.search.rho[2:], wall)
        np.testing.assert_allclose(solution.state.eliminated, 0, atol=1e-3)
    np.testing.assert_allclose(near.state.search.rho[:2], far.state.search.rho[:2], atol=0.01)


def test_a_factor_with_effects_without_bound_ends_at_the_other_wall() -> None:
    problem = small_problem(Gaussian())
    shift = np.array([0.0, 900.0, -900.0, 400.0, -400.0, 700.0, 0.0])[problem.blocks[1].encoded.codes]
    weight = problem.response.weight + shift
    solution = solve(replace(problem, response=replace(problem.response, weight=weight)))
    assert solution.converged
    assert solution.state.search.rho[0] == -6.0
