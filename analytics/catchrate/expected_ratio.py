"""What was observed over what a fit expects, with a score interval, in NumPy alone."""

from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray

#: Halvings of the bracket: to one part in 10^15 of its width.
HALVINGS = 50


def ratio_bounds(
    observed: Any, expected: Any, variance: Any, power: float, quantile: float
) -> tuple[FloatArray, FloatArray]:
    """Ratios r, (n,) each, at the two ends of the score interval of observed / expected.

    `variance` is that of the sum as the fit has it, sum of phi mu^p. Were the true ratio r, the sum would
    have mean r E and variance r^p V, so the ends solve |O - r E| = z r^(p/2) sqrt(V) for 1 < p < 2. It
    never falls below nought, and a sum of blanks has an upper end too (the quasi-likelihood's own score
    test turned round, as Wilson's 1927 interval is for a share).
    """
    o, e, v = (np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in (observed, expected, variance))
    ratio, spread = o / e, quantile * np.sqrt(v) / e

    def beyond(r: FloatArray) -> FloatArray:
        distance: FloatArray = np.abs(ratio - r) - spread * r ** (power / 2.0)
        return distance

    lower = _crossing(np.zeros_like(ratio), ratio, beyond, rising=False)
    most = ratio + 1.0
    for _ in range(HALVINGS):
        most = np.where(beyond(most) < 0.0, 2.0 * most, most)
    return lower, _crossing(ratio, most, beyond, rising=True)


def _crossing(low: FloatArray, high: FloatArray, beyond: Any, *, rising: bool) -> FloatArray:
    """Where `beyond` changes sign between the two, to the last bit that matters."""
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        above = (beyond(middle) > 0.0) == rising
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    found: FloatArray = 0.5 * (low + high)
    return found
