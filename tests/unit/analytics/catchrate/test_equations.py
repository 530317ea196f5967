"""Codes and count tables against the dense rows that they stand for."""

import numpy as np
import pytest
from numpy.random import default_rng
from scipy import sparse

from analytics.catchrate import threads
from analytics.catchrate.equations import Equations, Mixture, intercept, two_way, weighted_counts
from analytics.catchrate.terms import Encoded
from tests.unit.analytics.catchrate.dense import averaged_rows, random_term, rows_of

ROWS = 400
SINGLES = 250


def terms_of(rows: int) -> list[Encoded]:
    """An intercept, factors and curves, some small enough to share a pack and some too large."""
    return [
        intercept(rows),
        random_term(1, rows, 7),
        random_term(2, rows, 30, 4),
        random_term(3, rows, 3),
        random_term(4, rows, 90),
        random_term(5, rows, 60, 5),
    ]


def in_parts() -> np.ndarray:
    """The session of each row: 250 sessions of one part, then sessions of two and of three."""
    several = np.repeat(np.arange(SINGLES, SINGLES + 60), [2, 3] * 30)
    return np.concatenate([np.arange(SINGLES), several])


@pytest.fixture(params=["one part each", "several parts"])
def session(request: pytest.FixtureRequest) -> np.ndarray | None:
    return None if request.param == "one part each" else in_parts()


@pytest.fixture(params=["nothing eliminated", "a factor eliminated"])
def eliminated(request: pytest.FixtureRequest) -> Encoded | None:
    """A factor of the session: all its parts have one level, or none."""
    if request.param == "nothing eliminated":
        return None
    codes = random_term(6, ROWS, 40).codes
    return Encoded(codes[in_parts()], None, 40)


@pytest.fixture
def made(session: np.ndarray | None, eliminated: Encoded | None) -> "Made":
    return Made(session, eliminated)


class Made:
    """Equations and the dense rows beside them, the eliminated factor's columns last."""

    def __init__(self, session: np.ndarray | None, eliminated: Encoded | None) -> None:
        terms = terms_of(ROWS)
        self.equations = Equations(terms, eliminated, session)
        parts = [rows_of(term) for term in terms] + ([] if eliminated is None else [rows_of(eliminated)])
        self.design = np.hstack(parts)
        rng = default_rng(8)
        self.coefficients = rng.normal(0, 0.4, self.equations.size)
        self.effects = rng.normal(0, 0.4, self.equations.eliminated_size)
        every = np.concatenate([self.coefficients, self.effects])
        self.eta = rng.normal(0, 0.3, ROWS) + self.design @ every
        self.mixture = self.equations.mixed(self.eta)
        self.rows = self.design if session is None else averaged_rows(self.design, self.eta, session)
        self.weights = rng.uniform(-0.5, 3.0, len(self.rows))


def test_a_code_of_minus_one_contributes_nothing() -> None:
    item = random_term(1, ROWS, 7)
    assert (item.codes == -1).any()
    only = Equations([item])
    assert not only.predictor(np.ones(7), np.zeros(0))[item.codes == -1].any()


def test_small_terms_share_a_code_and_large_ones_keep_their_own() -> None:
    packs = Equations(terms_of(ROWS)).packs
    assert 1 < len(packs) < 6
    columns = np.concatenate([pack.columns for pack in packs])
    assert sorted(columns) == list(range(1 + 7 + 4 + 3 + 90 + 5))


def test_the_predictor_is_x_times_the_coefficients_row_by_row(made: Made) -> None:
    every = np.concatenate([made.coefficients, made.effects])
    found = made.equations.predictor(made.coefficients, made.effects)
    np.testing.assert_allclose(found, made.design @ every, atol=1e-12)


def test_a_sessions_mean_is_the_sum_of_its_parts_means(made: Made, session: np.ndarray | None) -> None:
    total = np.exp(made.equations.total_eta(made.eta))
    expected = np.exp(made.eta) if session is None else np.bincount(session, np.exp(made.eta))
    np.testing.assert_allclose(total, expected, rtol=1e-12)


def test_totals_are_the_transposed_rows_times_the_weights(made: Made) -> None:
    found = np.concatenate(made.equations.totals(made.weights, made.mixture))
    np.testing.assert_allclose(found, made.rows.T @ made.weights, atol=1e-11)


