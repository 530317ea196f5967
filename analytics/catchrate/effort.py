"""Catch rates without a model: two estimators for two kinds of trip.

Right for complete trips is the ratio of means (Cochran 1977, *Sampling Techniques*, 3rd ed., ch. 6);
for incomplete trips the mean of ratios (Hoenig, Jones, Pollock, Robson & Wade 1997, Biometrics
53:306). Club returns are complete trips.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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


@dataclass(frozen=True, slots=True, eq=False)
class GroupRates:
    """Both rates of each of g groups of trips, (g,) each.

    A rate is NaN where a group has no trip, a standard error where it has fewer than two.
    """

    trips: NDArray[np.int64]
    catch: FloatArray
    effort: FloatArray
    ratio: FloatArray
    ratio_se: FloatArray
    mean: FloatArray
    mean_se: FloatArray


def rates_by_group(
    catch: FloatArray, effort: FloatArray, group: NDArray[np.int64], groups: int
) -> GroupRates:
    """`ratio_of_means` and `mean_of_ratios` of every group at once; `group` is 0 to `groups` - 1.

    :raises ValueError: effort not above zero.
    """
    if not (effort > 0).all():
        raise ValueError("effort must be above zero")
    trips = np.bincount(group, minlength=groups)
    total_catch, total_effort = _sums(catch, group, groups), _sums(effort, group, groups)
    with np.errstate(invalid="ignore", divide="ignore"):
        freedom = np.where(trips > 1, trips - 1.0, np.nan)
        ratio = total_catch / total_effort
        squares = _sums((catch - ratio[group] * effort) ** 2, group, groups)
        ratio_se = np.sqrt(squares / freedom / trips) / (total_effort / trips)
        mean = _sums(catch / effort, group, groups) / trips
        spread = _sums((catch / effort - mean[group]) ** 2, group, groups) / freedom
        mean_se = np.sqrt(spread / trips)
    return GroupRates(trips, total_catch, total_effort, ratio, ratio_se, mean, mean_se)


def _sums(values: FloatArray, group: NDArray[np.int64], groups: int) -> FloatArray:
    return np.bincount(group, values, minlength=groups).astype(np.float64)


def _checked(catch: FloatArray, effort: FloatArray) -> tuple[FloatArray, FloatArray]:
    catch, effort = np.asarray(catch, dtype=np.float64), np.asarray(effort, dtype=np.float64)
    if catch.shape != effort.shape or catch.ndim != 1 or len(catch) < 2:
        raise ValueError("catch and effort must be two columns of one length, two trips at least")
    if not (effort > 0).all():
        raise ValueError("effort must be above zero")
    return catch, effort
