"""Answers from estimates, in NumPy alone: expectations, multipliers, joint draws.

Expected weight is the mean under the model at the stated hours, averaged over the club's anglers (unless
an angler is named) and, in a match, over match days: exp(eta) times the exponential of half of those
variances. The anglers are the club's own, whose mean is known better than that of anglers as such. A
pleasure session has no match day, so no such half. A level that the fit never saw takes the prior: zero
effect, with that factor's variance in the interval.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray, ObjectArray
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.features import bait_month, mid_month, water_year, wind_class
from analytics.catchrate.spec import MATCH, RECORDED
from analytics.catchrate.terms import Encoded, LearnedFactor

#: The standard normal quantile that leaves 5 % on either side: intervals are 90 %.
NORMAL_95 = 1.6448536269514722
INTERVAL = 0.90

#: A question is never 'not recorded' and names no match day: these factors are 1, no driver of any answer.
MISSING_INDICATORS = ("distance_missing", "water_temperature_missing")
NO_DRIVERS = (*MISSING_INDICATORS, "match_day")

Words = Sequence[str | None] | str | None
Numbers = Sequence[float | None] | NDArray[Any] | float | None


@dataclass(frozen=True, slots=True)
class Questions:
    """Conditions to be asked about: each a single value for all, or one value a question.

    None means not asked: a typical water, peg, bait or rig (effect zero), the mean distance, and for wind,
    session kind, year, hours and water temperature the reference that the estimates state. `month` runs
    from 1 to 12; `day_of_year` defaults to the middle of the month. Naming an angler asks for their own
    expectation instead of the club's average.
    """

    month: Sequence[int] | int
    water: Words = None
    peg: Words = None
    hook_bait: Words = None
    rig_type: Words = None
    angler: Words = None
    session_kind: Words = None
    year: Words = None
    distance_m: Numbers = None
    wind_force: Numbers = None
    water_temperature_c: Numbers = None
    hours: Numbers = None
    day_of_year: Numbers = None

    def __len__(self) -> int:
        lengths = {len(value) for value in self._values() if _is_column(value)}
        if len(lengths) > 1:
            raise ValueError("questions differ in length")
        return lengths.pop() if lengths else 1

    def _values(self) -> list[Any]:
        return [getattr(self, name) for name in self.__slots__]

    def words(self, name: str) -> ObjectArray:
        """The named condition, (n,), None where it was not asked."""
        value = getattr(self, name)
        column = np.empty(len(self), dtype=object)
        column[:] = list(value) if _is_column(value) else value
        return column

    def numbers(self, name: str) -> FloatArray:
        """The named condition, (n,), NaN where it was not asked."""
        return np.array([np.nan if value is None else value for value in self.words(name)], dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """Expected weights, (n,) each, with a 90 % interval for the expectation (not for one session).

    `base_g_per_hour * hours * product of multipliers == mean_g`. `eta` is log mean_g and `eta_se` its
    standard error. `unseen` names, by factor, the questions whose level the fit never saw.
    """

    mean_g: FloatArray
    lower_g: FloatArray
    upper_g: FloatArray
    eta: FloatArray
    eta_se: FloatArray
    base_g_per_hour: float
    hours: FloatArray
    multipliers: Mapping[str, FloatArray]
    unseen: Mapping[str, NDArray[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class _Encoding:
    """The questions as codes, by term, with effort and the averaging over people and days."""

    terms: Mapping[str, Encoded]
    hours: FloatArray
    log_averaging: FloatArray
    features: Mapping[str, ObjectArray]


def expectation(estimates: Estimates, questions: Questions) -> Expected:
    """Expected weight in grams for each question, with its interval and its multipliers."""
    encoding = _encode(estimates, questions)
    contributions = _contributions(estimates, encoding)
    averaging = encoding.log_averaging
    eta = estimates.intercept + np.log(encoding.hours) + sum(contributions.values()) + averaging
    projection = _projection(estimates, encoding)
    variance = np.einsum("ij,ij->i", projection, projection) + _unseen_variance(estimates, encoding)
    eta_se = np.sqrt(variance)
    multipliers = {name: np.exp(value) for name, value in contributions.items() if name not in NO_DRIVERS}
    return Expected(
        mean_g=np.exp(eta),
        lower_g=np.exp(eta - NORMAL_95 * eta_se),
        upper_g=np.exp(eta + NORMAL_95 * eta_se),
        eta=eta,
        eta_se=eta_se,
        base_g_per_hour=float(np.exp(estimates.intercept)),
        hours=encoding.hours,
        multipliers=multipliers | {"averaging": np.exp(averaging)},
        unseen={
            name: item.unseen
            for name, item in encoding.terms.items()
            if item.unseen is not None and item.unseen.any()
        },
    )


def joint_rows(estimates: Estimates, questions: Questions) -> tuple[FloatArray, FloatArray]:
    """Rows (n, k) whose inner products are the joint covariance of the questions' log means, and the
    variances (n,) that unseen levels add to each."""
    encoding = _encode(estimates, questions)
    return _projection(estimates, encoding), _unseen_variance(estimates, encoding)


def log_mean_draws(estimates: Estimates, questions: Questions, draws: int, seed: int) -> FloatArray:
    """Joint draws, (n, draws), of the log expected weight of each question.

    Questions that share an unseen level share its draw, so that it cancels from their differences.
    """
    encoding = _encode(estimates, questions)
    noise = _noise(estimates, draws, seed)
    eta = expectation(estimates, questions).eta
    values = eta[:, None] + _projection(estimates, encoding) @ noise.T
    generator = np.random.default_rng([seed, 1])
    for item in estimates.terms:
        coded = encoding.terms.get(item.name)
        if coded is not None and _any(coded.unseen) and isinstance(item.term, LearnedFactor):
            asked = np.array([str(value) for value in encoding.features[item.term.spec.feature]])
            distinct, inverse = np.unique(asked, return_inverse=True)
            effects = generator.standard_normal((len(distinct), draws)) * item.prior_sd
            values[coded.unseen] += effects[inverse][coded.unseen]
    return values


def chance_best(estimates: Estimates, questions: Questions, draws: int = 1000, seed: int = 1) -> FloatArray:
    """The share of joint draws, (n,), in which each question has the highest expected weight."""
    winners = np.argmax(log_mean_draws(estimates, questions, draws, seed), axis=0)
    return np.bincount(winners, minlength=len(questions)) / draws


def _any(flags: NDArray[np.bool_] | None) -> bool:
    return flags is not None and bool(flags.any())


def _is_column(value: Any) -> bool:
    return isinstance(value, np.ndarray) or (isinstance(value, Sequence) and not isinstance(value, str))


def _encode(estimates: Estimates, questions: Questions) -> _Encoding:
    features = _features(estimates, questions)
    terms = {item.name: item.term.encode(features) for item in estimates.terms if item.start is not None}
    hours = questions.numbers("hours")
    hours = np.where(np.isnan(hours), estimates.reference.hours, hours)
    if not (hours > 0).all():
        raise ValueError("hours must be above zero")
    return _Encoding(terms, hours, _log_averaging(estimates, features), features)


def _features(estimates: Estimates, questions: Questions) -> dict[str, ObjectArray]:
    """The features of each question, with the reference wherever nothing was asked."""
    names = ("water", "peg", "angler", "hook_bait", "rig_type", "session_kind", "year")
    features = {name: questions.words(name) for name in names}
    reference = estimates.reference
    for name in ("session_kind", "year"):
        features[name] = _filled(features[name], getattr(reference, name))
    month = questions.numbers("month").astype(np.int64)
    pairs = zip(features["hook_bait"], month, strict=True)
    features["hook_bait_month"] = _objects([bait_month(bait, number) for bait, number in pairs])
    years = zip(features["water"], features["year"], strict=True)
    features["water_year"] = _objects([water_year(water, year) for water, year in years])
    force = questions.numbers("wind_force")
    features["wind"] = _objects([reference.wind if np.isnan(item) else wind_class(item) for item in force])
    day = questions.numbers("day_of_year")
    features["day_of_year"] = np.where(np.isnan(day), mid_month(month), day)
    features["distance_m"] = questions.numbers("distance_m")
    temperature = questions.numbers("water_temperature_c")
    usual = np.array(reference.water_temperature_by_month, dtype=np.float64)[month - 1]
    features["water_temperature_c"] = np.where(np.isnan(temperature), usual, temperature)
    for name in MISSING_INDICATORS:
        features[name] = _objects([RECORDED] * len(questions))
    # A match day that is a term of its own takes part in averaging alone.
    features["match_day"] = _objects([None] * len(questions))
    return features


def _filled(values: ObjectArray, usual: str) -> ObjectArray:
    return _objects([usual if value is None else value for value in values])


def _objects(values: list[Any]) -> ObjectArray:
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column


def _log_averaging(estimates: Estimates, features: Mapping[str, ObjectArray]) -> FloatArray:
    """Of what is averaged over, anglers unless one is named and match days in a match, half the variance,
    and the mean effect of the club's anglers, which is nearly nought."""
    matches = features["session_kind"] == MATCH
    halves: FloatArray = 0.5 * _variance(estimates, "match_day") * matches
    unnamed = _unnamed(features)
    item = estimates.term("angler")
    if item is None:
        return halves
    return halves + (float(np.mean(item.estimates)) + 0.5 * item.prior_sd**2) * unnamed


