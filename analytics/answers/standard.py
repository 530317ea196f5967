"""Standardised catch rates: expectations on a stated reference, with their joint uncertainty, in NumPy alone.

A value is the mean of the expected catch rates of a grid of questions: those of its months, alike, and of
its waters, by weight. Within a water and a month its log is averaged over the water's own pegs, alike, and
over the club's baits, as often as they were used (a marginal mean: Searle, Speed & Milliken 1980, The
American Statistician 34:216). The log of a value is taken as normal, with the variance that the joint
covariance of the questions gives it by the delta method; so a ratio of two values has what both share
cancelled, and the chance that one is higher is the share of joint draws, were there endlessly many.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import NORMAL_75, NORMAL_95, joint_rows, log_means
from analytics.catchrate.questions import Questions, ask
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
class Scope:
    """What a trend is of, and what it is averaged over.

    `waters` have weights that add up to one, `pegs` are those of each water, `baits` have weights that add
    up to one. `code` is the water's, or empty for the club.
    """

    code: str
    waters: Mapping[str, float]
    pegs: Mapping[str, tuple[str, ...]]
    baits: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Cell:
    """A value to be standardised: over which waters, by weight, in which months, alike, and under what else.

    What is None stands at the fit's reference: the mean distance, each month's usual temperature, the
    reference year; and the baits are averaged over. The angler is the club's average.
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


def index_of(estimates: Estimates, scope: Scope, cells: Sequence[Cell]) -> Index:
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
    asked = _over_pegs_and_baits(estimates, scope, questions)
    owner = np.array([place for place, *_ in grid])
    weights = np.array([weight for *_, weight, _ in grid])
    # All that a fit can have missed of these is a water in a year: one effect wherever the two meet.
    _, missed = np.unique([f"{water}/{cell.year}" for _, cell, water, _, _ in grid], return_inverse=True)
    keys = tuple(cell.key for cell in cells)
    return Index(keys, *_averaged(asked, owner, weights, missed))


@dataclass(frozen=True, slots=True, eq=False)
class _Logs:
    """Logs of expected catch rates (n,), rows (n, k) whose inner products are their joint covariance, and
    the variances (n,) that unseen levels add."""

    value: FloatArray
    rows: FloatArray
    unseen: FloatArray


def _logs(estimates: Estimates, questions: Questions) -> _Logs:
    asked = ask(estimates, questions)
    return _Logs(log_means(estimates, asked), *joint_rows(estimates, asked))


def _over_pegs_and_baits(estimates: Estimates, scope: Scope, questions: Questions) -> _Logs:
    """The questions' logs, averaged over the pegs of their water, and over the baits where none is named.

    Pegs and baits add to the log whatever else is asked, so their means are added to it.
    """
    found = _logs(estimates, questions)
    value, rows = found.value.copy(), found.rows.copy()
    water, bait = np.array(questions.water, dtype=object), np.array(questions.hook_bait, dtype=object)
    month = np.array(questions.month)
    pegs = [(code, peg, 1.0 / len(there)) for code, there in scope.pegs.items() for peg in there]
    for code, log, row in _means_of_pegs(estimates, pegs):
        at = water == code
        value[at] += log
        rows[at] += row
    unnamed = np.array([name is None for name in bait])
    for number, log, row in _means_of_baits(estimates, scope.baits, sorted(set(month[unnamed].tolist()))):
        at = unnamed & (month == number)
        value[at] += log
        rows[at] += row
    return _Logs(value, rows, found.unseen)


def _means_of_pegs(
    estimates: Estimates, pegs: Sequence[tuple[str, str, float]]
) -> Iterator[tuple[str, float, FloatArray]]:
    """By water what the mean peg adds to a log and to its row, of (water, peg, share)."""
    if not pegs:
        return
    # The first names no peg, and what is asked of the others beside the peg cancels.
    logs = _logs(estimates, Questions(1, peg=[None, *(peg for _, peg, _ in pegs)]))
    waters = np.array([water for water, *_ in pegs], dtype=object)
    shares = np.array([share for *_, share in pegs])
    for code in dict.fromkeys(waters.tolist()):
        of_water = np.where(waters == code, shares, 0.0)
        yield code, *_mean_added(logs, 0, np.arange(1, len(pegs) + 1), of_water)


def _means_of_baits(
    estimates: Estimates, baits: Mapping[str, float], months: Sequence[int]
) -> Iterator[tuple[int, float, FloatArray]]:
    """By month what the mean bait adds to a log and to its row."""
    if not baits:
        return
    size = len(baits) + 1
    named = [None, *baits] * len(months)
    logs = _logs(estimates, Questions(np.repeat(months, size).tolist(), hook_bait=named))
    shares = np.array(list(baits.values()))
    for place, month in enumerate(months):
        first = place * size
        yield month, *_mean_added(logs, first, np.arange(first + 1, first + size), shares)


def _mean_added(
    logs: _Logs, first: int, others: NDArray[np.int64], shares: FloatArray
) -> tuple[float, FloatArray]:
    """What the others add to the first, by their shares."""
    whole = shares.sum()
    log = float(shares @ logs.value[others] - whole * logs.value[first])
    return log, shares @ logs.rows[others] - whole * logs.rows[first]


def _averaged(
    logs: _Logs, owner: NDArray[np.int64], weights: FloatArray, missed: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """The logs of the questions' weighted means by `owner`, and their covariance; what the fit never saw is
    one effect where `missed` is one."""
    rows, unseen = logs.rows, logs.unseen
    parts = weights * np.exp(logs.value)
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
