"""What was observed over what a fit expects, with a score interval, in NumPy alone."""

from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray

MOST_STEPS = 100


def ratio_bounds(
    observed: Any, expected: Any, variance: Any, power: float, quantile: float
) -> tuple[FloatArray, FloatArray]:
    """Ratios r, (n,) each, at the two ends of the score interval of observed / expected.

    `variance` is that of the sum as the fit has it, sum of phi mu^p. Were the true ratio r, the sum would
    have mean r E and variance r^p V, so the ends solve |O - r E| = z r^(p/2) sqrt(V) for 1 <= p < 2. It
    never falls below nought, and a sum of blanks has an upper end too (the quasi-likelihood's own score
    test turned round, as Wilson's 1927 interval is for a share).
    """
    o, e, v = (np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in (observed, expected, variance))
    ratio, spread = o / e, quantile * np.sqrt(v) / e
    # Of u = r^(p/2) both equations are convex, so that Newton's steps from above never pass the root.
    far = np.maximum(2.0 * ratio, (2.0 * spread) ** (1.0 / (1.0 - 0.5 * power)))
    upper = _root(far ** (0.5 * power), ratio, -spread, 2.0 / power)
    lower = _root(ratio ** (0.5 * power), ratio, spread, 2.0 / power)
    return lower, upper


def _root(start: FloatArray, ratio: FloatArray, slope: FloatArray, exponent: float) -> FloatArray:
    """r = u^exponent where u^exponent + slope u = ratio, from a start that is not below it."""
    u = start
    for _ in range(MOST_STEPS):
        bent = u ** (exponent - 1.0)
        step = (u * (bent + slope) - ratio) / (exponent * bent + slope)
        u = np.maximum(u - step, 0.0)
        if np.all(np.abs(step) <= 1e-12 * u + 1e-300):
            break
    found: FloatArray = u**exponent
    return found
