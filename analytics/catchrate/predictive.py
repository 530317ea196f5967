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
from analytics.catchrate.spec import MATCH


def session_draws(
    estimates: Estimates, questions: Questions, draws: int, seed: int, *, estimated: bool = False
) -> FloatArray:
    """Weights in grams, (n, draws), that single sessions under each question may bring, blanks included.

    Each draw takes the coefficients from their joint posterior, then an angler of the club (unless one is
    named), in a match a match day, and then the session itself from the Tweedie distribution; angler and
    day are drawn for each session. `estimated` gives the spread of weights that are estimated.
    """
    generator = np.random.default_rng([seed, 2])
    log_mean = log_mean_draws(estimates, questions, draws, seed)
    for variance in _luck(estimates, questions):
        # The expectation has half of each variance in it; a session has the whole of its own luck instead.
        luck = np.sqrt(variance)[:, None] * generator.standard_normal(log_mean.shape)
        log_mean = log_mean + luck - 0.5 * variance[:, None]
    dispersion = estimates.estimated_dispersion if estimated else estimates.dispersion
    return draw(generator, np.exp(log_mean), dispersion, estimates.power)


def blank_chances(estimates: Estimates, questions: Questions, draws: int, seed: int) -> FloatArray:
    """The chance of a blank, (n,), in one session under each question."""
    found: FloatArray = np.mean(session_draws(estimates, questions, draws, seed) == 0.0, axis=1)
    return found


def _luck(estimates: Estimates, questions: Questions) -> list[FloatArray]:
    """The variances, (n,) each, of who fishes and of the day, where the question names neither."""
    unnamed = np.array([value is None for value in questions.words("angler")])
    kinds = [kind or estimates.reference.session_kind for kind in questions.words("session_kind")]
    match = np.array([kind == MATCH for kind in kinds])
    found = []
    for name, asked in (("angler", unnamed), ("match_day", match)):
        item = estimates.term(name)
        found.append(np.zeros(len(questions)) if item is None else item.prior_sd**2 * asked)
    return found


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
