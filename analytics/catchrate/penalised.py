"""Penalised terms: their penalties with log determinants, and traces against a covariance.

Which penalties a kind of term has is in `penalties`; here they are numbered through the whole fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import eigvalsh_tridiagonal
from scipy.sparse.csgraph import reverse_cuthill_mckee

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.system import Covariance


@dataclass(frozen=True, slots=True, eq=False)
class Penalised:
    """One term's columns with its penalties: (k,) diagonals or (k, k) matrices that commute.

    `known` is a precision that is not searched for, one for every coefficient or a matrix that commutes
    with the penalties. The eliminated factor's columns count from 0 in a numbering of its own.
    """

    columns: slice
    penalties: tuple[FloatArray, ...]
    known: FloatArray | float = 0.0
    eliminated: bool = False
    eigenvalues: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        known = self.known if isinstance(self.known, np.ndarray) else np.full(self.size, self.known)
        object.__setattr__(self, "eigenvalues", _common_eigenvalues([*self.penalties, known]))

    @property
    def size(self) -> int:
        return int(self.columns.stop - self.columns.start)

    def precision(self, rho: FloatArray) -> FloatArray:
        """(k,) or (k, k)."""
        total = self.known if isinstance(self.known, np.ndarray) else np.full(self.size, self.known)
        if total.ndim == 1 and any(penalty.ndim == 2 for penalty in self.penalties):
            total = np.diag(total)
        for one, penalty in zip(rho, self.penalties, strict=True):
            whole = np.diag(penalty) if penalty.ndim < total.ndim else penalty
            total = total + np.exp(one) * whole
        return total

    def log_determinant(self, rho: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """log|S|+ of the block with its gradient (q,) and Hessian (q, q) by rho."""
        parts = np.exp(rho)[:, None] * self.eigenvalues[:-1]
        total = parts.sum(axis=0) + self.eigenvalues[-1]
        held = total > 0
        shares = parts[:, held] / total[held]
        gradient = shares.sum(axis=1)
        return float(np.sum(np.log(total[held]))), gradient, np.diag(gradient) - shares @ shares.T


def _common_eigenvalues(penalties: Sequence[FloatArray]) -> FloatArray:
    """Eigenvalues (q, k) of commuting penalties in their common eigenvectors."""
    if all(penalty.ndim == 1 for penalty in penalties):
        return np.stack(penalties)
    constant = [penalty.ndim == 1 and np.ptp(penalty) == 0 for penalty in penalties]
    if sum(constant) == len(penalties) - 1:
        return np.stack(
            [
                item if alike else _cleaned(_eigenvalues(item))
                for item, alike in zip(penalties, constant, strict=True)
            ]
        )
    full = [penalty if penalty.ndim == 2 else np.diag(penalty) for penalty in penalties]
    # Unequal shares, so that no two joint eigenvalues coincide by accident.
    sizes = [max(float(np.linalg.norm(item)), 1e-300) for item in full]
    mixed = sum(full[i] / sizes[i] * 0.6180339887**i for i in range(len(full)))
    _, vectors = np.linalg.eigh(np.asarray(mixed))
    return np.stack([_cleaned(np.einsum("ij,ij->j", vectors, item @ vectors)) for item in full])


def _eigenvalues(penalty: FloatArray) -> FloatArray:
    """Of a penalty between neighbours along a line in next to no time, of any other by the usual way."""
    thin = _thin(penalty)
    if not isinstance(thin, np.ndarray):
        order = reverse_cuthill_mckee(thin, symmetric_mode=True)
        lined = penalty[np.ix_(order, order)]
        if not np.any(np.tril(lined, -2)):
            return np.asarray(eigvalsh_tridiagonal(np.diag(lined), np.diag(lined, -1)))
    return np.asarray(np.linalg.eigvalsh(penalty))


def _cleaned(eigenvalues: NDArray[Any]) -> FloatArray:
    """With nought for what is nought but for rounding."""
    cleaned: FloatArray = np.where(eigenvalues > 1e-10 * eigenvalues.max(), eigenvalues, 0.0)
    return cleaned


class Penalties:
    """All penalised terms of a fit, their smoothing parameters numbered through.

    Large penalties between neighbours are nearly all zeros, and are kept as such.
    """

    def __init__(self, terms: Sequence[Penalised], size: int, eliminated_size: int) -> None:
        self.terms = tuple(terms)
        self.size = size
        self.eliminated_size = eliminated_size
        self.owner = [place for place, term in enumerate(terms) for _ in term.penalties]
        self.ranks = np.array(
            [np.count_nonzero(row) for term in terms for row in term.eigenvalues[:-1]], dtype=np.float64
        )
        self.matrices = [_thin(penalty) for term in terms for penalty in term.penalties]

    @property
    def count(self) -> int:
        return len(self.matrices)

    def of_term(self, place: int) -> list[int]:
        return [number for number, owner in enumerate(self.owner) if owner == place]

    def precision(self, rho: FloatArray) -> tuple[FloatArray, FloatArray]:
        """S of the terms, (k, k), and of the eliminated factor, (m,)."""
        matrix, own = np.zeros((self.size, self.size)), np.zeros(self.eliminated_size)
        for place, term in enumerate(self.terms):
            block = term.precision(rho[self.of_term(place)])
            if term.eliminated:
                own = block
            elif block.ndim == 1:
                index = np.arange(term.columns.start, term.columns.stop)
                matrix[index, index] += block
            else:
                matrix[term.columns, term.columns] += block
        return matrix, own

    def log_determinant(self, rho: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """log|S|+ with its gradient (q,) and Hessian (q, q)."""
        value, gradient, hessian = 0.0, np.zeros(self.count), np.zeros((self.count, self.count))
        for place, term in enumerate(self.terms):
            if term.penalties:
                mine = self.of_term(place)
                one, first, second = term.log_determinant(rho[mine])
                value, gradient[mine] = value + one, first
                hessian[np.ix_(mine, mine)] = second
        return value, gradient, hessian

    def times(self, number: int, values: FloatArray, own: FloatArray) -> tuple[FloatArray, FloatArray]:
        """S_j v, padded with zeros to (k,) and (m,)."""
        term, penalty = self.terms[self.owner[number]], self.matrices[number]
        left, right = np.zeros(self.size), np.zeros(self.eliminated_size)
        mine = own if term.eliminated else values[term.columns]
        product = penalty * mine if penalty.ndim == 1 else penalty @ mine
        if term.eliminated:
            right = product
        else:
            left[term.columns] = product
        return left, right

    def trace(self, number: int, covariance: Covariance) -> float:
        """tr(V S_j)."""
        term, penalty = self.terms[self.owner[number]], self.matrices[number]
        if term.eliminated:
            return float(np.sum(covariance.variance * penalty))
        block = covariance.matrix[term.columns, term.columns]
        if penalty.ndim == 1:
            return float(np.sum(np.diag(block) * penalty))
        return float(
            (penalty * block).sum() if isinstance(penalty, np.ndarray) else penalty.multiply(block).sum()
        )

    def double_trace(self, i: int, j: int, covariance: Covariance) -> float:
        """tr(V S_i V S_j)."""
        left, right = self.terms[self.owner[i]], self.terms[self.owner[j]]
        if left.eliminated and right.eliminated:
            return covariance.between_levels_squared()
        if left.eliminated:
            return self.double_trace(j, i, covariance)
        if right.eliminated:
            block = covariance.across[left.columns]
        else:
            block = covariance.matrix[left.columns, right.columns]
        return float(np.sum(_left(self.matrices[i], block) * _right(block, self.matrices[j])))


def _thin(penalty: FloatArray) -> Any:
    if penalty.ndim == 2 and len(penalty) > 100 and np.count_nonzero(penalty) < 0.1 * penalty.size:
        return sparse.csr_array(penalty)
    return penalty


def _left(penalty: Any, block: FloatArray) -> FloatArray:
    return np.asarray(penalty[:, None] * block if penalty.ndim == 1 else penalty @ block)


def _right(block: FloatArray, penalty: Any) -> FloatArray:
    return np.asarray(block * penalty if penalty.ndim == 1 else block @ penalty)