def test_the_gram_matrix_is_the_weighted_product_of_the_rows(made: Made) -> None:
    matrix, across, own = made.equations.gram(made.weights, made.mixture)
    dense = made.rows.T @ (made.weights[:, None] * made.rows)
    size = made.equations.size
    np.testing.assert_allclose(matrix, dense[:size, :size], atol=1e-11)
    np.testing.assert_allclose(across, dense[:size, size:], atol=1e-11)
    np.testing.assert_allclose(own, np.diag(dense)[size:], atol=1e-11)
    if made.equations.eliminated_size:
        assert not np.any(dense[size:, size:] - np.diag(np.diag(dense)[size:]))


def test_a_direction_is_averaged_over_the_parts_of_a_session(made: Made) -> None:
    found = made.equations.along(made.coefficients, made.effects, made.mixture)
    every = np.concatenate([made.coefficients, made.effects])
    np.testing.assert_allclose(found, made.rows @ every, atol=1e-12)


@pytest.mark.parametrize("step", [1, 7])
def test_leverages_are_the_quadratic_forms_of_the_rows(made: Made, step: int) -> None:
    size = made.rows.shape[1]
    root = default_rng(2).normal(size=(size, size)) / size
    covariance = root @ root.T + np.eye(size)
    own = made.equations.size
    sample = np.arange(0, made.equations.sessions, step)
    # Between eliminated levels nothing is asked: a session has one of them.
    found = made.equations.leverages(
        covariance[:own, :own], covariance[:own, own:], np.diag(covariance)[own:], made.mixture, sample
    )
    expected = np.einsum("ij,jk,ik->i", made.rows, covariance, made.rows)
    np.testing.assert_allclose(found, expected[sample], rtol=1e-10)


def test_sessions_of_several_parts_alone_need_no_single_ones() -> None:
    session = np.repeat(np.arange(ROWS // 2), 2)
    terms = terms_of(ROWS)
    apart = Equations(terms, None, session)
    design = np.hstack([rows_of(term) for term in terms])
    eta = default_rng(3).normal(size=ROWS)
    rows, weights = averaged_rows(design, eta, session), default_rng(4).uniform(size=ROWS // 2)
    matrix, _, _ = apart.gram(weights, apart.mixed(eta))
    np.testing.assert_allclose(matrix, rows.T @ (weights[:, None] * rows), atol=1e-12)


def test_shares_hold_where_the_means_of_parts_are_far_apart() -> None:
    session, eta = np.array([0, 0, 1, 1]), np.array([800.0, 0.0, -800.0, -801.0])
    parts = sparse.csr_matrix(np.eye(4))
    mixture = Mixture.of(parts, session, eta)
    np.testing.assert_allclose(mixture.log_total, [800.0, -800 + np.log1p(np.exp(-1))])
    np.testing.assert_allclose(mixture.share, [1.0, 0.0, 1 / (1 + np.exp(-1)), 1 / (1 + np.exp(1))])


def test_counts_of_pairs_add_up_to_counts_of_either() -> None:
    rng = default_rng(6)
    left, right = rng.integers(0, 5, 1000).astype(np.int32), rng.integers(0, 7, 1000).astype(np.int32)
    weights = rng.normal(size=1000)
    pairs = two_way(left, right, weights, 5, 7)
    np.testing.assert_allclose(pairs.sum(axis=1), weighted_counts(left, weights, 5), atol=1e-12)
    np.testing.assert_allclose(pairs.sum(axis=0), weighted_counts(right, weights, 7), atol=1e-12)


def test_counting_on_two_threads_is_counting_on_one(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = default_rng(7)
    terms = [Encoded(rng.integers(-1, size, 500).astype(np.int32), None, size) for size in (150, 160, 3)]
    equations, weights = Equations(terms[:2], terms[2]), rng.random(500)
    effects = rng.random(310), rng.random(3)
    alone = *equations.gram(weights), equations.predictor(*effects)
    monkeypatch.setattr(threads, "ROWS_FOR_THREADS", 1)
    together = *equations.gram(weights), equations.predictor(*effects)
    for one, other in zip(alone, together, strict=True):
        np.testing.assert_array_equal(one, other)


def test_counts_of_nothing_are_numbers_still() -> None:
    assert weighted_counts(np.zeros(0, dtype=np.int32), np.zeros(0), 3).dtype == np.float64
