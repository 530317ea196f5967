"""The Tweedie density for 1 < power < 2, its sum over many returns, and its distribution function.

Symbols: mean mu, dispersion phi, power p, alpha = (2 - p) / (1 - p) < 0, all weights in one unit.
For y > 0 the density is a(y, phi, p) exp((y mu^(1-p) / (1-p) - mu^(2-p) / (2-p)) / phi), where

    y a(y, phi, p) = sum over j >= 1 of exp(j x - log Gamma(j+1) - log Gamma(-j alpha))
    x = -alpha log y - (1-alpha) log phi + alpha log(p-1) - log(2-p)

(Dunn & Smyth 2005, Statistics and Computing 15:267). The terms are log-concave in j. They peak near
y^(2-p) / (phi (2-p)) with standard deviation sqrt(peak / (1-alpha)), so a window around the peak suffices.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaln, xlogy

from analytics.catchrate.basis import FloatArray, IntArray

# Terms further from the peak than these many standard deviations are below 1e-16 of it; the constant is for
# peaks so low that the Poisson-like upper tail, not the standard deviation, decides.
BELOW, ABOVE, LEAST_ABOVE = 9.0, 11.0, 22
# From this spread on the sum over integers equals an integral, which a step of half a standard deviation
# gives to exp(-8 pi^2); the second bound keeps the terms near j = 0, where the integral would differ, nil.
WIDE, FAR_FROM_ZERO = 4.0, 60.0
# The grid nodes that a weight is shared among, counted from the one below it.
NEIGHBOURS = range(-2, 4)
# Rows of a series, and rows times terms of a Poisson sum, at a time: to bound memory.
ROWS, ELEMENTS = 8192, 1 << 18


def log_series(log_y: ArrayLike, log_dispersion: ArrayLike, power: float) -> FloatArray:
    """log(y a(y, phi, p)) for y > 0; log_y and log_dispersion broadcast, 1 < power < 2.

    The error is below 1e-12 of max(1, |result|) (checked against direct summation with 50 digits).
    """
    _require_compound(power)
    ratio = (2.0 - power) / (power - 1.0)  # -alpha: the gamma shape of one catch
    log_y, log_dispersion = np.broadcast_arrays(np.asarray(log_y, float), np.asarray(log_dispersion, float))
    log_peak = ((2.0 - power) * log_y - log_dispersion - np.log(2.0 - power)).ravel()
    x = (1.0 + ratio) * (log_peak + np.log(2.0 - power)) - ratio * np.log(power - 1.0) - np.log(2.0 - power)
    peak = np.exp(log_peak)
    spread = np.sqrt(peak / (1.0 + ratio))
    wide = (spread >= WIDE) & (peak * (1.0 + ratio) >= FAR_FROM_ZERO)
    result = np.empty_like(x)
    for rows, chosen in ((_sum_of_integers, ~wide), (_sum_by_steps, wide)):
        where = np.flatnonzero(chosen)
        for start in range(0, len(where), ROWS):
            part = where[start : start + ROWS]
            result[part] = rows(x[part], peak[part], spread[part], ratio)
    summed: FloatArray = result.reshape(log_y.shape)
    return summed


def _sum_of_integers(x: FloatArray, peak: FloatArray, spread: FloatArray, ratio: float) -> FloatArray:
    """Every term of the window, log Gamma looked up, since it depends on j and p alone."""
    first = np.maximum(np.floor(peak - BELOW * spread), 1.0).astype(np.int64)
    last = np.ceil(peak + np.maximum(ABOVE * spread, LEAST_ABOVE)).astype(np.int64)
    low, width = int(first.min()), int((last - first).max()) + 1
    j = np.arange(low, int(first.max()) + width, dtype=float)
    constants = gammaln(j + 1.0) + gammaln(ratio * j)
    if len(j) <= 2 * width:
        return _log_sum(x[:, None] * j - constants)
    windows = (first - low)[:, None] + np.arange(width)
    return _log_sum(x[:, None] * j[windows] - constants[windows])


def _sum_by_steps(x: FloatArray, peak: FloatArray, spread: FloatArray, ratio: float) -> FloatArray:
    """The integral over j by the trapezoidal rule, whose step is half a standard deviation."""
    step = 0.5 * spread[:, None]
    j = np.maximum(peak[:, None] + step * np.arange(-2 * BELOW, 2 * ABOVE + 1.0), 1e-3)
    return _log_sum(x[:, None] * j - gammaln(j + 1.0) - gammaln(ratio * j)) + np.log(step[:, 0])


def _log_sum(log_terms: FloatArray) -> FloatArray:
    largest = log_terms.max(axis=1)
    log_terms -= largest[:, None]
    total: FloatArray = largest + np.log(np.exp(log_terms, out=log_terms).sum(axis=1))
    return total


def log_density(y: ArrayLike, mean: ArrayLike, dispersion: ArrayLike, power: float) -> FloatArray:
    """Log density at y > 0 and log probability at y = 0, broadcast; minus infinity below zero."""
    _require_compound(power)
    y, mean, dispersion = np.broadcast_arrays(*(np.asarray(a, float) for a in (y, mean, dispersion)))
    result = np.asarray(-(mean ** (2.0 - power)) / (dispersion * (2.0 - power)))
    result[y < 0.0] = -np.inf
    caught = y > 0.0
    log_y, phi = np.log(y[caught]), dispersion[caught]
    result[caught] += y[caught] * mean[caught] ** (1.0 - power) / (phi * (1.0 - power)) - log_y
    result[caught] += log_series(log_y, np.log(phi), power)
    return result


@dataclass(frozen=True)
class DensityGrid:
    """Positive weights on log y, gathered once, so that a likelihood over many returns costs a few nodes.

    `log_y` are the nodes, `frequency` what the observations weigh there (six-point Lagrange interpolation,
    whose error per observation is below 1e-6 for power in [1.1, 1.9] and peaks of the series up to 1000), or
    the distinct weights themselves where they are fewer; `sum_log_y` is exact.
    """

    log_y: FloatArray
    frequency: FloatArray
    sum_log_y: float

    @classmethod
    def of(cls, y: ArrayLike, frequency: ArrayLike | None = None, step: float = 0.03) -> Self:
        """The grid of positive weights y (n,) with optional frequency weights (n,)."""
        y = np.asarray(y, float)
        if not np.all((y > 0.0) & np.isfinite(y)):
            raise ValueError("a density grid takes positive finite weights only")
        counts = np.ones_like(y) if frequency is None else np.asarray(frequency, float)
        log_y = np.log(y)
        sum_log_y = float(counts @ log_y)
        if len(y) == 0:
            return cls(log_y, counts, sum_log_y)
        lowest, nodes = float(log_y.min()), int(np.ptp(log_y) / step) + 7
        # Sorting all of a large club's weights takes longer than the rest; a part of them tells enough.
        if len(np.unique(log_y[:10_000])) <= nodes:
            distinct, codes = np.unique(log_y, return_inverse=True)
            if len(distinct) <= nodes:
                return cls(distinct, np.bincount(codes, counts).astype(float), sum_log_y)
        start = lowest - 2.5 * step
        place = (log_y - start) / step
        cell = np.floor(place).astype(np.int64)
        gathered = np.zeros(nodes)
        for offset, weight in zip(NEIGHBOURS, _lagrange(place - cell), strict=True):
            gathered += np.bincount(cell + offset, counts * weight, nodes)
        return cls(start + step * np.arange(nodes, dtype=np.float64), gathered, sum_log_y)

    def total(self, log_dispersion: float, power: float) -> float:
        """sum of frequency * log a(y, phi, p): the part of the log-likelihood that the mean leaves alone."""
        if len(self.log_y) == 0:
            return 0.0
        return float(self.frequency @ log_series(self.log_y, log_dispersion, power)) - self.sum_log_y


def _lagrange(t: FloatArray) -> list[FloatArray]:
    """Weights of the neighbours for interpolation at t in [0, 1]."""
    weights = []
    for node in NEIGHBOURS:
        others = [other for other in NEIGHBOURS if other != node]
        weights.append(np.prod([(t - other) / (node - other) for other in others], axis=0))
    return weights


def cumulative(y: ArrayLike, mean: ArrayLike, dispersion: ArrayLike, power: float) -> FloatArray:
    """P(Y <= y), broadcast: a Poisson number of gamma catches, summed over the Poisson's spread."""
    _require_compound(power)
    y, mean, dispersion = np.broadcast_arrays(*(np.asarray(a, float) for a in (y, mean, dispersion)))
    shape = (2.0 - power) / (power - 1.0)
    rate = (mean ** (2.0 - power) / (dispersion * (2.0 - power))).ravel()
    scaled = (np.maximum(y, 0.0) / (dispersion * (power - 1.0) * mean ** (power - 1.0))).ravel()
    result = np.exp(-rate)
    for rows, n in poisson_windows(rate):
        result[rows] += _weighted_gammas(rate[rows], scaled[rows], shape * n, n)
    return np.where(y < 0.0, 0.0, np.minimum(result.reshape(y.shape), 1.0))


