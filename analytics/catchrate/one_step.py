"""What one session does to a fit, to first order, in NumPy alone: the step from the fit without it to the fit
with it.

With V the joint covariance without the session, x its row and s(eta) the derivative of its log-likelihood by
log mean, the coefficients move by V x u, where u = s(eta + x'Vx u): the other returns are taken as quadratic,
the session by its own likelihood, so a weight far from its mean does not overshoot. A fit that holds the
session already has u = s(eta), and V without it follows by leverage (Pregibon 1981, Annals of Statistics
9:705). Variances, power and dispersion are held, so a refit that finds them anew moves somewhat otherwise.

The match day is not in the joint covariance. What all of a day share its own effect takes up: a session's
row counts less the mean of its day's rows by weight, shrunk by the day's variance before the data.
"""

from dataclasses import dataclass

import numpy as np

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.predict import Questions, expectation, joint_rows, log_means
from analytics.catchrate.questions import Asked, ask

#: A leverage is no nearer to one: beyond it the step says nothing.
LARGEST_LEVERAGE = 0.95
HALVINGS = 200


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """Sessions asked about: a question a part, where each session's parts begin, their weights and dispersion
    (s,), and the effect of their match day (0 without one). The first is the one in question; the others are
    of the same match day."""

    questions: Questions
    starts: IntArray
    weight_g: FloatArray
    dispersion: FloatArray
    day_effect: float
    is_match: bool


@dataclass(frozen=True, slots=True, eq=False)
class OneStep:
    """The session's mean in grams in the fit as it stands, its leverage, and the move of every coefficient
    (k,) in the joint covariance from the fit without it to the fit with it.

    `push` is u above: a level that the fit never met moves from nought to its variance times this.
    """

    mean_g: float
    leverage: float
    moves: FloatArray
    push: float


def step_of(estimates: Estimates, day: Day, *, is_in: bool) -> OneStep:
    """The step of the day's first session; `is_in` says that the fit holds it already."""
    asked = ask(estimates, day.questions)
    eta = _log_fitted(estimates, asked) + day.day_effect
    by_part = np.exp(eta)
    mean = np.add.reduceat(by_part, day.starts)
    rows, unseen = joint_rows(estimates, asked)
    share = by_part / np.repeat(mean, np.diff([*day.starts, len(by_part)]))
    rows = np.add.reduceat(rows * share[:, None], day.starts)
    variance = float(np.add.reduceat(unseen * share, day.starts)[0])
    weight = mean ** (2.0 - estimates.power) / day.dispersion
    row = rows[0]
    item = estimates.term("match_day")
    if day.is_match and item is not None and item.start is None:
        total = float(weight[1 if not is_in else 0 :].sum()) + item.prior_sd**-2.0
        shared = weight[1 if not is_in else 0 :] @ rows[1 if not is_in else 0 :] / total
        row, variance = row - shared, variance + 1.0 / total
    variance += float(row @ row)
    leverage = float(weight[0]) * variance
    y, mu, phi = float(day.weight_g[0]), float(mean[0]), float(day.dispersion[0])
    if is_in:
        leverage = min(leverage, LARGEST_LEVERAGE)
        push = _score(y, np.log(mu), phi, estimates.power) / (1.0 - leverage)
    else:
        push = _implicit(y, np.log(mu), phi, estimates.power, variance)
    return OneStep(mu, leverage, estimates.covariance_factor @ (row * push), push)


def _log_fitted(estimates: Estimates, asked: Asked) -> FloatArray:
    """Log grams of each part at its own levels, nothing averaged over."""
    found = expectation(estimates, asked)
    return log_means(estimates, asked) - np.log(found.multipliers["averaging"])


def _score(y: float, eta: float, phi: float, power: float) -> float:
    return float((y * np.exp((1.0 - power) * eta) - np.exp((2.0 - power) * eta)) / phi)


def _implicit(y: float, eta: float, phi: float, power: float, variance: float) -> float:
    """u = s(eta + variance * u): s falls in eta, so there is one, between nought and s(eta)."""
    low, high = sorted((0.0, _score(y, eta, phi, power)))
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        if middle < _score(y, eta + variance * middle, phi, power):
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
