"""Log expected weights row by row, for many rows, in NumPy alone.

A row names levels or leaves them out. A level of a random effect that is absent, or that the fit never
met, stands at zero; its variance before the data is in the standard error, and half of it in the expected
weight, which is so averaged over the levels that the row might have had. A match day is absent only from
a match. Fixed effects (session kind, wind, year) stand at the fit's reference where they are absent or
unseen, and add nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import Estimates, TermEstimate
from analytics.catchrate.spec import MATCH
from analytics.catchrate.terms import Coded, Encoded, Features, LearnedFactor

#: Rows at a time, to bound memory.
CHUNK = 1 << 16


@dataclass(frozen=True, slots=True, eq=False)
class RowPredictions:
    """By row, (n,): log grams at the given levels, its standard error, and the expected weight in grams."""

    eta: FloatArray
    eta_se: FloatArray
    expected_g: FloatArray


def predict_rows(estimates: Estimates, features: Features, hours: FloatArray) -> RowPredictions:
    """Predictions of n rows from their features (`returns.features_of`) and rod-hours (n,).

    A row without hours above zero gets NaN.

    :raises KeyError: a feature of the fit's terms is missing.
    """
    hours = np.where(hours > 0, hours, np.nan)
    eta = estimates.intercept + np.log(hours)
    unknown = np.zeros(len(hours))
    matches = _matches(features)
    known: list[tuple[TermEstimate, Encoded]] = []
    for item in estimates.terms:
        encoded = item.term.encode(features)
        if item.start is None:
            # Outside the joint covariance no level has a standard error that agrees with the others'.
            encoded = Encoded(np.full_like(encoded.codes, -1), None, encoded.size)
        else:
            known.append((item, encoded))
        eta += encoded.spread(np.asarray(item.estimates))
        if _is_random(item):
            could_be = matches if item.name == "match_day" else True
            unknown += np.where((encoded.codes < 0) & could_be, item.prior_sd**2, 0.0)
    variance = _variances(estimates.covariance_factor, known, len(hours)) + unknown
    return RowPredictions(
        eta=eta,
        eta_se=np.where(np.isnan(eta), np.nan, np.sqrt(variance)),
        expected_g=np.exp(eta + unknown / 2.0),
    )


def _matches(features: Features) -> NDArray[np.bool_]:
    """Which rows are of a match, (n,)."""
    kind = features["session_kind"]
    words = kind.words() if isinstance(kind, Coded) else kind
    return np.asarray(words == MATCH)


def _is_random(item: TermEstimate) -> bool:
    return isinstance(item.term, LearnedFactor) and item.term.spec.prior_sd is None


def _variances(factor: FloatArray, known: Sequence[tuple[TermEstimate, Encoded]], rows: int) -> FloatArray:
    """x'FF'x, (rows,), x a row of the design.

    It is a sum over pairs of terms of what two codes have between them, so that no row of the covariance
    is ever copied for each row of the design.
    """
    covariance = factor @ factor.T
    intercept = (slice(0, 1), Encoded(np.zeros(rows, dtype=np.int32), np.ones((1, 1)), 1))
    terms = [intercept]
    for item, encoded in known:
        assert item.start is not None  # noqa: S101 - terms in the joint covariance
        terms.append((slice(item.start, item.start + encoded.size), encoded))
    variance = np.zeros(rows)
    for place, (left, left_codes) in enumerate(terms):
        for right, right_codes in terms[place:]:
            table = _unfolded(left_codes, _unfolded(right_codes, covariance[left, right].T).T)
            twice = 1.0 if left == right else 2.0
            for start in range(0, rows, CHUNK):
                chunk = slice(start, start + CHUNK)
                variance[chunk] += twice * table[left_codes.codes[chunk], right_codes.codes[chunk]]
    # What cancels to nothing may leave a trace below zero.
    return np.maximum(variance, 0.0)


def _unfolded(encoded: Encoded, by_coefficient: FloatArray) -> FloatArray:
    """(k, j) by coefficient to (table rows + 1, j): code -1 reaches the row of zeros at the end."""
    by_row = by_coefficient if encoded.table is None else encoded.table @ by_coefficient
    return np.concatenate([by_row, np.zeros((1, by_row.shape[1]))])
