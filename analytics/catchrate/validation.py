"""The catch model against what a club could say without it, on days that neither has seen.

Every method learns from the first days and forecasts the weights of the last; who fished, where, when and how
is known, the match day's luck is not.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.catchrate.baselines import BASELINES, Baseline
from analytics.catchrate.basis import FloatArray
from analytics.catchrate.check import usable_positions
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.predict import Questions, expectation, log_mean_draws
from analytics.catchrate.returns import Returns, usable_returns
from analytics.catchrate.scores import coverage, mean_deviance, places, ranked_probability_scores
from analytics.catchrate.spec import MATCH, PLEASURE, CatchSpec

Fit = Callable[[pd.DataFrame, CatchSpec], Estimates | Refusal]

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
    """Scores of every method, the catch model first, on `tested` returns from `first_test_day` on."""

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
    frame = frame.iloc[usable_positions(frame)]
    early, late = _split(frame, np.random.default_rng([seed, 0]))
    if len(late) < FEWEST_TESTED:
        message = f"{len(late)} returns on the last fifth of the days; {FEWEST_TESTED} are needed to validate"
        return Refusal("too_few_to_validate", message, FEWEST_TESTED)
    estimates = fit(early, spec)
    if isinstance(estimates, Refusal):
        return estimates
    train, test = usable_returns(early), usable_returns(late)
    forecasts = {OURS: forecast(estimates, late, seed)}
    for name, baseline in BASELINES.items():
        forecasts[name] = _baseline_forecast(baseline, train, test, estimates.power, seed)
    return Validation(
        trained=len(early),
        tested=len(late),
        first_test_day=late["fished_on"].min().date(),
        scores=tuple(
            _score(name, test.weight_g, found, estimates.power, seed) for name, found in forecasts.items()
        ),
    )


def forecast(estimates: Estimates, frame: pd.DataFrame, seed: int) -> _Forecast:
    """The catch model's forecast of sessions to come, each row a session.

    A draw is of the coefficients, then of what is averaged over (a match day's luck, shared by its returns;
    an angler who is not named), then of the weight. The year is the reference, as in every answer.
    """
    questions = _questions(frame)
    log_mean = log_mean_draws(estimates, questions, DRAWS, seed)
    generator = np.random.default_rng([seed, 2])
    matches = frame["match_day"].astype(object).where(frame["is_match"].astype(bool))
    unnamed = pd.Series(np.arange(len(frame)), frame.index, dtype=object).where(frame["angler"].isna())
    log_mean += _luck(estimates, "match_day", matches, generator)
    log_mean += _luck(estimates, "angler", unnamed, generator)
    weights = draw(generator, np.exp(log_mean), estimates.dispersion, estimates.power)
    return _Forecast(expectation(estimates, questions).mean_g, weights)


def _split(frame: pd.DataFrame, generator: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    days = np.unique(frame["fished_on"].to_numpy())
    if not len(days):
        return frame, frame
    first_late = days[min(int(TRAINED_SHARE * len(days)), len(days) - 1)]
    late = frame[frame["fished_on"] >= first_late]
    if len(late) > MOST_TESTED:
        late = late.iloc[np.sort(generator.choice(len(late), MOST_TESTED, replace=False))]
    return frame[frame["fished_on"] < first_late], late


def _questions(frame: pd.DataFrame) -> Questions:
    dates = frame["fished_on"].dt
    kinds = np.where(frame["is_match"].astype(bool), MATCH, PLEASURE)
    return Questions(
        month=[int(month) for month in dates.month],
        day_of_year=dates.day_of_year.to_numpy(np.float64),
        session_kind=[str(kind) for kind in kinds],
        water=_words(frame["water"]),
        peg=_words(frame["peg"]),
        angler=_words(frame["angler"]),
        hook_bait=_words(frame["hook_bait"]),
        rig_type=_words(frame["rig_type"]),
        distance_m=frame["distance_m"].to_numpy(np.float64),
        wind_force=frame["wind_force"].to_numpy(np.float64),
        water_temperature_c=frame["water_temperature_c"].to_numpy(np.float64),
        hours=frame["hours"].to_numpy(np.float64),
    )


def _words(column: "pd.Series[str]") -> list[str | None]:
    return [None if missing else word for word, missing in zip(column, column.isna(), strict=True)]


def _luck(
    estimates: Estimates, name: str, levels: "pd.Series[str]", generator: np.random.Generator
) -> FloatArray | float:
    """Draws (n, m) of a random effect of new levels, shared within a level, one where there is none.

    The expectation already holds half the variance, so the draws are centred to leave it as it is.
    """
    item = estimates.term(name)
    if item is None:
        return 0.0
    codes, distinct = pd.factorize(levels)
    variance = item.prior_sd**2
    effects = generator.standard_normal((len(distinct) + 1, DRAWS)) * item.prior_sd - variance / 2.0
    effects[-1] = 0.0  # code -1: no level
    return effects[codes]


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
