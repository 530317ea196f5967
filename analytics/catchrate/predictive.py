"""What one session may bring, and marginal means, from stored numbers in NumPy alone."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import (
    NORMAL_95,
    Questions,
    expectation,
    joint_rows,
    log_mean_draws,
)
from analytics.catchrate.questions import Asked, ask

#: The chances for which an outlook gives weights: the ends of the 50, 80 and 90 % ranges, and the middle.
OUTLOOK = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)


def session_draws(
    estimates: Estimates,
    questions: Questions | Asked,
    draws: int,
    seed: int,
    *,
    estimated: bool = False,
) -> FloatArray:
    """Weights in grams, (n, draws), that single sessions under each question may bring, blanks included.

    Each draw takes the coefficients from their joint posterior, then an angler of the club (unless one is
    named), in a match a match day, and then the session itself from the Tweedie distribution; angler and
    day are drawn for each session. `estimated` gives the spread of weights that are estimated.
    """
    asked = ask(estimates, questions)
    generator = np.random.default_rng([seed, 2])
    drawn = log_mean_draws(estimates, asked, draws, seed)
    mean = np.exp(_of_one_session(estimates, asked, drawn, generator))
    dispersion = estimates.estimated_dispersion if estimated else estimates.dispersion
    return draw(generator, mean, dispersion, estimates.power)


def blank_chances(estimates: Estimates, questions: Questions | Asked, draws: int, seed: int) -> FloatArray:
    """The chance of a blank, (n,), in one session under each question."""
    found: FloatArray = np.mean(session_draws(estimates, questions, draws, seed) == 0.0, axis=1)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class SessionOutlook:
    """What one session may bring: `weights_g` (n, levels) below which it stays with the chance of each of
    `levels`, and the chance of a blank (n,)."""

    levels: tuple[float, ...]
    weights_g: FloatArray
    blank: FloatArray


def session_outlook(
    estimates: Estimates,
    questions: Questions | Asked,
    log_mean: FloatArray,
    seed: int,
    levels: tuple[float, ...] = OUTLOOK,
) -> SessionOutlook:
    """The outlook of each question from joint draws of its log mean, (n, draws), one session a draw.

    The chance of a blank is the mean of its probability over the draws, exp(-mu^(2-p) / (phi (2-p))): surer
    than a count of blanks among them.
    """
    generator = np.random.default_rng([seed, 2])
    log_mean = _of_one_session(estimates, ask(estimates, questions), log_mean, generator)
    power, dispersion = estimates.power, estimates.dispersion
    weights = draw(generator, np.exp(log_mean), dispersion, power)
    rate = np.exp((2.0 - power) * log_mean) / (dispersion * (2.0 - power))
    return SessionOutlook(levels, np.quantile(weights, levels, axis=1).T, np.exp(-rate).mean(axis=1))


def _of_one_session(
    estimates: Estimates, asked: Asked, log_mean: FloatArray, generator: np.random.Generator
) -> FloatArray:
    """Log means (n, draws) of single sessions: each has the whole of its own luck where the expectation has
    half of each variance in it."""
    for name, drawn in (("angler", asked.nobody), ("match_day", asked.matches)):
        item = estimates.term(name)
        variance = (0.0 if item is None else item.prior_sd**2) * drawn.astype(np.float64)
        luck = np.sqrt(variance)[:, None] * generator.standard_normal(log_mean.shape)
        log_mean = log_mean + luck - 0.5 * variance[:, None]
    return log_mean


@dataclass(frozen=True, slots=True, eq=False)
class MarginalMeans:
    """The means of some levels, (n,) each, over the same reference: a geometric mean over `over`.

    `lower_g` and `upper_g` are 90 % intervals. Differences of levels have less uncertainty than their
    intervals suggest: what they share cancels (use `log_mean_draws`).
    """

    levels: tuple[str, ...]
    mean_g: FloatArray
    log_se: FloatArray
    lower_g: FloatArray
    upper_g: FloatArray


def marginal_means(
    estimates: Estimates, name: str, levels: Sequence[str], reference: Questions
) -> MarginalMeans:
    """Expected weight by level of the condition `name` of `Questions`, averaged over the reference.

    `reference` is a grid of questions, all of one weight (months one to twelve, say); each level is asked
    over the whole grid and the log expectations are averaged, as least-squares means are (Searle, Speed &
    Milliken 1980, The American Statistician 34:216).
    """
    size = len(reference)
    logs, errors = [], []
    for level in levels:
        named: dict[str, Any] = {name: [level] * size}
        asked = replace(reference, **named)
        rows, unseen = joint_rows(estimates, asked)
        row = rows.mean(axis=0)
        logs.append(float(np.mean(expectation(estimates, asked).eta)))
        errors.append(float(np.sqrt(row @ row + np.mean(unseen))))
    log_mean, log_se = np.array(logs), np.array(errors)
    return MarginalMeans(
        levels=tuple(levels),
        mean_g=np.exp(log_mean),
        log_se=log_se,
        lower_g=np.exp(log_mean - NORMAL_95 * log_se),
        upper_g=np.exp(log_mean + NORMAL_95 * log_se),
    )
