"""Prior precisions: the inverse prior covariance S of each term's coefficients.

The penalised log-likelihood is l(b) - b'Sb / 2, so the posterior covariance of the coefficients is
(X'WX / phi + S)^-1 (Wood 2017, *Generalized Additive Models*, 2nd ed., section 6.10).
"""

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.spec import Factor, Smooth


def difference_penalty(size: int, order: int, *, cyclic: bool) -> FloatArray:
    """D'D, (size, size), for differences of the given order between neighbouring coefficients."""
    differences = np.eye(size)
    for _ in range(order):
        if cyclic:
            differences = np.roll(differences, -1, axis=0) - differences
        else:
            differences = np.diff(differences, axis=0)
    return differences.T @ differences


def factor_precision(term: Factor, levels: int) -> FloatArray:
    """The diagonal, (levels,), of a factor's prior precision."""
    return np.full(levels, 1.0 / term.prior_sd**2)


def smooth_precision(term: Smooth) -> FloatArray:
    """The prior precision, (k, k), of a smooth; tensor margins add up as Kronecker sums."""
    sizes = [margin.size for margin in term.margins]
    total = int(np.prod(sizes))
    precision = np.eye(total) / term.level_sd**2
    for position, margin in enumerate(term.margins):
        penalty = difference_penalty(margin.size, term.order, cyclic=margin.period is not None)
        before, after = int(np.prod(sizes[:position])), int(np.prod(sizes[position + 1 :]))
        precision += np.kron(np.kron(np.eye(before), penalty), np.eye(after)) / term.roughness_sd**2
    return precision
