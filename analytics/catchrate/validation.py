"""The catch model against what a club could say without it, on days that neither has seen.

Every method learns from the first days and forecasts the weights of the last; who fished, where, when and how
is known, the match day's luck is not. Sessions that were weighed are forecast, one of several parts as one.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.catchrate.baselines import BASELINES, Baseline
from analytics.catchrate.basis import FloatArray, IntArray, ObjectArray
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.features import WIND_CLASSES
from analytics.catchrate.fitted import chosen_sessions, first_parts
from analytics.catchrate.predict import Questions, expectation, log_mean_draws
from analytics.catchrate.returns import ESTIMATED, USED_OUTCOMES, Returns, usable_returns
from analytics.catchrate.scores import coverage, mean_deviance, places, ranked_probability_scores
from analytics.catchrate.spec import MATCH, MISSING, CatchSpec
from analytics.catchrate.terms import Coded

Fit = Callable[[pd.DataFrame, CatchSpec], Estimates | Refusal]

ASKED_WORDS = ("session_kind", "water", "peg", "angler", "hook_bait", "rig_type")
TRAINED_SHARE = 0.8
OURS = "catch model"
DRAWS = 200
#: More unseen returns than these are a random part of them, to bound memory.
MOST_TESTED = 20_000
#: Fewer unseen returns than these say nothing of a coverage of 90 %.
FEWEST_TESTED = 20


@dataclass(frozen=True, slots=True)
class MethodScore:
    """One method's forecasts: mean unit deviance and mean CRPS, less being better, and interval coverage."""

    method: str
    deviance: float
    crps_g: float
    coverage_50: float
    coverage_90: float


@dataclass(frozen=True, slots=True)
class Validation:
    """Scores of every method, the catch model first, on `tested` returns from `first_test_day` on.

    The catch model learned from `trained` returns; the others from those of them that have exact weights.
    """

    trained: int
    tested: int
    first_test_day: date
    scores: tuple[MethodScore, ...]

    def score(self, method: str) -> MethodScore:
        """The named method's.

        :raises StopIteration: there is no such method.
        """
        return next(item for item in self.scores if item.method == method)


@dataclass(frozen=True, slots=True, eq=False)
class _Forecast:
    """Mean weight (n,) and draws of the weight (n, m), in grams."""

    mean_g: FloatArray
    draws_g: FloatArray


def time_ordered_validation(
    frame: pd.DataFrame, spec: CatchSpec, fit: Fit, seed: int = 0
) -> Validation | Refusal:
    """Fit the first 80 % of the days on which anyone fished, forecast the rest, and score every method.

    Refused where the fit refuses, or where the last days hold too few returns.
    """
    returns = usable_returns(frame, spec)
    split = _split(frame, returns, np.random.default_rng([seed, 0]))
    if len(split.tested) < FEWEST_TESTED:
        message = f"{len(split.tested)} returns on the last fifth of the days; {FEWEST_TESTED} are needed"
        return Refusal("too_few_to_validate", message, FEWEST_TESTED)
    estimates = fit(frame[frame["fished_on"].to_numpy() < split.first_test_day], spec)
    if isinstance(estimates, Refusal):
        return estimates
    exact = np.flatnonzero(split.trained & ~returns.bounded)
    train, test = (chosen_sessions(returns, sessions) for sessions in (exact, split.tested))
    forecasts = {OURS: forecast(estimates, test, seed)}
    for name, baseline in BASELINES.items():
        forecasts[name] = _baseline_forecast(baseline, train, test, estimates.power, seed)
    return Validation(
        trained=int(split.trained.sum()),
        tested=len(split.tested),
        first_test_day=split.first_test_day.astype("datetime64[D]").item(),
        scores=tuple(
            _score(name, test.weight_g, found, estimates.power, seed) for name, found in forecasts.items()
        ),
    )


def forecast(estimates: Estimates, returns: Returns, seed: int) -> _Forecast:
    """The catch model's forecast of sessions to come.

    A draw is of the coefficients, then of what is averaged over (a match day's luck, shared by its returns;
    an angler who is not named), then of the weight. The year is the reference, as in every answer.
    """
    questions = _questions(returns)
    means = log_mean_draws(estimates, questions, DRAWS, seed)
    generator = np.random.default_rng([seed, 2])
    means += _luck(estimates, "match_day", _match_days(returns), generator)
    means += _luck(estimates, "angler", _unnamed(returns), generator)
    np.exp(means, out=means)
    expected = expectation(estimates, questions).mean_g
    if returns.session is not None:
        means, expected = (np.add.reduceat(column, first_parts(returns)) for column in (means, expected))
    estimated = returns.dispersion_class == ESTIMATED
    dispersion = np.where(estimated, estimates.estimated_dispersion, estimates.dispersion)
    return _Forecast(expected, draw(generator, means, dispersion[:, None], estimates.power))


