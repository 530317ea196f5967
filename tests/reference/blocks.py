"""Blocks for the solver made by hand, and a solution's numbers side by side in the blocks' order.

The engine never forms X or S; here they are written out in full, so that another program can be given the
same columns and penalties.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import intercept
from analytics.catchrate.family import Family, Tweedie
from analytics.catchrate.likelihood import Response
from analytics.catchrate.penalised import Penalised
from analytics.catchrate.problem import Block, Problem
from analytics.catchrate.rounds import Solution
from analytics.catchrate.solver import solve
from analytics.catchrate.terms import Encoded

#: Published variances are in squared milliseconds or grams: standard deviations from e^-15 to e^15.
WIDE_WALLS = (-30.0, 30.0)


def column(values: Sequence[float]) -> Block:
    """A numeric covariate with a flat prior: every distinct value a row of the table."""
    distinct, codes = np.unique(np.asarray(values, dtype=np.float64), return_inverse=True)
    return Block(Encoded(codes.astype(np.int32), distinct[:, None], 1))


def contrasts(values: Sequence[object]) -> Block:
    """Levels against the first, flat prior."""
    levels, codes = _coded(values)
    return Block(Encoded(codes - np.int32(1), None, levels - 1))


def effects(values: Sequence[object]) -> Block:
    """A random effect a level, its variance to be estimated."""
    levels, codes = _coded(values)
    return Block(Encoded(codes, None, levels), (np.ones(levels),))


def _coded(values: Sequence[object]) -> tuple[int, np.ndarray]:
    levels, codes = np.unique(np.asarray(values).astype(str), return_inverse=True)
    return len(levels), codes.astype(np.int32)


def problem_with(
    family: Family,
    response: Sequence[float],
    blocks: Sequence[Block],
    offset: Sequence[float] | None = None,
    *,
    dispersion: float | None = None,
    eliminate: int | None = None,
) -> Problem:
    """An intercept and the blocks; `eliminate` counts the blocks from 1."""
    weight = np.asarray(response, dtype=np.float64)
    return Problem(
        family=family,
        response=Response.exact(weight),
        offset=np.zeros_like(weight) if offset is None else np.asarray(offset, dtype=np.float64),
        blocks=[Block(intercept(len(weight))), *blocks],
        eliminate=eliminate,
        dispersion=None if dispersion is None else np.array([dispersion]),
        walls=WIDE_WALLS,
    )


def solved(problem: Problem, tolerance: float = 1e-8) -> Solution:
    """The solution, run to the end."""
    solution = solve(problem, tolerance=tolerance)
    assert solution.converged
    assert solution.largest_gradient < tolerance
    return solution


def at_the_found_scale(solution: Solution) -> Problem:
    """The same problem with its smoothing parameters, dispersion and power fixed where the search ended."""
    family = solution.state.family
    if isinstance(family, Tweedie):
        family = replace(family, search=False)
    return replace(
        solution.problem,
        family=family,
        dispersion=np.exp(solution.state.log_dispersion),
        rho=solution.state.search.rho,
    )


def coefficients_of(solution: Solution) -> FloatArray:
    """All coefficients in the order of the blocks, (k,)."""
    return _in_order(solution, solution.state.coefficients, solution.state.eliminated)


def standard_errors_of(solution: Solution) -> FloatArray:
    """Theirs given the smoothing parameters, (k,)."""
    covariance = solution.covariance
    return np.sqrt(_in_order(solution, np.diag(covariance.matrix), covariance.variance))


def _in_order(solution: Solution, dense: FloatArray, eliminated: FloatArray) -> FloatArray:
    parts, start = [], 0
    for place, block in enumerate(solution.problem.blocks):
        if place == solution.problem.eliminate:
            parts.append(eliminated)
            continue
        parts.append(dense[start : start + block.encoded.size])
        start += block.encoded.size
    return np.concatenate(parts)


def dispersion_of(solution: Solution) -> float:
    """The dispersion of a fit that has one."""
    (log_dispersion,) = solution.state.log_dispersion
    return float(np.exp(log_dispersion))


def pearson_dispersion(solution: Solution) -> float:
    """Pearson's chi-squared over n - k (McCullagh & Nelder 1989, sec. 4.5.2); X in full rank, no penalty."""
    work = solution.state.family.working(solution.problem.response.weight, solution.eta)
    freedom = len(solution.eta) - len(coefficients_of(solution))
    return float(np.sum(work.score**2 / work.expected)) / freedom


def columns_of(problem: Problem) -> FloatArray:
    """X in full, (n, k)."""
    return np.hstack([block.encoded.spread(np.eye(block.encoded.size)) for block in problem.blocks])


def precision_of(problem: Problem) -> FloatArray:
    """S in full, (k, k), at the problem's fixed smoothing parameters."""
    assert problem.rho is not None
    size = sum(block.encoded.size for block in problem.blocks)
    precision, start, first = np.zeros((size, size)), 0, 0
    for block in problem.blocks:
        columns = slice(start, start + block.encoded.size)
        rho = problem.rho[first : first + len(block.penalties)]
        own = Penalised(columns, tuple(block.penalties), block.known).precision(rho)
        precision[columns, columns] = np.diag(own) if own.ndim == 1 else own
        start, first = columns.stop, first + len(block.penalties)
    return precision
