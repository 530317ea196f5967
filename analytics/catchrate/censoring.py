"""Weights known only to lie in an interval: what they say of the mean.

An interval is lower <= Y <= upper. 'Did not weigh' is [0, bound], the blank included; 'at least' is
[weight, infinity]; [0, infinity] stands for 'caught something', so there alone the blank is excluded.

Y is a Poisson number N of gamma catches: rate mu^(2-p) / (phi (2-p)), shape a = (2-p) / (p-1), scale
phi (p-1) mu^(p-1). Given N = n, Y is gamma of shape n a, and multiplying its density by y or by y^2 raises
the shape by one or two, so every moment is a Poisson sum of incomplete gamma functions. All sums are of
logarithms: an interval far in a tail has a tiny probability, but moments like any other.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc, gammaln, logsumexp

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.density import poisson_windows

# Below this SciPy's incomplete gamma functions lose digits and then vanish; their logarithms go on.
SMALLEST = 1e-290


def interval_moments(
    lower: ArrayLike, upper: ArrayLike, mean: ArrayLike, dispersion: ArrayLike, power: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(log P(interval), E[Y | interval], E[Y^2 | interval]), broadcast and one-dimensional at least.

    :raises ValueError: an interval is empty or negative.
    """
    broadcast = np.broadcast_arrays(*np.atleast_1d(lower, upper, mean, dispersion))
    given = _Given(power, *(np.asarray(a, float).ravel() for a in broadcast))
    if not np.all((given.lower >= 0.0) & (given.lower < given.upper)):
        raise ValueError("an interval needs 0 <= lower < upper")
    moments = np.empty((3, len(given.mean)))
    at_most, at_least = given.lower == 0.0, np.isinf(given.upper)
    caught = np.flatnonzero(at_most & at_least)
    moments[:, caught] = _caught_something(given.take(caught))
    # Given the interval, Y lies about that point of it which is nearest to the mean.
    centre = given.catches_at(np.clip(given.mean, given.lower, given.upper))
    for kind in (at_most & ~at_least, at_least & ~at_most, ~at_most & ~at_least):
        chosen = np.flatnonzero(kind)
        for part, n in poisson_windows(centre[chosen]):
            moments[:, chosen[part]] = _summed(given.take(chosen[part]), n)
    log_probability, expected, expected_square = (row.reshape(broadcast[0].shape) for row in moments)
    return log_probability, expected, expected_square


