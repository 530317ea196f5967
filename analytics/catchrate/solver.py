"""The fit itself: coefficients, smoothing parameters, dispersion and power, together.

Each iteration forms the normal equations once at the present means (Newton's weights), solves for the
coefficients, and moves the smoothing parameters (`reml`) and the dispersion and power (`likelihood`) one
Newton step down the restricted likelihood. It ends where all their gradients vanish.
"""

from collections.abc import Callable

from analytics.catchrate.problem import Block, Problem, Start
from analytics.catchrate.rounds import Round, Solution, Solver

__all__ = ["Block", "Problem", "Round", "Solution", "Solver", "Start", "solve"]

#: Rounds for the coefficients alone, from every mean alike, before anything is searched for.
APPROACHES = 3


def solve(
    problem: Problem,
    *,
    start: Start | None = None,
    max_iterations: int = 60,
    tolerance: float = 1e-5,
    report: Callable[[int, float], None] | None = None,
) -> Solution:
    """Iterate until every gradient is below `tolerance`; `report` is told the iteration and the largest.

    Gradients are of the restricted log-likelihood by log smoothing parameters, and of coefficients,
    dispersions and power in their standard errors.

    :raises scipy.linalg.LinAlgError: the penalised equations are not positive definite.
    """
    solver = Solver(problem)
    state = solver.begin(start)
    if start is None:
        for _ in range(APPROACHES):
            state = Round(solver, state).approached()
    deviances: list[float] = []
    converged = False
    for iteration in range(1, max_iterations + 1):
        round_ = Round(solver, state)
        round_.steer()
        deviances.append(solver.likelihood.deviance(state.family, round_.new_eta))
        largest = round_.largest_gradient()
        if report is not None:
            report(iteration, largest)
        if largest < tolerance:
            converged = True
            break
        state = round_.next_state(tolerance / 10.0)
    return round_.solution(tuple(deviances), converged=converged)