def _unnamed(features: Mapping[str, ObjectArray]) -> NDArray[np.bool_]:
    """Questions that name no angler, and so ask about the club's, (n,)."""
    return np.array([value is None for value in features["angler"]], dtype=np.bool_)


def _variance(estimates: Estimates, name: str) -> float:
    item = estimates.term(name)
    return 0.0 if item is None else item.prior_sd**2


def _contributions(estimates: Estimates, encoding: _Encoding) -> dict[str, FloatArray]:
    return {
        item.name: encoding.terms[item.name].spread(np.asarray(item.estimates))
        for item in estimates.terms
        if item.start is not None
    }


def _projection(estimates: Estimates, encoding: _Encoding) -> FloatArray:
    """Rows (n, k) whose inner products are the joint covariance of the questions' log means."""
    factor = estimates.covariance_factor
    projection = np.repeat(factor[:1], len(encoding.hours), axis=0)
    for item in estimates.terms:
        if item.start is not None:
            rows = factor[item.start : item.start + item.term.size]
            projection += encoding.terms[item.name].spread(rows)
            if item.name == "angler":
                projection += np.outer(_unnamed(encoding.features), rows.mean(axis=0))
    return projection


def _unseen_variance(estimates: Estimates, encoding: _Encoding) -> FloatArray:
    variance = np.zeros(len(encoding.hours))
    for name, item in encoding.terms.items():
        if item.unseen is not None:
            variance += item.unseen * _variance(estimates, name)
    return variance


def _noise(estimates: Estimates, draws: int, seed: int) -> FloatArray:
    return np.random.default_rng(seed).standard_normal((draws, len(estimates.covariance_factor)))