def interval_score(
    lower: ArrayLike, upper: ArrayLike, mean: ArrayLike, dispersion: ArrayLike, power: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(log P(interval), its first derivative, minus its second derivative) for eta = log mean.

    The second is the complete information less the variance of the complete score (Louis 1982, J. R. Stat.
    Soc. B 44:226). It may be zero or negative: the log-probability of an interval need not be concave in eta.
    """
    log_probability, expected, expected_square = interval_moments(lower, upper, mean, dispersion, power)
    mean, dispersion = np.asarray(mean, float), np.asarray(dispersion, float)
    slope = mean ** (1.0 - power) / dispersion
    score = (expected - mean) * slope
    information = slope * ((2.0 - power) * mean + (power - 1.0) * expected)
    information = information - slope**2 * np.maximum(expected_square - expected**2, 0.0)
    return log_probability, score, information


@dataclass(frozen=True, slots=True, eq=False)
class _Given:
    """Intervals and their means and dispersions, (n,) each."""

    power: float
    lower: FloatArray
    upper: FloatArray
    mean: FloatArray
    dispersion: FloatArray

    def take(self, rows: IntArray) -> Self:
        parts = (a[rows] for a in (self.lower, self.upper, self.mean, self.dispersion))
        return type(self)(self.power, *parts)

    def catches_at(self, y: FloatArray) -> FloatArray:
        """About how many catches a total of y is made of; at the mean, the Poisson rate."""
        catches: FloatArray = y ** (2.0 - self.power) / (self.dispersion * (2.0 - self.power))
        return catches


def _caught_something(given: _Given) -> FloatArray:
    """The moments given Y > 0, in closed form."""
    probability = -np.expm1(-given.catches_at(given.mean))
    square = given.dispersion * given.mean**given.power + given.mean**2
    return np.stack([np.log(probability), given.mean / probability, square / probability])


def _summed(given: _Given, n: FloatArray) -> FloatArray:
    """The moments of intervals of one kind as sums over n (rows, terms)."""
    rate = given.catches_at(given.mean)
    scale = given.dispersion * (given.power - 1.0) * given.mean ** (given.power - 1.0)
    shapes = n * (2.0 - given.power) / (given.power - 1.0)
    log_poisson = n * np.log(rate)[:, None] - rate[:, None] - gammaln(n + 1.0)
    zeroth, first, second = _log_gamma_intervals(
        shapes, (given.lower / scale)[:, None], (given.upper / scale)[:, None]
    )
    log_probability = logsumexp(log_poisson + zeroth, axis=1)
    log_first = logsumexp(log_poisson + np.log(shapes) + first, axis=1)
    log_second = logsumexp(log_poisson + np.log(shapes) + np.log1p(shapes) + second, axis=1)
    if given.lower[0] == 0.0:
        log_probability = np.logaddexp(log_probability, -rate)
    expected = np.clip(np.exp(log_first - log_probability) * scale, given.lower, given.upper)
    expected_square = np.maximum(np.exp(log_second - log_probability) * scale**2, expected**2)
    return np.stack([log_probability, expected, expected_square])


def _log_gamma_intervals(shapes: FloatArray, lower: FloatArray, upper: FloatArray) -> list[FloatArray]:
    """log P(lower <= G <= upper) for a standard gamma G of each shape, the shape + 1 and the shape + 2."""
    if np.all(lower == 0.0):
        return _log_below(shapes, upper)
    above = _log_above(shapes, lower)
    if np.all(np.isinf(upper)):
        return above
    below = _log_below(shapes, upper)
    intervals = []
    for p_upper, p_lower, q_lower, q_upper in zip(
        below, _log_below(shapes, lower), above, _log_above(shapes, upper), strict=True
    ):
        # The difference is taken between the smaller tails, where less cancels.
        low = p_upper < q_lower
        large, small = np.where(low, p_upper, q_lower), np.where(low, p_lower, q_upper)
        with np.errstate(divide="ignore"):
            intervals.append(large + np.log(-np.expm1(np.minimum(small - large, 0.0))))
    return intervals


def _log_below(shapes: FloatArray, x: FloatArray) -> list[FloatArray]:
    """log P(G <= x) for the three shapes, the largest first: P(s, x) = P(s+1, x) + x^s e^-x / Gamma(s+1)."""
    second = _log_or_series(gammainc, shapes + 2.0, x, lower_tail=True)
    first = np.logaddexp(second, _log_step(shapes + 1.0, x))
    return [np.logaddexp(first, _log_step(shapes, x)), first, second]


def _log_above(shapes: FloatArray, x: FloatArray) -> list[FloatArray]:
    """log P(G >= x) for the three shapes, the smallest first: Q(s+1, x) = Q(s, x) + x^s e^-x / Gamma(s+1)."""
    zeroth = _log_or_series(gammaincc, shapes, x, lower_tail=False)
    first = np.logaddexp(zeroth, _log_step(shapes, x))
    return [zeroth, first, np.logaddexp(first, _log_step(shapes + 1.0, x))]


def _log_step(shapes: FloatArray, x: FloatArray) -> FloatArray:
    step: FloatArray = shapes * np.log(x) - x - gammaln(shapes + 1.0)
    return step


def _log_or_series(function: np.ufunc, shapes: FloatArray, x: FloatArray, *, lower_tail: bool) -> FloatArray:
    """log of an incomplete gamma function, by its own series where the function has all but vanished.

    Lower: P(s, x) = x^s e^-x / Gamma(s+1) * sum over k of x^k / ((s+1) ... (s+k)); upper: Q(s, x) =
    x^(s-1) e^-x / Gamma(s) * sum over k of (s-1) ... (s-k) / x^k (Abramowitz & Stegun 1964, 6.5.29, 6.5.32).
    """
    values = np.asarray(function(shapes, x))
    tiny = values < SMALLEST
    logs: FloatArray = np.log(np.where(tiny, 1.0, values))
    if not tiny.any():
        return logs
    s, x = shapes[tiny], np.broadcast_to(x, shapes.shape)[tiny]
    term, total = np.ones_like(s), np.zeros_like(s)
    for k in range(1, 61):
        total += term
        term *= x / (s + k) if lower_tail else (s - k) / x
    ratio = x / (s + 61.0) if lower_tail else (s - 61.0) / x
    total += term / (1.0 - ratio)  # what is left is all but geometric
    logs[tiny] = _log_step(s if lower_tail else s - 1.0, x) + np.log(total)
    return logs
