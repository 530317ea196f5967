"""Standardised catch rates: expectations on a stated reference, with their joint uncertainty, in NumPy alone.

A value is the mean of the expected catch rates of a grid of questions: those of its months, alike, and of
its waters, by weight. Its logarithm is taken as normal about the log of that mean, with the variance that
the joint covariance of the questions gives it by the delta method; so a ratio of two values has what both
share cancelled, and the chance that one is higher is the share of joint draws, were there endlessly many.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import NORMAL_75, NORMAL_95, Questions, expectation, joint_rows
from analytics.catchrate.terms import LearnedFactor

FloatArray = NDArray[np.float64]

YEAR_ROUND = tuple(range(1, 13))

#: Numbers of a stored index are written to so many digits.
_DIGITS = 10


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate between the ends of its 50 % and 90 % intervals."""

    estimate: float
    lower_50: float
    upper_50: float
    lower_90: float
    upper_90: float


@dataclass(frozen=True, slots=True)
class Ratio:
    """One value over another, and the chance that the one is the higher."""

    ratio: Interval
    chance_higher: float


@dataclass(frozen=True, slots=True)
class Cell:
    """A value to be standardised: over which waters, by weight, in which months, alike, and under what else.

    What is None stands at the fit's reference: a typical bait, the mean distance, each month's usual
    temperature, the reference year. Pegs are typical ones, and the angler is the club's average.
    """

    key: str
    waters: Mapping[str, float]
    months: tuple[int, ...] = YEAR_ROUND
    year: str | None = None
    hook_bait: str | None = None
    distance_m: float | None = None
    water_temperature_c: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Index:
    """Standardised values by key: log grams a rod-hour (n,), and their joint covariance (n, n)."""

    keys: tuple[str, ...]
    log_rate: FloatArray
    covariance: FloatArray

    def at(self, key: str) -> Interval | None:
        """The value under a key in grams a rod-hour; None where there is none."""
        if key not in self.keys:
            return None
        place = self.keys.index(key)
        return _interval(float(self.log_rate[place]), float(np.sqrt(self.covariance[place, place])))

    def ratio(self, key: str, other: str) -> Ratio | None:
        """The value under `key` over the one under `other`; None where one of them is missing."""
        if key not in self.keys or other not in self.keys:
            return None
        one, two = self.keys.index(key), self.keys.index(other)
        between = self.covariance
        variance = between[one, one] + between[two, two] - 2.0 * between[one, two]
        difference = float(self.log_rate[one] - self.log_rate[two])
        error = math.sqrt(max(float(variance), 0.0))
        return Ratio(_interval(difference, error), _chance_above_zero(difference, error))

    def to_document(self) -> dict[str, Any]:
        """JSON values: `keys`, `log_rate`, and `covariance` as its lower triangle row by row."""
        triangle = self.covariance[np.tril_indices(len(self.keys))]
        return {
            "keys": list(self.keys),
            "log_rate": _rounded(self.log_rate),
            "covariance": _rounded(triangle),
        }


def from_document(document: Mapping[str, Any]) -> Index:
    """The index that `Index.to_document` wrote."""
    size = len(document["keys"])
    lower = np.zeros((size, size))
    lower[np.tril_indices(size)] = document["covariance"]
    covariance = lower + lower.T - np.diag(np.diag(lower))
    return Index(tuple(document["keys"]), np.array(document["log_rate"], dtype=np.float64), covariance)


def index_of(estimates: Estimates, cells: Sequence[Cell]) -> Index:
    """The standardised catch rates of the cells, grams a rod-hour."""
    if not cells:
        return Index((), np.zeros(0), np.zeros((0, 0)))
    grid = [
        (place, cell, water, weight / len(cell.months), month)
        for place, cell in enumerate(cells)
        for water, weight in cell.waters.items()
        for month in cell.months
    ]
    questions = Questions(
        month=[month for *_, month in grid],
        water=[water for _, _, water, _, _ in grid],
        year=[cell.year for _, cell, *_ in grid],
        hook_bait=[cell.hook_bait for _, cell, *_ in grid],
        distance_m=[cell.distance_m for _, cell, *_ in grid],
        water_temperature_c=[cell.water_temperature_c for _, cell, *_ in grid],
        hours=1.0,
    )
    owner = np.array([place for place, *_ in grid])
    weights = np.array([weight for *_, weight, _ in grid])
    # All that a fit can have missed of these is a water in a year: one effect wherever the two meet.
    _, missed = np.unique([f"{water}/{cell.year}" for _, cell, water, _, _ in grid], return_inverse=True)
    keys = tuple(cell.key for cell in cells)
    return Index(keys, *_averaged(estimates, questions, owner, weights, missed))


def _averaged(
    estimates: Estimates,
    questions: Questions,
    owner: NDArray[np.int64],
    weights: FloatArray,
    missed: NDArray[np.int64],
) -> tuple[FloatArray, FloatArray]:
    """The logs of the questions' weighted means by `owner`, and their covariance; what the fit never saw is
    one effect where `missed` is one."""
    rows, unseen = joint_rows(estimates, questions)
    parts = weights * np.exp(expectation(estimates, questions).eta)
    means = np.bincount(owner, parts)
    shares = parts / means[owner]
    gradient = np.zeros((len(means), rows.shape[1]))
    np.add.at(gradient, owner, shares[:, None] * rows)
    covariance = gradient @ gradient.T
    if unseen.any():
        prior = np.zeros((len(means), int(missed.max()) + 1))
        np.add.at(prior, (owner, missed), shares * np.sqrt(unseen))
        covariance = covariance + prior @ prior.T
    return np.log(means / np.bincount(owner, weights)), covariance


def years_of(estimates: Estimates) -> tuple[str, ...]:
    """The years that the fit can speak of, in order."""
    return levels_of(estimates, "year") or (estimates.reference.year,)


def levels_of(estimates: Estimates, name: str) -> tuple[str, ...]:
    """The levels that a factor of the fit knows, its reference among them; none without such a term."""
    item = estimates.term(name)
    if item is None or not isinstance(item.term, LearnedFactor):
        return ()
    reference = () if item.term.reference is None else (item.term.reference,)
    return tuple(sorted({*item.term.levels, *reference}))


def _interval(log_value: float, error: float) -> Interval:
    lower_90, lower_50, middle, upper_50, upper_90 = (
        math.exp(log_value + reach * error) for reach in (-NORMAL_95, -NORMAL_75, 0.0, NORMAL_75, NORMAL_95)
    )
    return Interval(middle, lower_50, upper_50, lower_90, upper_90)


def _chance_above_zero(difference: float, error: float) -> float:
    if error == 0.0:
        return 0.5 if difference == 0.0 else float(difference > 0.0)
    return 0.5 * (1.0 + math.erf(difference / error / math.sqrt(2.0)))


def _rounded(values: FloatArray) -> list[float]:
    return [float(f"{value:.{_DIGITS}g}") for value in values.tolist()]
