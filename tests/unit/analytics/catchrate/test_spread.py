"""The covariance's parts against inverses and numerical derivatives."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import cholesky

from analytics.catchrate.family import Family, Gaussian, Tweedie
from analytics.catchrate.rounds import Solution
from analytics.catchrate.solver import solve
from analytics.catchrate.spread import LEAST_CURVATURE, Spread, spread_of
from tests.unit.analytics.catchrate.dense import DenseFit, design_of, precision_of, slope_of, small_problem

APART = 9


@pytest.fixture(scope="module", params=[Gaussian(), Tweedie(1.5)], ids=["Gaussian", "Tweedie"])
def solution(request: pytest.FixtureRequest) -> Solution:
    """Of the small problem with known dispersion, whose smoothing parameters all end inside the walls."""
    family: Family = request.param
    found = solve(small_problem(family, rows=400, dispersion=np.array([0.8])), tolerance=1e-9)
    assert found.converged
    assert not found.at_wall.any()
    return found


def whole(spread: Spread) -> np.ndarray:
    assert spread.levels is not None
    return np.block([[spread.matrix, spread.across], [spread.across.T, spread.levels]])


def fishers_covariance(solution: Solution, rho: np.ndarray) -> np.ndarray:
    """(X'WX + S)^-1 with Fisher's weights at the solution's means."""
    design = design_of(solution.problem)
    weights = (
        np.ones(len(design)) if isinstance(solution.problem.family, Gaussian) else np.exp(solution.eta / 2)
    )
    information = design.T @ (weights[:, None] * design) / 0.8
    return np.linalg.inv(information + precision_of(solution.problem, rho))


def test_given_the_smoothing_parameters_it_is_the_inverse_of_information_and_prior(
    solution: Solution,
) -> None:
    spread = spread_of(solution, smoothing_uncertainty=False, with_levels=True)
    expected = fishers_covariance(solution, solution.state.search.rho)
    np.testing.assert_allclose(whole(spread), expected, rtol=1e-7, atol=1e-12)
    np.testing.assert_allclose(spread.variance, np.diag(expected)[-APART:], rtol=1e-7)


def test_the_variances_of_log_smoothing_parameters_invert_the_hessian(solution: Solution) -> None:
    spread = spread_of(solution, smoothing_uncertainty=True, with_levels=False)
    expected = np.diag(np.linalg.inv(solution.derivatives.hessian))
    np.testing.assert_allclose(spread.rho_variance, expected, rtol=1e-3)
    assert spread.levels is None


def test_what_smoothing_adds_are_the_moves_of_coefficients_and_of_the_root(solution: Solution) -> None:
    rho = solution.state.search.rho
    plain, full = (
        spread_of(solution, smoothing_uncertainty=chosen, with_levels=True) for chosen in (False, True)
    )
    hessian = solution.derivatives.hessian
    values, vectors = np.linalg.eigh(hessian)
    surely, bounded = ((vectors / (values + least)) @ vectors.T for least in LEAST_CURVATURE)
    logs = np.log([0.8])
    moves = slope_of(lambda one: DenseFit(solution.problem).maximiser(one, logs, 1.5), rho).T
    first = moves @ surely @ moves.T
    added = whole(full) - whole(plain)
    # The eliminated block gets the first term alone, and nothing of the second reaches it.
    np.testing.assert_allclose(added[-APART:], first[-APART:], rtol=1e-5, atol=1e-9)
    np.testing.assert_allclose(full.variance - plain.variance, np.diag(first)[-APART:], rtol=1e-5, atol=1e-9)
    second = root_moves(solution, bounded)
    np.testing.assert_allclose(
        added[:-APART, :-APART], first[:-APART, :-APART] + second, rtol=1e-5, atol=1e-8
    )


def root_moves(solution: Solution, uncertain: np.ndarray) -> np.ndarray:
    """sum over j, l of V_rho[j, l] (dR / d rho_j)' (dR / d rho_l), R upper triangular with R'R = V.

    The columns are in the engine's order, small blocks first, on which R depends; the last smoothing
    parameter is the eliminated block's and is left out.
    """
    sizes = [block.encoded.size for block in solution.problem.blocks[:-1]]
    starts = np.cumsum([0, *sizes])
    order = np.concatenate([np.arange(starts[i], starts[i + 1]) for i in np.argsort(sizes, kind="stable")])

    def root(free: np.ndarray) -> np.ndarray:
        rho = np.append(free, solution.state.search.rho[-1])
        covariance = fishers_covariance(solution, rho)
        return cholesky(covariance[np.ix_(order, order)], lower=False)

    turned = slope_of(root, solution.state.search.rho[:-1])
    second = np.einsum("jl,jrc,lrd->cd", uncertain[:-1, :-1], turned, turned)
    back = np.argsort(order)
    return second[np.ix_(back, back)]


def test_uncertain_smoothing_never_narrows_an_interval(solution: Solution) -> None:
    plain, full = (
        spread_of(solution, smoothing_uncertainty=chosen, with_levels=True) for chosen in (False, True)
    )
    added = whole(full) - whole(plain)
    assert np.linalg.eigvalsh(added).min() > -1e-12
    assert (np.diag(added)[:-APART] > 0).all()


def test_given_smoothing_parameters_are_not_uncertain(solution: Solution) -> None:
    problem = replace(solution.problem, rho=solution.state.search.rho)
    given = spread_of(solve(problem, tolerance=1e-9), smoothing_uncertainty=True, with_levels=True)
    plain = spread_of(solution, smoothing_uncertainty=False, with_levels=True)
    np.testing.assert_allclose(whole(given), whole(plain), rtol=1e-6, atol=1e-10)
    assert np.isnan(given.rho_variance).all()


def test_a_smoothing_parameter_at_a_wall_has_no_variance_of_its_own(solution: Solution) -> None:
    problem = replace(solution.problem, walls=(-6.0, solution.state.search.rho[2] - 1.0))
    walled = solve(problem)
    assert walled.at_wall[2]
    spread = spread_of(walled, smoothing_uncertainty=True, with_levels=False)
    np.testing.assert_array_equal(np.isnan(spread.rho_variance), walled.at_wall)


def test_without_a_penalty_there_is_nothing_to_add(solution: Solution) -> None:
    blocks = [replace(block, penalties=(), known=0.5) for block in solution.problem.blocks]
    found = solve(replace(solution.problem, blocks=blocks, eliminate=None))
    plain, full = (
        spread_of(found, smoothing_uncertainty=chosen, with_levels=True) for chosen in (False, True)
    )
    np.testing.assert_array_equal(plain.matrix, full.matrix)
