"""The penalised equations (X'WX + S) b = r with one diagonal block eliminated first.

The eliminated factor's own block is diagonal, D = diag(X_e'WX_e) + S_e, so its Schur complement costs a
matrix product and the Cholesky factor is of the other terms alone (Wood 2017, *Generalized Additive
Models*, 2nd ed., appendix B).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import LinAlgError, cho_solve, cholesky
from scipy.linalg.blas import dsyrk, ssyrk
from scipy.linalg.lapack import dpotri, spotri

from analytics.catchrate.basis import FloatArray

#: Columns of the eliminated factor's own covariance that stand for all in a sum of squares, which only
#: steers the search for its variance.
SAMPLED_LEVELS = 200

#: From so many columns on, a round far from the end is worked out in single precision: half the time.
LARGE = 1_000


@dataclass(frozen=True, slots=True, eq=False)
class System:
    """A factorised system: L (k, k) lower with LL' = X'WX + S - C X_e'WX, D (m,), C = X'WX_e / D (k, m)."""

    factor: FloatArray
    diagonal: FloatArray
    scaled: FloatArray

    @classmethod
    def of(
        cls,
        gram: FloatArray,
        across: FloatArray,
        own: FloatArray,
        precision: FloatArray,
        own_precision: FloatArray,
        *,
        coarse: bool = False,
    ) -> "System":
        """`coarse` will do with seven digits, where the system is large and has them.

        :raises scipy.linalg.LinAlgError: the system is not positive definite.
        """
        diagonal = own + own_precision
        if coarse and len(gram) >= LARGE:
            try:
                return cls._factorised(gram + precision, across, diagonal, np.dtype(np.float32))
            except LinAlgError:
                pass
        return cls._factorised(gram + precision, across, diagonal, np.dtype(np.float64))

    @classmethod
    def _factorised(
        cls, matrix: FloatArray, across: FloatArray, diagonal: FloatArray, kind: np.dtype[Any]
    ) -> "System":
        matrix = matrix.astype(kind, copy=False)
        if across.shape[1]:
            rooted = (across / np.sqrt(diagonal)).astype(kind, copy=False)
            product = dsyrk if kind == np.float64 else ssyrk
            # The lower triangle is all that the factorisation reads, and half the work.
            matrix = product(-1.0, rooted.T, beta=1.0, c=matrix, trans=1, lower=1)
        scaled = (across / diagonal).astype(kind, copy=False)
        return cls(cholesky(matrix, lower=True, overwrite_a=True), diagonal, scaled)

    def solve(self, right: FloatArray, own: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(X'WX + S)^-1 of one or several right-hand sides, (k, ...) and (m, ...)."""
        terms = cho_solve(
            (self.factor, True), right - self.scaled @ own.astype(self.scaled.dtype, copy=False)
        )
        by_level = own / self.diagonal if own.ndim == 1 else own / self.diagonal[:, None]
        return terms, by_level - self.scaled.T @ terms

    def log_determinant(self) -> float:
        return float(2.0 * np.sum(np.log(np.diag(self.factor))) + np.sum(np.log(self.diagonal)))

    def covariance(self) -> "Covariance":
        """The inverse, in parts."""
        inverse, _ = (dpotri if self.factor.dtype == np.float64 else spotri)(self.factor, lower=1)
        lower = np.tril(inverse)
        matrix = lower + np.tril(inverse, -1).T
        across = -(matrix @ self.scaled)
        variance = 1.0 / self.diagonal - np.einsum("ij,ij->j", self.scaled, across)
        return Covariance(matrix, across, variance, 1.0 / self.diagonal, self.scaled)


@dataclass(frozen=True, slots=True, eq=False)
class Covariance:
    """V in parts: of the terms (k, k), of terms with eliminated levels (k, m), the levels' variances (m,)."""

    matrix: FloatArray
    across: FloatArray
    variance: FloatArray
    inner: FloatArray
    scaled: FloatArray

    def between_levels_squared(self) -> float:
        """The sum of squares of V_ee = diag(inner) + C'VC, (m, m), from at most SAMPLED_LEVELS columns."""
        size = len(self.inner)
        sample = np.unique(np.linspace(0, size - 1, min(size, SAMPLED_LEVELS)).astype(np.int64))
        columns = -(self.scaled.T @ self.across[:, sample])
        columns[sample, np.arange(len(sample))] = 0.0
        between = float(np.sum(columns**2)) * size / len(sample)
        return float(np.sum(self.variance**2)) + between

    def levels(self) -> FloatArray:
        """V_ee, (m, m)."""
        return np.diag(self.inner) - self.scaled.T @ self.across
