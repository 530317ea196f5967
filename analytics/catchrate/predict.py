"""Answers from estimates, in NumPy alone: expectations, multipliers, joint draws.

Expected weight is the mean under the model at the stated hours, averaged over the club's anglers (unless
an angler is named) and, in a match, over match days: exp(eta) times the exponential of half of those
variances. The anglers are the club's own, whose mean is known better than that of anglers as such. A
pleasure session has no match day, so no such half. A level that the fit never saw takes the prior: zero
effect, with that factor's variance in the interval.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import Estimates, TermEstimate
from analytics.catchrate.questions import MISSING_INDICATORS, Asked, Questions, ask
from analytics.catchrate.terms import NO_LEVEL, Encoded

__all__ = [
    "INTERVAL",
    "NORMAL_75",
    "NORMAL_95",
    "Expected",
    "Questions",
    "chance_best",
    "expectation",
    "joint_rows",
    "log_mean_draws",
    "log_means",
    "multiplier_errors",
]

#: The standard normal quantiles that leave 5 % and 25 % on either side: intervals are 90 % and 50 %.
NORMAL_95 = 1.6448536269514722
NORMAL_75 = 0.6744897501960817
INTERVAL = 0.90

#: These factors are 1 in every question, no driver of any answer.
NO_DRIVERS = (*MISSING_INDICATORS, "match_day")
AVERAGING = "averaging"


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

    def interval(self, quantile: float) -> tuple[FloatArray, FloatArray]:
        """The ends in grams, (n,) each, of the interval that reaches so many standard errors either way."""
        reach = quantile * self.eta_se
        return np.exp(self.eta - reach), np.exp(self.eta + reach)


def expectation(estimates: Estimates, questions: Questions | Asked) -> Expected:
    """Expected weight in grams for each question, with its interval and its multipliers."""
    asked = ask(estimates, questions)
    contributions = _contributions(estimates, asked)
    averaging = _log_averaging(estimates, asked)
    eta = estimates.intercept + np.log(asked.hours) + sum(contributions.values()) + averaging
    projection = _projection(estimates, asked)
    variance = np.einsum("ij,ij->i", projection, projection) + _unseen_variance(estimates, asked)
    eta_se = np.sqrt(variance)
    multipliers = {name: np.exp(value) for name, value in contributions.items() if name not in NO_DRIVERS}
    return Expected(
        mean_g=np.exp(eta),
        lower_g=np.exp(eta - NORMAL_95 * eta_se),
        upper_g=np.exp(eta + NORMAL_95 * eta_se),
        eta=eta,
        eta_se=eta_se,
        base_g_per_hour=float(np.exp(estimates.intercept)),
        hours=asked.hours,
        multipliers=multipliers | {AVERAGING: np.exp(averaging)},
        unseen=asked.unseen(),
    )


def log_means(estimates: Estimates, questions: Questions | Asked) -> FloatArray:
    """The log expected weight of each question, (n,), without its uncertainty: quick for many."""
    asked = ask(estimates, questions)
    linear: FloatArray = sum(_contributions(estimates, asked).values(), np.zeros(len(asked)))
    return estimates.intercept + np.log(asked.hours) + linear + _log_averaging(estimates, asked)


def multiplier_errors(estimates: Estimates, questions: Questions | Asked) -> dict[str, FloatArray]:
    """The standard error of the log of each multiplier of `expectation`, (n,) each, by name.

    From the joint covariance: a multiplier's own columns of it. What is averaged over is doubtful by the
    mean effect of the club's anglers; the halves of variances are taken as estimated. Multipliers go with
    one another, so their intervals do not multiply to that of the expected weight.
    """
    asked = ask(estimates, questions)
    factor = estimates.covariance_factor
    errors: dict[str, FloatArray] = {}
    for item in estimates.terms:
        if item.start is not None and item.name not in NO_DRIVERS:
            rows = np.zeros((len(asked), len(factor)))
            _add_rows(rows, asked.terms[item.name], _block(estimates, item))
            variance = np.einsum("ij,ij->i", rows, rows)
            unseen = asked.terms[item.name].unseen
            errors[item.name] = np.sqrt(variance if unseen is None else variance + unseen * item.prior_sd**2)
    mean = _mean_angler_row(estimates)
    return errors | {AVERAGING: np.sqrt(mean @ mean) * asked.nobody}


def joint_rows(estimates: Estimates, questions: Questions | Asked) -> tuple[FloatArray, FloatArray]:
    """Rows (n, k) whose inner products are the joint covariance of the questions' log means, and the
    variances (n,) that unseen levels add to each."""
    asked = ask(estimates, questions)
    return _projection(estimates, asked), _unseen_variance(estimates, asked)


def log_mean_draws(
    estimates: Estimates, questions: Questions | Asked, draws: int, seed: int, *, apart: bool = False
) -> FloatArray:
    """Joint draws, (n, draws), of the log expected weight of each question.

    Questions that share an unseen level share its draw, so that it cancels from their differences. Two
    calls with one seed share the coefficients of each draw. `apart` draws from the covariance of these
    questions alone: of the same distribution, and much quicker for a few, but nothing is shared with
    another call.
    """
    asked = ask(estimates, questions)
    rows = _projection(estimates, asked)
    if apart and len(rows) < rows.shape[1]:
        # R'R = rows rows': as many columns as there are questions.
        rows = np.asarray(np.linalg.qr(rows.T, mode="r")).T
    noise = np.random.default_rng(seed).standard_normal((draws, rows.shape[1]))
    values = log_means(estimates, asked)[:, None] + rows @ noise.T
    generator = np.random.default_rng([seed, 1])
    for item in estimates.terms:
        unseen = asked.terms[item.name].unseen if item.name in asked.terms else None
        if unseen is not None and unseen.any():
            words = asked.asked_of(item)
            distinct, places = np.unique(np.array([*words.levels, ""]), return_inverse=True)
            effects = generator.standard_normal((len(distinct), draws)) * item.prior_sd
            values[unseen] += effects[places[words.codes[unseen]]]
    return values


def chance_best(
    estimates: Estimates, questions: Questions | Asked, draws: int = 1000, seed: int = 1
) -> FloatArray:
    """The share of joint draws, (n,), in which each question has the highest expected weight."""
    winners = np.argmax(log_mean_draws(estimates, questions, draws, seed), axis=0)
    return np.bincount(winners, minlength=len(ask(estimates, questions))) / draws


def _log_averaging(estimates: Estimates, asked: Asked) -> FloatArray:
    """Of what is averaged over, anglers unless one is named and match days in a match, half the variance,
    and the mean effect of the club's anglers, which is nearly nought."""
    halves = 0.5 * _variance(estimates, "match_day") * asked.matches.astype(np.float64)
    item = estimates.term("angler")
    if item is None:
        return halves
    of_anglers = float(np.mean(item.estimates)) + 0.5 * item.prior_sd**2
    return halves + of_anglers * asked.nobody.astype(np.float64)


