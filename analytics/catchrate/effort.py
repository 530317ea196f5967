"""Catch rates without a model: two estimators for two kinds of trip.

Right for complete trips is the ratio of means (Cochran 1977, *Sampling Techniques*, 3rd ed., ch. 6);
for incomplete trips the mean of ratios (Hoenig, Jones, Pollock, Robson & Wade 1997, Biometrics
53:306). Club returns are complete trips.
"""

from dataclasses import dataclass

import numpy as np

from analytics.catchrate.basis import FloatArray


@dataclass(frozen=True, slots=True)
class Rate:
    """Catch a unit of effort with its standard error."""

    estimate: float
    standard_error: float


def ratio_of_means(catch: FloatArray, effort: FloatArray) -> Rate:
    """Total catch over total effort; var = sum((c - R h)²) / (n - 1) / (n mean(h)²).

    :raises ValueError: fewer than two trips, unequal lengths, or effort not above zero.
    """
    catch, effort = _checked(catch, effort)
    count = len(catch)
    rate = float(catch.sum() / effort.sum())
    residual = float(np.sum((catch - rate * effort) ** 2)) / (count - 1)
    return Rate(rate, float(np.sqrt(residual / count) / effort.mean()))


def mean_of_ratios(catch: FloatArray, effort: FloatArray) -> Rate:
    """The mean of the trips' own rates, every trip counting alike.

    :raises ValueError: fewer than two trips, unequal lengths, or effort not above zero.
    """
    catch, effort = _checked(catch, effort)
    rates = catch / effort
    return Rate(float(rates.mean()), float(rates.std(ddof=1) / np.sqrt(len(rates))))


def _checked(catch: FloatArray, effort: FloatArray) -> tuple[FloatArray, FloatArray]:
    catch, effort = np.asarray(catch, dtype=np.float64), np.asarray(effort, dtype=np.float64)
    if catch.shape != effort.shape or catch.ndim != 1 or len(catch) < 2:
        raise ValueError("catch and effort must be two columns of one length, two trips at least")
    if not (effort > 0).all():
        raise ValueError("effort must be above zero")
    return catch, effort
