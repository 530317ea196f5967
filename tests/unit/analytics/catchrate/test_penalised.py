"""Penalised terms: their determinants and eigenvalues against dense linear algebra."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.random import default_rng

from analytics.catchrate.penalised import Penalised, Penalties
from analytics.catchrate.penalties import neighbour_penalty
from tests.unit.analytics.catchrate.dense import log_pseudo_determinant, slope_of


def laplacian(levels: int, *breaks: int) -> np.ndarray:
    return neighbour_penalty(levels, [(i, i + 1) for i in range(levels - 1) if i not in breaks])


@pytest.mark.parametrize(
    ("penalties", "known"),
    [
        ((np.ones(5),), 0.0),
        ((np.ones(5),), 0.3),
        ((laplacian(5),), 0.0),
        ((np.eye(5), laplacian(5, 2)), 0.0),
        ((laplacian(6, 2),), np.kron(np.eye(2), np.ones((3, 3)))),
        ((np.kron(laplacian(3), np.eye(2)), np.kron(np.eye(3), np.diag([1.0, 4.0]))), 0.0),
    ],
)
def test_log_determinants_are_sums_over_common_eigenvalues(
    penalties: tuple[np.ndarray, ...], known: float | np.ndarray
) -> None:
    term = Penalised(slice(0, len(penalties[0])), penalties, known)
    rho = np.array([0.4, -1.1])[: len(penalties)]

    def dense(at: np.ndarray) -> float:
        precision = term.precision(at)
        return log_pseudo_determinant(np.diag(precision) if precision.ndim == 1 else precision)

    value, gradient, hessian = term.log_determinant(rho)
    assert value == pytest.approx(dense(rho))
    np.testing.assert_allclose(gradient, slope_of(dense, rho), atol=1e-9)
    numerical = slope_of(lambda at: slope_of(dense, at), rho)
    np.testing.assert_allclose(hessian, numerical, atol=1e-6)


@pytest.mark.parametrize("breaks", [(), (40, 90, 91)])
def test_eigenvalues_along_a_bank_are_those_of_the_whole_matrix(breaks: tuple[int, ...]) -> None:
    size = 130
    order = default_rng(8).permutation(size)
    penalty = np.zeros((size, size))
    for left, right in pairwise(order):
        if left not in breaks:
            penalty[[left, right], [left, right]] += 1.0
            penalty[[left, right], [right, left]] -= 1.0
    found = np.sort(Penalised(slice(0, size), (penalty,)).eigenvalues[0])
    np.testing.assert_allclose(found, np.linalg.eigvalsh(penalty), atol=1e-12)
    assert Penalties([Penalised(slice(0, size), (penalty,))], size, 0).ranks == size - 1 - len(breaks)


def test_a_ring_is_no_line_and_has_its_own_eigenvalues() -> None:
    size = 120
    ring = 2.0 * np.eye(size) - np.roll(np.eye(size), 1, axis=0) - np.roll(np.eye(size), -1, axis=0)
    found = np.sort(Penalised(slice(0, size), (ring,)).eigenvalues[0])
    np.testing.assert_allclose(
        found, np.sort(2.0 - 2.0 * np.cos(2.0 * np.pi * np.arange(size) / size)), atol=1e-9
    )
