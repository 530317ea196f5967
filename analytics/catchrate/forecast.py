"""The catch model's forecasts of sessions whose conditions are known: means and draws of their weights."""

from dataclasses import dataclass

import numpy as np

from analytics.catchrate.basis import FloatArray, IntArray, ObjectArray
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.features import WIND_CLASSES
from analytics.catchrate.fitted import first_parts
from analytics.catchrate.predict import Questions, expectation, log_mean_draws
from analytics.catchrate.returns import ESTIMATED, Returns
from analytics.catchrate.spec import MATCH, MISSING
from analytics.catchrate.terms import Coded

ASKED_WORDS = ("session_kind", "water", "peg", "angler", "hook_bait", "rig_type")
DRAWS = 200
#: No forecast is more grams than exp of this: a fit that has run away is to score badly, not to overflow.
LARGEST_LOG_G = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """Mean weight (n,) and draws of the weight (n, m), in grams."""

    mean_g: FloatArray
    draws_g: FloatArray


def forecast(estimates: Estimates, returns: Returns, seed: int) -> Forecast:
    """The catch model's forecast of sessions to come.

    A draw is of the coefficients, then of what is averaged over (a match day's luck, shared by its returns;
    an angler who is not named), then of the weight. The year is the reference, as in every answer.
    """
    questions = questions_of(returns)
    with np.errstate(over="ignore"):
        means = log_mean_draws(estimates, questions, DRAWS, seed)
        log_expected = expectation(estimates, questions).eta
    generator = np.random.default_rng([seed, 2])
    means += _luck(estimates, "match_day", _match_days(returns), generator)
    means += _luck(estimates, "angler", _unnamed(returns), generator)
    np.exp(np.minimum(means, LARGEST_LOG_G), out=means)
    expected = np.exp(np.minimum(log_expected, LARGEST_LOG_G))
    if returns.session is not None:
        means, expected = (np.add.reduceat(column, first_parts(returns)) for column in (means, expected))
    estimated = returns.dispersion_class == ESTIMATED
    dispersion = np.where(estimated, estimates.estimated_dispersion, estimates.dispersion)
    return Forecast(expected, draw(generator, means, dispersion[:, None], estimates.power))


def questions_of(returns: Returns) -> Questions:
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
