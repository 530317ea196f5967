"""Whether forecasts of unseen sessions hold what they say: their intervals, their means and their blanks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.clusters import Mean, clustered_mean

#: The central intervals whose coverage is told and judged.
SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
BINS = 10
#: A class of forecasts needs so many sessions for a mean of its own.
SMALLEST_CLASS = 10


@dataclass(frozen=True, slots=True)
class Coverage:
    """Of the sessions, the share `found` inside the central intervals that should hold `share` of them.

    `standard_error` is by day, and no less than that of independent sessions.
    """

    share: float
    sessions: int
    inside: int
    standard_error: float

    @property
    def found(self) -> float:
        return self.inside / self.sessions


@dataclass(frozen=True, slots=True)
class ForecastClass:
    """The mean of weights, in grams, of sessions with forecasts alike, beside the mean of the forecasts."""

    sessions: int
    expected_g: float
    observed_g: float
    standard_error_g: float | None


@dataclass(frozen=True, slots=True)
class BlankShare:
    """The share of blanks as forecast and as found; the standard error is of their difference."""

    sessions: int
    expected: float
    observed: float
    standard_error: float | None


@dataclass(frozen=True, slots=True)
class Calibration:
    """Coverage at 10 to 90 %, sessions by the tenth of its forecast in which the weight lies (the histogram
    of the probability integral transform), means by class of forecast, and blanks."""

    coverages: tuple[Coverage, ...]
    tenths: tuple[int, ...]
    classes: tuple[ForecastClass, ...]
    blanks: BlankShare

    def coverage(self, share: float) -> Coverage:
        """That of the central interval of this share.

        :raises StopIteration: there is no such interval.
        """
        return next(item for item in self.coverages if item.share == share)


def calibration_of(
    weight_g: FloatArray,
    mean_g: FloatArray,
    draws_g: FloatArray,
    places: FloatArray,
    day: NDArray[np.int64],
) -> Calibration:
    """Hold weights (n,) against forecasts' means (n,) and draws (n, m); `places` (n,) are the weights' places
    among the draws, `day` (n,) numbers the days from 0."""
    counts, _ = np.histogram(places, bins=BINS, range=(0.0, 1.0))
    return Calibration(
        coverages=tuple(_coverage(places, share, day) for share in SHARES),
        tenths=tuple(int(count) for count in counts),
        classes=_classes(weight_g, mean_g, day),
        blanks=_blanks(weight_g, draws_g, day),
    )


def _coverage(places: FloatArray, share: float, day: NDArray[np.int64]) -> Coverage:
    inside = np.abs(places - 0.5) <= share / 2.0
    independent = float(np.sqrt(share * (1.0 - share) / len(places)))
    by_day = clustered_mean(inside.astype(np.float64), day).standard_error or 0.0
    return Coverage(share, len(places), int(inside.sum()), max(by_day, independent))


def _classes(weight_g: FloatArray, mean_g: FloatArray, day: NDArray[np.int64]) -> tuple[ForecastClass, ...]:
    """Ten classes of as many sessions each, fewer where there are few sessions, by rising forecast."""
    number = max(1, min(BINS, len(mean_g) // SMALLEST_CLASS))
    found = []
    for rows in np.array_split(np.argsort(mean_g, kind="stable"), number):
        observed = clustered_mean(weight_g[rows], _renumbered(day[rows]))
        expected = float(mean_g[rows].mean())
        found.append(ForecastClass(len(rows), expected, observed.value, observed.standard_error))
    return tuple(found)


def _blanks(weight_g: FloatArray, draws_g: FloatArray, day: NDArray[np.int64]) -> BlankShare:
    blank, chance = weight_g == 0.0, np.mean(draws_g == 0.0, axis=1)
    gap: Mean = clustered_mean(blank - chance, day)
    return BlankShare(len(blank), float(chance.mean()), float(blank.mean()), gap.standard_error)


def _renumbered(day: NDArray[np.int64]) -> NDArray[np.int64]:
    found: NDArray[np.int64] = np.unique(day, return_inverse=True)[1]
    return found
