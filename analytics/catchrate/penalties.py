"""Penalty matrices S: a term's prior precision is the sum of exp(rho_j) S_j over its penalties j.

The penalised log-likelihood is l(b) - b'Sb / 2, so the posterior covariance of the coefficients is
(X'WX + S)^-1 (Wood 2017, *Generalized Additive Models*, 2nd ed., section 6.10). The penalties of one term
commute: ridge with neighbours, and the two margins of a tensor product. So their sum has one basis of
eigenvectors, and its log-determinant is a sum over eigenvalues.
"""

from collections.abc import Sequence

import numpy as np

from analytics.catchrate.basis import FloatArray, sum_to_zero
from analytics.catchrate.spec import Smooth


def difference_penalty(size: int, order: int, *, cyclic: bool) -> FloatArray:
    """D'D, (size, size), for differences of the given order between neighbouring coefficients."""
    differences = np.eye(size)
    for _ in range(order):
        if cyclic:
            differences = np.roll(differences, -1, axis=0) - differences
        else:
            differences = np.diff(differences, axis=0)
    return differences.T @ differences


def neighbour_penalty(levels: int, links: Sequence[tuple[int, int]]) -> FloatArray:
    """The graph Laplacian, (levels, levels): b'Lb is the sum of squared differences over the links."""
    penalty = np.zeros((levels, levels))
    for left, right in links:
        penalty[left, left] += 1.0
        penalty[right, right] += 1.0
        penalty[left, right] -= 1.0
        penalty[right, left] -= 1.0
    return penalty


def smooth_penalties(term: Smooth) -> list[FloatArray]:
    """One penalty a margin, (k, k) each, on coefficients that sum to zero in every margin."""
    inner: list[FloatArray] = []
    for margin in term.margins:
        contrasts = sum_to_zero(margin.size)
        penalty = difference_penalty(margin.size, term.order, cyclic=margin.period is not None)
        inner.append(np.asarray(contrasts.T @ penalty @ contrasts, dtype=np.float64))
    if len(inner) == 1:
        return inner
    left, right = inner
    crossed = [np.kron(left, np.eye(len(right))), np.kron(np.eye(len(left)), right)]
    return [np.asarray(penalty, dtype=np.float64) for penalty in crossed]


def scaled_to_curve(penalty: FloatArray, second_moments: FloatArray) -> FloatArray:
    """The penalty times the curve's variance under it, so that exp(-rho) is that variance.

    `second_moments` is the average of x x' over the returns, (k, k), x the basis row of a return.
    """
    variance = float(np.sum(np.linalg.pinv(penalty, rcond=1e-10, hermitian=True) * second_moments))
    return penalty * variance
