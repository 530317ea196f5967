"""B-spline bases on equally spaced knots, in NumPy alone so that prediction needs nothing else."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ObjectArray = NDArray[Any]


def cubic_bump(position: FloatArray) -> FloatArray:
    """The cardinal cubic B-spline on [0, 4], zero elsewhere (de Boor 1978, ch. IX)."""
    distance = np.abs(position - 2.0)
    near = 2.0 / 3.0 - distance**2 + distance**3 / 2.0
    far = np.clip(2.0 - distance, 0.0, None) ** 3 / 6.0
    return np.where(distance < 1.0, near, far)


def open_basis(values: FloatArray, lower: float, upper: float, size: int) -> FloatArray:
    """Rows (n, size) that sum to one; values beyond [lower, upper] take the row at the end."""
    place = (np.clip(values, lower, upper) - lower) / (upper - lower) * (size - 3)
    return cubic_bump(place[:, None] - np.arange(size)[None, :] + 3.0)


def cyclic_basis(values: FloatArray, period: float, size: int) -> FloatArray:
    """Rows (n, size) that sum to one and join smoothly over the period."""
    place = np.mod(values, period) / period * size
    return cubic_bump(np.mod(place[:, None] - np.arange(size)[None, :], size))


def row_products(left: FloatArray, right: FloatArray) -> FloatArray:
    """Row by row Kronecker products: (n, a) and (n, b) give (n, a * b)."""
    return (left[:, :, None] * right[:, None, :]).reshape(len(left), left.shape[1] * right.shape[1])


def round_to(values: FloatArray, resolution: float) -> FloatArray:
    """Values to the nearest multiple of the resolution; the fit and the prediction both see these."""
    return np.round(values / resolution) * resolution


def sum_to_zero(size: int) -> FloatArray:
    """Orthonormal columns (size, size - 1) at right angles to ones: Helmert's contrasts.

    A centred basis that sums to one cannot tell a constant from nothing; coefficients Z g can.
    """
    contrasts = np.zeros((size, size - 1))
    for column in range(1, size):
        contrasts[:column, column - 1] = 1.0
        contrasts[column, column - 1] = -column
        contrasts[:, column - 1] /= np.sqrt(column * (column + 1.0))
    return contrasts
