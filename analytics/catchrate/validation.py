"""The catch model against what a club could say without it, on days that neither has seen.

Every method learns from the first days and forecasts the weights of the last; who fished, where, when and how
is known, the match day's luck is not. Sessions that were weighed are forecast, one of several parts as one.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.catchrate.baselines import BASELINES, Baseline
from analytics.catchrate.basis import FloatArray
from analytics.catchrate.calibration import Calibration, calibration_of
from analytics.catchrate.clusters import Mean, clustered_mean
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fitted import chosen_sessions
from analytics.catchrate.forecast import DRAWS, Forecast, forecast
from analytics.catchrate.returns import USED_OUTCOMES, Returns, usable_returns
from analytics.catchrate.scores import coverage, places, ranked_probability_scores, unit_deviances
from analytics.catchrate.spec import CatchSpec

Fit = Callable[[pd.DataFrame, CatchSpec], Estimates | Refusal]

TRAINED_SHARE = 0.8
OURS = "catch model"
#: More unseen returns than these are a random part of them, to bound memory.
MOST_TESTED = 20_000
#: Fewer unseen returns than these say nothing of a coverage of 90 %.
FEWEST_TESTED = 20
#: On fewer days they share too much luck to tell.
FEWEST_DAYS = 5


@dataclass(frozen=True, slots=True)
class MethodScore:
    """One method's forecasts: mean unit deviance and mean CRPS, less being better, and interval coverage."""

    method: str
    deviance: float
    crps_g: float
    coverage_50: float
    coverage_90: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """The catch model's scores less those of one baseline, session by session: below nought it is better."""

    method: str
    deviance: Mean
    crps_g: Mean


@dataclass(frozen=True, slots=True)
class Validation:
    """Scores of every method, the catch model first, on `tested` returns of `days` days.

    The days begin with `first_test_day`. The catch model learned from `trained` returns; the others from
    those of them that have exact weights. `comparisons` are with each baseline, `calibration` is the catch
    model's own.
    """

    trained: int
    tested: int
    days: int
    first_test_day: date
    scores: tuple[MethodScore, ...]
    comparisons: tuple[Comparison, ...]
    calibration: Calibration

    def score(self, method: str) -> MethodScore:
        """The named method's.

        :raises StopIteration: there is no such method.
        """
        return next(item for item in self.scores if item.method == method)


@dataclass(frozen=True, slots=True, eq=False)
class _Scored:
    """One method's forecasts held against the weights: scores and places, (n,) each."""

    deviance: FloatArray
    crps_g: FloatArray
    places: FloatArray


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
    days = int(split.day.max()) + 1
    if days < FEWEST_DAYS:
        message = f"{days} days among the last fifth of the days; {FEWEST_DAYS} are needed"
        return Refusal("too_few_to_validate", message, FEWEST_DAYS)
    estimates = fit(frame[frame["fished_on"].to_numpy() < split.first_test_day], spec)
    if isinstance(estimates, Refusal):
        return estimates
    exact = np.flatnonzero(split.trained & ~returns.bounded)
    train, test = (chosen_sessions(returns, sessions) for sessions in (exact, split.tested))
    forecasts = {OURS: forecast(estimates, test, seed)}
    for name, baseline in BASELINES.items():
        forecasts[name] = _baseline_forecast(baseline, train, test, estimates.power, seed)
    scored = {name: _scored(test.weight_g, found, estimates.power, seed) for name, found in forecasts.items()}
    ours = forecasts[OURS]
    return Validation(
        trained=int(split.trained.sum()),
        tested=len(split.tested),
        days=days,
        first_test_day=split.first_test_day.astype("datetime64[D]").item(),
        scores=tuple(_score(name, found) for name, found in scored.items()),
        comparisons=_comparisons(scored, split.day),
        calibration=calibration_of(test.weight_g, ours.mean_g, ours.draws_g, scored[OURS].places, split.day),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Split:
    """Sessions before the first test day (s,), the positions of those after it that were weighed (n,), and
    the number of each one's day, from 0."""

    first_test_day: np.datetime64
    trained: NDArray[np.bool_]
    tested: NDArray[np.int64]
    day: NDArray[np.int64]


def _split(frame: pd.DataFrame, returns: Returns, generator: np.random.Generator) -> _Split:
    day = frame["fished_on"].to_numpy("datetime64[ns]")[returns.position]
    days = np.unique(day)
    if not len(days):
        return _Split(np.datetime64("NaT"), np.zeros(0, np.bool_), *(np.zeros(0, np.int64),) * 2)
    first = days[min(int(TRAINED_SHARE * len(days)), len(days) - 1)]
    outcome = frame["outcome"].astype(object).to_numpy()[returns.position]
    weighed = ~returns.bounded & np.isin(outcome, USED_OUTCOMES)
    tested = np.flatnonzero(weighed & (day >= first))
    if len(tested) > MOST_TESTED:
        tested = np.sort(generator.choice(tested, MOST_TESTED, replace=False))
    return _Split(first, day < first, tested, np.unique(day[tested], return_inverse=True)[1])


def _baseline_forecast(
    baseline: Baseline, train: Returns, test: Returns, power: float, seed: int
) -> Forecast:
    """A baseline's mean, and Tweedie weights around it with Pearson's dispersion, its rates paid for."""
    fitted, parameters = baseline(train, train, power)
    mean, _ = baseline(train, test, power)
    left = max(len(fitted) - parameters, 1)
    dispersion = float(np.sum((train.weight_g - fitted) ** 2 / fitted**power)) / left
    spread = np.broadcast_to(mean[:, None], (len(mean), DRAWS))
    return Forecast(mean, draw(np.random.default_rng([seed, 1]), spread, dispersion, power))


def _scored(weight_g: FloatArray, found: Forecast, power: float, seed: int) -> _Scored:
    return _Scored(
        deviance=unit_deviances(weight_g, found.mean_g, power),
        crps_g=ranked_probability_scores(weight_g, found.draws_g),
        places=places(np.random.default_rng([seed, 3]), weight_g, found.draws_g),
    )


def _score(name: str, found: _Scored) -> MethodScore:
    return MethodScore(
        method=name,
        deviance=float(found.deviance.mean()),
        crps_g=float(found.crps_g.mean()),
        coverage_50=coverage(found.places, 0.5),
        coverage_90=coverage(found.places, 0.9),
    )


def _comparisons(scored: Mapping[str, _Scored], day: NDArray[np.int64]) -> tuple[Comparison, ...]:
    ours = scored[OURS]
    return tuple(
        Comparison(
            name,
            clustered_mean(ours.deviance - other.deviance, day),
            clustered_mean(ours.crps_g - other.crps_g, day),
        )
        for name, other in scored.items()
        if name != OURS
    )
