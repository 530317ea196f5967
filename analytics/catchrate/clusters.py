"""Means over sessions of which those of one day are alike.

Who fishes on one day shares its weather and its luck, so it is days that count, not sessions.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean and its standard error; None where a single day leaves nothing to tell it by."""

    value: float
    standard_error: float | None

    @property
    def z(self) -> float:
        """The mean's distance from nought in standard errors; nought where these are not known."""
        return self.value / self.standard_error if self.standard_error else 0.0


def clustered_mean(values: FloatArray, cluster: NDArray[np.int64]) -> Mean:
    """The mean of values (n,) whose clusters (n,), numbered from 0, are independent of one another.

    The variance is the sum over clusters of the squared sum of residuals, times G / (G - 1) (Liang & Zeger
    1986, Biometrika 73:13, for a mean).
    """
    mean = float(np.mean(values))
    sums = np.bincount(cluster, values - mean)
    groups = len(np.unique(cluster))
    if groups < 2:
        return Mean(mean, None)
    variance = float(np.sum(sums**2)) * groups / (groups - 1)
    return Mean(mean, float(np.sqrt(variance)) / len(values))