@dataclass(frozen=True, slots=True, eq=False)
class _Split:
    """Sessions before the first test day (s,), and the positions of those after it that were weighed."""

    first_test_day: np.datetime64
    trained: NDArray[np.bool_]
    tested: NDArray[np.int64]


def _split(frame: pd.DataFrame, returns: Returns, generator: np.random.Generator) -> _Split:
    day = frame["fished_on"].to_numpy("datetime64[ns]")[returns.position]
    days = np.unique(day)
    if not len(days):
        return _Split(np.datetime64("NaT"), np.zeros(0, np.bool_), np.zeros(0, np.int64))
    first = days[min(int(TRAINED_SHARE * len(days)), len(days) - 1)]
    outcome = frame["outcome"].astype(object).to_numpy()[returns.position]
    weighed = ~returns.bounded & np.isin(outcome, USED_OUTCOMES)
    tested = np.flatnonzero(weighed & (day >= first))
    if len(tested) > MOST_TESTED:
        tested = np.sort(generator.choice(tested, MOST_TESTED, replace=False))
    return _Split(first, day < first, tested)


def _questions(returns: Returns) -> Questions:
    """One a part. What was not recorded is not asked, so it takes what every answer takes."""
    features = returns.features
    temperature = np.array(features["water_temperature_c"], dtype=np.float64)
    temperature[_words(features["water_temperature_missing"]) == MISSING] = np.nan
    # The lower Beaufort force of each class stands for it.
    force = {name: 2.0 * place for place, name in enumerate(WIND_CLASSES)}
    wind = _coded(features["wind"])
    forces = np.array([*(force.get(level, np.nan) for level in wind.levels), np.nan])
    month = _coded(features["month"])
    return Questions(
        month=[int(code) + 1 for code in month.codes],
        day_of_year=np.asarray(features["day_of_year"], dtype=np.float64),
        wind_force=forces[wind.codes],
        distance_m=np.asarray(features["distance_m"], dtype=np.float64),
        water_temperature_c=temperature,
        hours=returns.hours,
        **{name: list(_words(features[name])) for name in ASKED_WORDS},
    )


def _coded(column: ObjectArray | Coded) -> Coded:
    assert isinstance(column, Coded)  # noqa: S101 - asked of features of words alone
    return column


def _words(column: ObjectArray | Coded) -> ObjectArray:
    return _coded(column).words()


def _match_days(returns: Returns) -> IntArray:
    """A number for each match day, by part; a match without one is its own; -1 outside matches."""
    days = _coded(returns.features["match_day"])
    matches = _words(returns.features["session_kind"]) == MATCH
    own = len(days.levels) + _sessions(returns)
    return np.where(matches, np.where(days.codes < 0, own, days.codes), -1).astype(np.int64)


def _unnamed(returns: Returns) -> IntArray:
    """A number for each session whose angler is not named, by part; -1 in the others."""
    return np.where(_coded(returns.features["angler"]).codes < 0, _sessions(returns), -1).astype(np.int64)


def _sessions(returns: Returns) -> IntArray:
    return np.arange(len(returns.hours)) if returns.session is None else returns.session


def _luck(
    estimates: Estimates, name: str, levels: IntArray, generator: np.random.Generator
) -> FloatArray | float:
    """Draws (r, m) of a random effect of new levels, shared within a level, none where the level is -1.

    The expectation already holds half the variance, so the draws are centred to leave it as it is.
    """
    item = estimates.term(name)
    if item is None:
        return 0.0
    distinct, codes = np.unique(levels, return_inverse=True)
    variance = item.prior_sd**2
    effects = generator.standard_normal((len(distinct), DRAWS)) * item.prior_sd - variance / 2.0
    effects[distinct == -1] = 0.0
    spread: FloatArray = effects[codes]
    return spread


def _baseline_forecast(
    baseline: Baseline, train: Returns, test: Returns, power: float, seed: int
) -> _Forecast:
    """A baseline's mean, and Tweedie weights around it with Pearson's dispersion, its rates paid for."""
    fitted, parameters = baseline(train, train, power)
    mean, _ = baseline(train, test, power)
    left = max(len(fitted) - parameters, 1)
    dispersion = float(np.sum((train.weight_g - fitted) ** 2 / fitted**power)) / left
    spread = np.broadcast_to(mean[:, None], (len(mean), DRAWS))
    return _Forecast(mean, draw(np.random.default_rng([seed, 1]), spread, dispersion, power))


def _score(name: str, weight_g: FloatArray, found: _Forecast, power: float, seed: int) -> MethodScore:
    place = places(np.random.default_rng([seed, 3]), weight_g, found.draws_g)
    return MethodScore(
        method=name,
        deviance=mean_deviance(weight_g, found.mean_g, power),
        crps_g=float(ranked_probability_scores(weight_g, found.draws_g).mean()),
        coverage_50=coverage(place, 0.5),
        coverage_90=coverage(place, 0.9),
    )
