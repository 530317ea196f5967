"""The count tables against the dense products that they stand for."""

import numpy as np
from numpy.random import default_rng

from analytics.catchrate.equations import cross_product, gram, intercept, totals
from analytics.catchrate.terms import Encoded

ROWS = 200


def random_term(seed: int, levels: int, size: int | None) -> Encoded:
    rng = default_rng(seed)
    table = None if size is None else rng.normal(size=(levels, size))
    codes = rng.integers(-1, levels, ROWS)
    return Encoded(codes, table, size or levels, np.zeros(ROWS, dtype=np.int64))


def dense(item: Encoded) -> np.ndarray:
    return item.spread(np.eye(item.size))


TERMS = [intercept(ROWS), random_term(1, 7, None), random_term(2, 30, 4), random_term(3, 5, None)]
WEIGHTS = default_rng(9).uniform(0.1, 3.0, ROWS)


def test_a_code_of_minus_one_contributes_nothing() -> None:
    item = TERMS[1]
    assert (item.codes == -1).any()
    assert not dense(item)[item.codes == -1].any()


def test_totals_are_the_transposed_design_times_the_weights() -> None:
    for item in TERMS:
        np.testing.assert_allclose(totals(item, WEIGHTS), dense(item).T @ WEIGHTS, atol=1e-12)


def test_cross_products_are_the_weighted_products_of_the_designs() -> None:
    for left in TERMS:
        for right in TERMS:
            expected = dense(left).T @ (WEIGHTS[:, None] * dense(right))
            np.testing.assert_allclose(cross_product(left, right, WEIGHTS), expected, atol=1e-12)


def test_the_gram_matrix_is_that_of_the_terms_side_by_side() -> None:
    design = np.hstack([dense(item) for item in TERMS])
    np.testing.assert_allclose(gram(TERMS, WEIGHTS), design.T @ (WEIGHTS[:, None] * design), atol=1e-12)
