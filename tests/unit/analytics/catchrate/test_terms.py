"""Terms: what they encode, their penalties, and their way through a document."""

import json
from dataclasses import asdict

import numpy as np
import pytest

from analytics.catchrate.basis import cyclic_basis, open_basis, row_products, sum_to_zero
from analytics.catchrate.spec import Factor, Line, Margin, Neighbours, Smooth
from analytics.catchrate.terms import (
    STIFF,
    Coded,
    Encoded,
    LearnedFactor,
    LearnedLine,
    LearnedMargin,
    LearnedSmooth,
    LearnedTerm,
    term_from_document,
)
from tests.unit.analytics.catchrate.dense import rows_of

SEASON = LearnedMargin(Margin("day", 6, 1.0, period=365.25), 1.0, 366.0, (1 / 6,) * 6)
DISTANCE = LearnedMargin(Margin("distance", 5, 0.5), 3.0, 14.0, (0.1, 0.3, 0.3, 0.2, 0.1))
PEG = LearnedFactor(Factor("peg", "peg", neighbours=Neighbours.BANK), ("1", "2", "3"), None, ((0, 1), (1, 2)))
MONTHS = LearnedFactor(
    Factor("bait_month", "bait_month", neighbours=Neighbours.MONTHS),
    tuple(f"corn/{month:02d}" for month in range(1, 13)),
    None,
    tuple((i, (i + 1) % 12) for i in range(12)),
)
TERMS: list[LearnedTerm] = [
    PEG,
    MONTHS,
    LearnedFactor(Factor("year", "year", 2.0, reference="latest"), ("2019", "2020"), "2021"),
    LearnedFactor(Factor("day", "day", nuisance=True, least_returns=3), ("a", "b"), None),
    LearnedLine(Line("depth", "depth", 1.5), 2.25),
    LearnedSmooth(Smooth("season", (SEASON.spec,)), (SEASON,), (0.7,)),
    LearnedSmooth(Smooth("both", (SEASON.spec, DISTANCE.spec), order=1), (SEASON, DISTANCE), (0.7, 1.9)),
]


@pytest.mark.parametrize("term", TERMS, ids=lambda term: term.name)
def test_a_document_brings_back_the_same_term(term: LearnedTerm) -> None:
    back = term_from_document(json.loads(json.dumps(asdict(term))))
    assert back == term
    assert hash(back) == hash(term)


@pytest.mark.parametrize("term", TERMS, ids=lambda term: term.name)
def test_names_and_penalties_fit_the_columns(term: LearnedTerm) -> None:
    assert len(term.coefficient_names) == term.size
    penalties = term.penalties()
    assert len(penalties) == len(term.penalty_names)
    for penalty in penalties:
        full = np.diag(penalty) if penalty.ndim == 1 else penalty
        assert full.shape == (term.size, term.size)
        assert np.linalg.eigvalsh(full).min() > -1e-12


def test_a_factor_encodes_levels_the_unrecorded_and_the_unseen() -> None:
    year = TERMS[2]
    words = np.array(["2020", None, "2021", "1999", "2019"], dtype=object)
    found = year.encode({"year": words})
    np.testing.assert_array_equal(found.codes, [1, -1, -1, -1, 0])
    np.testing.assert_array_equal(found.unseen, [False, False, False, True, False])
    np.testing.assert_array_equal(found.absent, [False, True, False, False, False])


def test_words_and_codes_are_encoded_alike() -> None:
    words = np.array(["2", None, "1", "9"], dtype=object)
    column = Coded(np.array([1, -1, 0, 2], dtype=np.int32), ("1", "2", "9"))
    np.testing.assert_array_equal(PEG.encode({"peg": words}).codes, PEG.encode({"peg": column}).codes)


