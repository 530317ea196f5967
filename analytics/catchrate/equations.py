"""Weighted normal equations from codes, without ever forming the n by k design.

X'WX between two terms is a weighted two-way count table of their codes, folded with their tables of
basis rows (Wood, Li, Shaddick & Augustin 2017, JASA 112:1199).
"""

from collections.abc import Sequence

import numpy as np

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.terms import Encoded


def intercept(observations: int) -> Encoded:
    """The column of ones."""
    nothing = np.zeros(observations, dtype=np.int64)
    return Encoded(nothing, np.ones((1, 1)), 1, nothing)


def totals(item: Encoded, weights: FloatArray) -> FloatArray:
    """X'w, (k,): the weights summed by coefficient."""
    # Codes are shifted by one so that 'contributes nothing' (-1) has a bin of its own, cut off again.
    sums = _sums(item.codes + 1, weights, item.rows() + 1)[1:]
    return sums if item.table is None else item.table.T @ sums


def cross_product(left: Encoded, right: Encoded, weights: FloatArray) -> FloatArray:
    """X_left' W X_right, (k_left, k_right)."""
    height, width = left.rows() + 1, right.rows() + 1
    cells = (left.codes + 1) * width + right.codes + 1
    counts = _sums(cells, weights, height * width).reshape(height, width)[1:, 1:]
    if left.table is not None:
        counts = left.table.T @ counts
    return counts if right.table is None else counts @ right.table


def _sums(codes: IntArray, weights: FloatArray, size: int) -> FloatArray:
    return np.bincount(codes, weights, minlength=size).astype(np.float64, copy=False)


def gram(items: Sequence[Encoded], weights: FloatArray) -> FloatArray:
    """X'WX, (k, k), of the terms side by side."""
    starts = offsets(items)
    matrix = np.empty((starts[-1], starts[-1]))
    for i, left in enumerate(items):
        rows = slice(starts[i], starts[i + 1])
        for j, right in enumerate(items[: i + 1]):
            columns = slice(starts[j], starts[j + 1])
            matrix[rows, columns] = cross_product(left, right, weights)
            matrix[columns, rows] = matrix[rows, columns].T
    return matrix


def offsets(items: Sequence[Encoded]) -> list[int]:
    """Where each term's coefficients start, and the total at the end."""
    starts = [0]
    for item in items:
        starts.append(starts[-1] + item.size)
    return starts
