"""Elimination and Cholesky against plain inverses."""

import numpy as np
import pytest
from numpy.random import default_rng
from scipy.linalg import LinAlgError

from analytics.catchrate import system as module
from analytics.catchrate.system import System

TERMS = 12


@pytest.fixture(params=[0, 30], ids=["nothing eliminated", "thirty levels eliminated"])
def levels(request: pytest.FixtureRequest) -> int:
    return request.param


@pytest.fixture
def full(levels: int) -> np.ndarray:
    """A penalised system whose last block is diagonal."""
    rng = default_rng(3)
    rows = np.hstack([rng.normal(size=(400, TERMS)), np.eye(30)[rng.integers(0, 30, 400)]])
    rows, size = rows[:, : TERMS + levels], TERMS + levels
    return rows.T @ (rng.uniform(0.2, 2, 400)[:, None] * rows) + np.diag(rng.uniform(0.1, 2, size))


@pytest.fixture
def system(full: np.ndarray) -> System:
    """The same in parts, half of the diagonal given as the penalty's."""
    own = np.diag(full)[TERMS:]
    precision = np.eye(TERMS) * 0.05
    return System.of(
        full[:TERMS, :TERMS] - precision, full[:TERMS, TERMS:].copy(), own / 2, precision, own / 2
    )


def test_solving_in_parts_is_solving_at_once(full: np.ndarray, system: System) -> None:
    right = default_rng(1).normal(size=(len(full), 3))
    expected = np.linalg.solve(full, right)
    terms, own = system.solve(right[:TERMS], right[TERMS:])
    np.testing.assert_allclose(np.concatenate([terms, own]), expected, atol=1e-12)
    terms, own = system.solve(right[:TERMS, 0], right[TERMS:, 0])
    np.testing.assert_allclose(np.concatenate([terms, own]), expected[:, 0], atol=1e-12)


def test_the_log_determinant_is_that_of_the_whole(full: np.ndarray, system: System) -> None:
    assert system.log_determinant() == pytest.approx(np.linalg.slogdet(full)[1], rel=1e-12)


def test_the_covariance_is_the_inverse_of_the_whole(full: np.ndarray, system: System) -> None:
    inverse = np.linalg.inv(full)
    found = system.covariance()
    np.testing.assert_allclose(found.matrix, inverse[:TERMS, :TERMS], atol=1e-13)
    np.testing.assert_allclose(found.across, inverse[:TERMS, TERMS:], atol=1e-13)
    np.testing.assert_allclose(found.variance, np.diag(inverse)[TERMS:], atol=1e-13)
    np.testing.assert_allclose(found.levels(), inverse[TERMS:, TERMS:], atol=1e-13)


def test_squares_between_levels_are_summed_and_from_some_of_them_estimated(
    full: np.ndarray, system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    squares = np.sum(np.linalg.inv(full)[TERMS:, TERMS:] ** 2)
    covariance = system.covariance()
    if not len(covariance.variance):
        assert squares == 0
        return
    assert covariance.between_levels_squared() == pytest.approx(squares, rel=1e-12)
    monkeypatch.setattr(module, "SAMPLED_LEVELS", 10)
    assert covariance.between_levels_squared() == pytest.approx(squares, rel=0.1)


def test_a_system_that_is_not_positive_definite_is_refused() -> None:
    with pytest.raises(LinAlgError):
        System.of(np.diag([1.0, -1.0]), np.zeros((2, 0)), np.zeros(0), np.zeros((2, 2)), np.zeros(0))


def parts(full: np.ndarray, levels: int) -> tuple[np.ndarray, ...]:
    own = np.diag(full)[TERMS:]
    none = np.zeros((TERMS, TERMS)), np.zeros(levels)
    return full[:TERMS, :TERMS], full[:TERMS, TERMS:].copy(), own, *none


def test_seven_digits_do_where_they_are_asked_for(
    full: np.ndarray, levels: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "LARGE", TERMS)
    right = default_rng(1).normal(size=len(full))
    fine, coarse = (System.of(*parts(full, levels), coarse=rough) for rough in (False, True))
    assert coarse.factor.dtype == np.float32 and fine.factor.dtype == np.float64
    for exact, near in zip(
        fine.solve(right[:TERMS], right[TERMS:]), coarse.solve(right[:TERMS], right[TERMS:]), strict=True
    ):
        np.testing.assert_allclose(near, exact, rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(coarse.covariance().matrix, fine.covariance().matrix, rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(coarse.covariance().variance, fine.covariance().variance, rtol=1e-4)


def test_a_system_that_seven_digits_cannot_bear_gets_them_all(
    full: np.ndarray, levels: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "LARGE", TERMS)
    direction = np.zeros(len(full))
    direction[:2] = 1.0
    steep = full + 1e10 * np.outer(direction, direction)
    assert System.of(*parts(steep, levels), coarse=True).factor.dtype == np.float64


def test_a_small_system_is_never_rough(full: np.ndarray, levels: int) -> None:
    assert System.of(*parts(full, levels), coarse=True).factor.dtype == np.float64
