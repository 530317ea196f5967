"""The fit itself: coefficients, smoothing parameters, dispersion and power, together.

Each iteration forms the normal equations once at the present means (Newton's weights), solves for the
coefficients, and moves (`step`) the smoothing parameters (`reml`) and the dispersion and power
(`likelihood`) one Newton step down the restricted likelihood. It ends where all their gradients vanish.
"""

from collections.abc import Callable

import numpy as np
from scipy.linalg import LinAlgError

from analytics.catchrate.problem import Block, Problem, Start
from analytics.catchrate.rounds import Round, Solution, Solver
from analytics.catchrate.step import next_state

__all__ = ["Block", "Problem", "Round", "Solution", "Solver", "Start", "solve"]

#: Rounds for the coefficients alone, from every mean alike, before anything is searched for.
APPROACHES = 4

#: A gradient that the next round may meet with seven digits of its equations' solution.
STILL_FAR = 1.0

#: Where there are more sessions than this for each coefficient, a sample of as many as SAMPLE finds where to
#: begin: the search costs far less there, and ends near the place.
SESSIONS_A_COEFFICIENT = 250
SAMPLE = 60
SAMPLE_TOLERANCE = 1e-2


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
    start = start or _from_a_sample(problem)
    solver = Solver(problem)
    state = solver.begin(start)
    part_eta = None
    if start is None or start.coefficients is None:
        for _ in range(APPROACHES):
            round_ = Round(solver, state, part_eta, coarse=True)
            state, part_eta = round_.approached(), round_.new_part_eta
    deviances: list[float] = []
    converged, largest = False, np.inf
    for iteration in range(1, max_iterations + 1):
        round_ = Round(solver, state, part_eta, coarse=largest > STILL_FAR)
        round_.steer()
        deviances.append(solver.likelihood.deviance(round_.new.family, round_.new_eta))
        largest = round_.largest_gradient()
        if report is not None:
            report(iteration, largest)
        if largest < tolerance:
            converged = True
            break
        state, part_eta = next_state(round_, tolerance / 10.0)
    return round_.solution(tuple(deviances), converged=converged)


def _from_a_sample(problem: Problem) -> Start | None:
    """Where a fit of evenly spaced sessions ends, if there are sessions to spare and it does."""
    count = len(problem.response.weight)
    columns = sum(block.encoded.size for block in problem.blocks)
    if problem.session is not None or count < SESSIONS_A_COEFFICIENT * columns:
        return None
    rows = np.linspace(0, count - 1, SAMPLE * columns).astype(np.int64)
    try:
        found = solve(problem.at(rows), tolerance=SAMPLE_TOLERANCE)
    except LinAlgError:
        return None
    return found.as_start() if found.converged else None