def _variance(estimates: Estimates, name: str) -> float:
    item = estimates.term(name)
    return 0.0 if item is None else item.prior_sd**2


def _contributions(estimates: Estimates, asked: Asked) -> dict[str, FloatArray]:
    return {
        item.name: asked.terms[item.name].spread(np.asarray(item.estimates))
        for item in estimates.terms
        if item.start is not None
    }


def _projection(estimates: Estimates, asked: Asked) -> FloatArray:
    """Rows (n, k) whose inner products are the joint covariance of the questions' log means."""
    projection = np.repeat(estimates.covariance_factor[:1], len(asked), axis=0)
    for item in estimates.terms:
        if item.start is not None:
            _add_rows(projection, asked.terms[item.name], _block(estimates, item))
    if asked.nobody.any():
        projection += np.outer(asked.nobody, _mean_angler_row(estimates))
    return projection


def _block(estimates: Estimates, item: TermEstimate) -> FloatArray:
    """The term's rows of the covariance factor."""
    assert item.start is not None  # noqa: S101 - a nuisance has none, and is not asked for
    return estimates.covariance_factor[item.start : item.start + item.term.size]


def _add_rows(total: FloatArray, encoded: Encoded, block: FloatArray) -> None:
    """As `encoded.spread(block)`, added to `total` without a copy of a factor's whole block."""
    if encoded.table is not None:
        total += encoded.spread(block)
        return
    known = np.flatnonzero(encoded.codes != NO_LEVEL)
    total[known] += block[encoded.codes[known]]


def _mean_angler_row(estimates: Estimates) -> FloatArray:
    """The row (k,) of the club's mean angler, whom every question asks about that names nobody."""
    item = estimates.term("angler")
    if item is None or item.start is None:
        return np.zeros(len(estimates.covariance_factor))
    mean: FloatArray = _block(estimates, item).mean(axis=0)
    return mean


def _unseen_variance(estimates: Estimates, asked: Asked) -> FloatArray:
    variance = np.zeros(len(asked))
    for name, unseen in asked.unseen().items():
        variance += unseen * _variance(estimates, name)
    return variance
