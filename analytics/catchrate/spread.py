"""The joint covariance of a fit, with the uncertainty of its smoothing parameters in it.

Given the smoothing parameters it is V = (X'WX + S)^-1 with Fisher's weights. Their own uncertainty adds

    J V_rho J'  +  sum over j, l of V_rho[j, l] (dR / d rho_j)' (dR / d rho_l)

J = db / d rho and R'R = V (Wood, Pya & Säfken 2016, JASA 111:1548, section 4).
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.rounds import Solution

#: Added to the curvature by log smoothing parameters, where it is inverted: nothing but a guard for the
#: first term; a prior of variance 10 for the second, which is a sum of squares and would grow at will.
LEAST_CURVATURE = (1e-6, 0.1)

#: A smoothing parameter that is known better than this (variance of its log) moves no standard error by
#: a thousandth, and is left out of the second term.
WELL_KNOWN = 0.004


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Covariance of the coefficients, in the order of the problem's blocks: `matrix` (k, k) of all but
    the eliminated block, `across` (k, m) and `levels` (m, m) or None, `variance` (m,) of the eliminated;
    `rho_variance` (q,), NaN where a smoothing parameter stands at a wall."""

    matrix: FloatArray
    across: FloatArray
    levels: FloatArray | None
    variance: FloatArray
    rho_variance: FloatArray


def spread_of(solution: Solution, *, smoothing_uncertainty: bool, with_levels: bool) -> Spread:
    """The covariance of a solution; `with_levels` asks for that between eliminated levels too."""
    covariance = solution.covariance
    matrix, across, variance = covariance.matrix, covariance.across, covariance.variance
    levels = covariance.levels() if with_levels else None
    found = solution.derivatives
    rho_variance = np.full(solution.penalties.count, np.nan)
    if found is None:
        return Spread(matrix, across, levels, variance, rho_variance)
    free = np.flatnonzero(~solution.at_wall)
    if solution.problem.rho is not None or not len(free):
        return Spread(matrix, across, levels, variance, rho_variance)
    hessian = found.hessian[np.ix_(free, free)]
    uncertain, bounded = (_inverse(hessian, least) for least in LEAST_CURVATURE)
    rho_variance[free] = np.diag(uncertain)
    if smoothing_uncertainty:
        root = cholesky(uncertain, lower=True)
        moved, own_moved = found.moves[:, free] @ root, found.own_moves[:, free] @ root
        matrix = matrix + moved @ moved.T + _of_the_spread_itself(solution, free, bounded)
        across = across + moved @ own_moved.T
        variance = variance + np.sum(own_moved**2, axis=1)
        levels = None if levels is None else levels + own_moved @ own_moved.T
    return Spread(matrix, across, levels, variance, rho_variance)


def _inverse(hessian: FloatArray, least: float) -> FloatArray:
    values, vectors = np.linalg.eigh(hessian)
    inverse: FloatArray = (vectors / (np.maximum(values, 0.0) + least)) @ vectors.T
    return inverse


def _of_the_spread_itself(solution: Solution, free: np.ndarray, uncertain: FloatArray) -> FloatArray:
    """The second term, of the blocks that are not eliminated.

    Small blocks come first in R, which is upper triangular: then dR of a block has no rows below it.
    """
    penalties, rho = solution.penalties, solution.state.search.rho
    size = penalties.size
    chosen = [
        place
        for place, number in enumerate(free)
        if uncertain[place, place] > WELL_KNOWN and not penalties.terms[penalties.owner[number]].eliminated
    ]
    if not chosen:
        return np.zeros((size, size))
    terms = [term for term in penalties.terms if not term.eliminated]
    terms.sort(key=lambda term: term.size)
    order = np.concatenate([np.arange(term.columns.start, term.columns.stop) for term in terms])
    place_of = np.argsort(order)
    factor = cholesky(solution.covariance.matrix[np.ix_(order, order)], lower=False)
    changes = []
    for place in chosen:
        number = int(free[place])
        term = penalties.terms[penalties.owner[number]]
        columns = place_of[term.columns]
        end = int(columns.max()) + 1
        part = factor[:end, columns]
        penalty = penalties.matrices[number]
        inner = (part * penalty if penalty.ndim == 1 else part @ penalty) @ part.T
        halved = np.triu(inner) - 0.5 * np.diag(np.diag(inner))
        change = np.zeros((end, size))
        change[:] = -np.exp(rho[number]) * (halved @ factor[:end])
        changes.append(change)
    rows = max(len(change) for change in changes)
    padded = np.stack([np.pad(change, ((0, rows - len(change)), (0, 0))) for change in changes])
    root = cholesky(uncertain[np.ix_(chosen, chosen)], lower=True)
    mixed = np.einsum("jq,jrc->qrc", root, padded).reshape(-1, size)
    added: FloatArray = (mixed.T @ mixed)[np.ix_(place_of, place_of)]
    return added