def test_a_pegs_two_penalties_are_of_its_own_and_of_its_neighbours() -> None:
    own, along = PEG.penalties()
    effects = np.array([0.3, -0.2, 0.5])
    assert np.sum(own * effects**2) == pytest.approx(np.sum(effects**2))
    assert effects @ along @ effects == pytest.approx(0.5**2 + 0.7**2)


def test_the_months_of_a_bait_are_held_to_sum_to_nothing() -> None:
    known = MONTHS.known_precision()
    effects = np.linspace(-1, 2, 12)
    assert effects @ known @ effects == pytest.approx(STIFF * 12 * effects.mean() ** 2)
    (around,) = MONTHS.penalties()
    np.testing.assert_allclose(around @ np.ones(12), 0, atol=1e-12)


def test_a_fixed_prior_is_known_and_nothing_is_estimated() -> None:
    assert (TERMS[2].penalty_names, TERMS[2].known_precision()) == ((), 0.25)
    flat = LearnedFactor(Factor("a", "a", prior_sd=np.inf), ("x",), None)
    assert flat.known_precision() == 0.0
    assert TERMS[4].known_precision() == pytest.approx(1 / 1.5**2)


def test_a_line_is_the_value_less_its_mean_and_nothing_where_not_recorded() -> None:
    found = TERMS[4].encode({"depth": np.array([1.0, np.nan, 4.0, 1.0])})
    np.testing.assert_allclose(rows_of(found)[:, 0], [-1.25, 0.0, 1.75, -1.25])


def test_a_curve_is_its_centred_basis_at_the_rounded_value() -> None:
    days = np.array([3.2, 180.0, np.nan, 365.9])
    found = rows_of(TERMS[5].encode({"day": days}))
    basis = cyclic_basis(np.array([3.0, 180.0, 366.0]), 365.25, 6) - 1 / 6
    np.testing.assert_allclose(found[[0, 1, 3]], basis @ sum_to_zero(6), atol=1e-12)
    assert not found[2].any()


def test_a_surface_is_the_product_of_its_margins() -> None:
    features = {"day": np.array([3.0, 180.0, 7.0]), "distance": np.array([5.2, 40.0, np.nan])}
    found = rows_of(TERMS[6].encode(features))
    season = (cyclic_basis(np.array([3.0, 180.0]), 365.25, 6) - 1 / 6) @ sum_to_zero(6)
    distance = (open_basis(np.array([5.0, 14.0]), 3.0, 14.0, 5) - np.array(DISTANCE.centre)) @ sum_to_zero(5)
    np.testing.assert_allclose(found[:2], row_products(season, distance), atol=1e-12)
    assert not found[2].any()


def test_a_surface_over_a_wide_sparse_grid_is_the_same() -> None:
    wide = {"day": np.array([1.0, 366.0]), "distance": np.array([3.0, 90_000.0])}
    near = {"day": np.array([1.0, 366.0]), "distance": np.array([3.0, 14.0])}
    np.testing.assert_allclose(*(rows_of(TERMS[6].encode(features)) for features in (wide, near)))


def test_penalties_are_scaled_as_learned() -> None:
    plain = LearnedSmooth(TERMS[6].spec, TERMS[6].margins)
    for scaled, own, scale in zip(TERMS[6].penalties(), plain.penalties(), (0.7, 1.9), strict=True):
        np.testing.assert_allclose(scaled, scale * own)


def test_spreading_takes_vectors_and_matrices_and_some_rows() -> None:
    item = Encoded(np.array([1, -1, 0], dtype=np.int32), np.array([[1.0, 2.0], [3.0, 4.0]]), 2)
    values = np.array([10.0, 1.0])
    np.testing.assert_array_equal(item.spread(values), [34.0, 0.0, 12.0])
    np.testing.assert_array_equal(item.spread(np.stack([values, -values], axis=1))[:, 1], [-34.0, 0.0, -12.0])
    np.testing.assert_array_equal(item.at(np.array([2, 1])).spread(values), [12.0, 0.0])
    assert item.rows() == 2
