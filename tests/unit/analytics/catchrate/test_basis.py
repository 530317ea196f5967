import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import BSpline

from analytics.catchrate.basis import cyclic_basis, open_basis, round_to, row_products, sum_to_zero


@pytest.mark.parametrize("size", [4, 5, 10])
def test_the_open_basis_is_scipys_b_splines_on_equal_knots(size: int) -> None:
    lower, upper = 3.0, 17.0
    step = (upper - lower) / (size - 3)
    knots = lower + step * np.arange(-3, size + 1)
    values = np.linspace(lower, upper, 57)[:-1]
    expected = BSpline.design_matrix(values, knots, 3).toarray()
    np.testing.assert_allclose(open_basis(values, lower, upper, size), expected, atol=1e-12)


@given(st.floats(-500, 500), st.integers(4, 14))
def test_the_bases_sum_to_one_everywhere(value: float, size: int) -> None:
    values = np.array([value])
    assert open_basis(values, -20.0, 30.0, size).sum() == pytest.approx(1)
    assert cyclic_basis(values, 365.25, size).sum() == pytest.approx(1)


def test_the_season_joins_at_the_turn_of_the_year() -> None:
    before, after = (cyclic_basis(np.array([value]), 365.25, 12) for value in (365.25 - 1e-9, 1e-9))
    np.testing.assert_allclose(before, after, atol=1e-9)


def test_beyond_the_span_the_open_basis_is_flat() -> None:
    rows = open_basis(np.array([17.0, 60.0, 150.0]), 3.0, 17.0, 8)
    np.testing.assert_array_equal(rows[1:], rows[[0, 0]])


def test_row_products_are_kronecker_products_of_the_rows() -> None:
    left, right = np.arange(6.0).reshape(2, 3), np.arange(4.0).reshape(2, 2) + 1
    expected = [np.kron(left[row], right[row]) for row in range(2)]
    np.testing.assert_array_equal(row_products(left, right), expected)
    assert row_products(left[:0], right[:0]).shape == (0, 6)


def test_values_are_rounded_to_the_resolution() -> None:
    np.testing.assert_allclose(round_to(np.array([11.58, 11.2]), 0.5), [11.5, 11.0])


@pytest.mark.parametrize("size", [2, 5, 12])
def test_contrasts_are_orthonormal_and_sum_to_nothing(size: int) -> None:
    contrasts = sum_to_zero(size)
    np.testing.assert_allclose(contrasts.T @ contrasts, np.eye(size - 1), atol=1e-14)
    np.testing.assert_allclose(np.ones(size) @ contrasts, 0, atol=1e-14)
