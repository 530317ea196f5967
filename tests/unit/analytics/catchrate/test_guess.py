"""Where the search for smoothing parameters begins."""

import numpy as np
import pytest
from numpy.random import default_rng

from analytics.catchrate import guess as module
from analytics.catchrate.family import Gaussian
from analytics.catchrate.guess import guessed_rho
from analytics.catchrate.penalised import Penalised, Penalties
from analytics.catchrate.problem import STARTING_RHO
from analytics.catchrate.rounds import Round, Solver
from analytics.catchrate.solver import solve
from tests.unit.analytics.catchrate.dense import small_problem

SIZE = 8
NOBODY = np.zeros(0)


def differences(size: int) -> np.ndarray:
    steps = np.diff(np.eye(size), axis=0)
    return steps.T @ steps


@pytest.mark.parametrize(
    "penalties", [(np.ones(SIZE),), (differences(SIZE),), (np.ones(SIZE), differences(SIZE))]
)
def test_of_a_term_alone_it_is_fellner_and_schall_s_update(penalties: tuple[np.ndarray, ...]) -> None:
    rng = default_rng(5)
    rows = rng.normal(size=(60, SIZE))
    gram, b = rows.T @ rows, rng.normal(size=SIZE)
    rho = np.linspace(0.5, 1.0, len(penalties))
    full = [np.diag(item) if item.ndim == 1 else item for item in penalties]
    total = sum(np.exp(one) * item for one, item in zip(rho, full, strict=True))
    inverse, pseudo = np.linalg.inv(gram + total), np.linalg.pinv(total)
    held = [np.exp(one) * np.trace(pseudo @ item) for one, item in zip(rho, full, strict=True)]
    left = [np.exp(one) * np.trace(inverse @ item) for one, item in zip(rho, full, strict=True)]
    needed = [np.exp(one) * b @ item @ b for one, item in zip(rho, full, strict=True)]
    expected = rho + np.log((np.array(held) - left) / needed)
    terms = Penalties([Penalised(slice(0, SIZE), penalties)], SIZE, 0)
    np.testing.assert_allclose(guessed_rho(terms, rho, (b, NOBODY), gram, NOBODY), expected, rtol=1e-9)


def test_a_large_block_goes_by_its_diagonal(monkeypatch: pytest.MonkeyPatch) -> None:
    b, gram = default_rng(2).normal(size=SIZE), 3.0 * np.eye(SIZE)
    terms = Penalties([Penalised(slice(0, SIZE), (np.ones(SIZE), differences(SIZE)))], SIZE, 0)
    exact = guessed_rho(terms, np.array([0.2, 1.0]), (b, NOBODY), gram, NOBODY)
    monkeypatch.setattr(module, "SMALL_BLOCK", SIZE - 1)
    np.testing.assert_allclose(
        guessed_rho(terms, np.array([0.2, 1.0]), (b, NOBODY), gram, NOBODY), exact, rtol=1e-9
    )


@pytest.mark.parametrize("eliminate", [None, 3])
def test_it_comes_nearer_to_where_the_search_ends(eliminate: int | None) -> None:
    problem = small_problem(Gaussian(), rows=600, eliminate=eliminate)
    best = solve(problem, tolerance=1e-8)
    solver = Solver(problem)
    state = solver.begin(None)
    for _ in range(4):
        state = Round(solver, state).approached()
    free = ~best.at_wall
    ends = best.state.search.rho[free]
    assert np.mean(np.abs(state.search.rho[free] - ends)) < 0.5 * np.mean(np.abs(STARTING_RHO - ends))


def test_known_smoothing_parameters_are_not_guessed() -> None:
    rho = np.array([0.5, 1.2, -0.4, 1.0])
    solver = Solver(small_problem(Gaussian(), rho=rho))
    np.testing.assert_array_equal(Round(solver, solver.begin(None)).approached().search.rho, rho)


def test_no_guess_leads_to_a_wall() -> None:
    terms = Penalties([Penalised(slice(0, SIZE), (np.ones(SIZE),))], SIZE, 0)
    begun = np.array([STARTING_RHO])
    for coefficients in (np.full(SIZE, 1e-9), np.full(SIZE, 1e9)):
        found = guessed_rho(terms, begun + 3.0, (coefficients, NOBODY), np.eye(SIZE), NOBODY)
        assert abs(found[0] - STARTING_RHO) <= module.FURTHEST
