"""Randomised quantile residuals, and whether they are flat against what they might depend on.

Under a right model F(Y), drawn uniformly over the jump at a blank, is uniform, and its normal quantile z is
standard normal whatever the mean (Dunn & Smyth 1996, J. Comput. Graph. Stat. 5:236).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import chdtrc, ndtri

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.density import cumulative
from analytics.catchrate.terms import Coded

#: Numbers of no more than so many values are their own bins; those of more are put into so many bins, and a
#: bin must hold so many returns to be judged.
FEW_VALUES = 12
BINS = 10
SMALLEST_BIN = 20
#: Not flat: so large a chi-square by chance once in a thousand, and a bin that lies a tenth of a standard
#: deviation or more off. Both, since with many returns what is significant may still not matter (common
#: practice, no source).
SIGNIFICANCE = 0.001
MATERIAL = 0.1

FLAT = "flat"
NOT_FLAT = "not flat"
NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Flatness:
    """Mean residuals in bins of one covariate; `largest_mean` is the largest |mean z|, in bin `largest_bin`.

    `chi_square` sums n * (mean z)^2 over `bins`, as many degrees of freedom; the fit has spent some, so the
    p-value errs towards flat. Without two bins of returns enough nothing is judged and the numbers are None.
    """

    covariate: str
    verdict: str
    bins: int
    chi_square: float | None
    p_value: float | None
    largest_mean: float | None
    largest_mean_se: float | None
    largest_bin: str | None


def quantile_residuals(
    generator: np.random.Generator,
    weight_g: FloatArray,
    mean_g: FloatArray,
    dispersion: FloatArray,
    power: float,
) -> FloatArray:
    """Randomised quantile residuals z, (n,), of weights with the given means and dispersions, (n,) each."""
    probability = cumulative(weight_g, mean_g, dispersion, power)
    blank = weight_g == 0.0
    probability[blank] *= generator.random(int(blank.sum()))
    # Beyond eight standard deviations the distribution function is one, or zero, to the last digit.
    z: FloatArray = np.clip(ndtri(probability), -8.0, 8.0)
    return z


def flatness(covariate: str, values: FloatArray | Coded, z: FloatArray) -> Flatness:
    """Whether residuals z (n,) are flat against values (n,): numbers in bins, or words by level.

    Values that are missing, and bins with too few returns, are left out.
    """
    labels, codes = _binned(values)
    counts = np.bincount(codes[codes >= 0], minlength=len(labels))
    sums = np.bincount(codes[codes >= 0], z[codes >= 0], minlength=len(labels))
    judged = np.flatnonzero(counts >= SMALLEST_BIN)
    if len(judged) < 2:
        return Flatness(covariate, NOT_JUDGED, len(judged), None, None, None, None, None)
    means = sums[judged] / counts[judged]
    chi_square = float(np.sum(counts[judged] * means**2))
    p_value = float(chdtrc(len(judged), chi_square))
    largest = int(np.argmax(np.abs(means)))
    off = p_value < SIGNIFICANCE and abs(means[largest]) >= MATERIAL
    return Flatness(
        covariate=covariate,
        verdict=NOT_FLAT if off else FLAT,
        bins=len(judged),
        chi_square=chi_square,
        p_value=p_value,
        largest_mean=float(abs(means[largest])),
        largest_mean_se=float(1.0 / np.sqrt(counts[judged][largest])),
        largest_bin=labels[judged[largest]],
    )


def _binned(values: FloatArray | Coded) -> tuple[list[str], IntArray]:
    """Labels of bins and the code of each value, -1 where it is missing."""
    if isinstance(values, Coded):
        return list(values.levels), values.codes.astype(np.int64)
    binned = np.full(len(values), -1, dtype=np.int64)
    known = ~np.isnan(values)
    distinct, inverse = np.unique(values[known], return_inverse=True)
    if len(distinct) <= FEW_VALUES:
        binned[known] = inverse
        return [f"{value:g}" for value in distinct], binned
    edges = np.unique(np.quantile(values[known], np.linspace(0.0, 1.0, BINS + 1)))
    binned[known] = np.clip(np.searchsorted(edges, values[known], side="right") - 1, 0, len(edges) - 2)
    return [f"{_plain(low)} to {_plain(high)}" for low, high in pairwise(edges)], binned


def _plain(edge: float) -> str:
    """Four digits that count, never as a power of ten: '13,990'."""
    return f"{float(f'{edge:.4g}'):,.10g}"