def _weighted_gammas(rate: FloatArray, scaled: FloatArray, shapes: FloatArray, n: FloatArray) -> FloatArray:
    """sum over n >= 1 of Poisson(n; rate) times the distribution function of n gamma catches."""
    weight = np.exp(xlogy(n, rate[:, None]) - rate[:, None] - gammaln(n + 1.0))
    total: FloatArray = (weight * gammainc(shapes, scaled[:, None])).sum(axis=1)
    return total


def poisson_windows(centre: FloatArray) -> Iterator[tuple[IntArray, FloatArray]]:
    """Numbers n >= 1 outside which a Poisson of mean `centre` holds below 1e-14, in parts to bound memory.

    Yields positions in `centre` (rows,) and consecutive numbers (rows, terms); every position comes once.
    """
    spread = np.sqrt(centre)
    first = np.maximum(np.floor(centre - BELOW * spread), 1.0)
    widths = np.ceil(centre + np.maximum(ABOVE * spread, LEAST_ABOVE)) - first + 1.0
    rows = np.argsort(widths, kind="stable")
    while len(rows):
        # The widest of a part decides: widths times their rank from the start grow along the part.
        cost = widths[rows] * np.arange(1, len(rows) + 1)
        part = rows[: max(1, int(np.searchsorted(cost, ELEMENTS, side="right")))]
        yield part, first[part, None] + np.arange(widths[part[-1]])
        rows = rows[len(part) :]


def _require_compound(power: float) -> None:
    if not 1.0 < power < 2.0:
        raise ValueError(f"the compound Poisson-gamma needs a power between one and two, not {power}")
