"""How levels of one term stand to one another, from their joint distribution, in NumPy alone.

Differences, ranks and 'better than' need the joint covariance: what the levels share cancels from their
differences, so that two intervals that overlap may still belong to levels that are told apart well.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import TermEstimate
from analytics.catchrate.predict import NORMAL_95

#: The standard normal quantile that leaves 25 % on either side.
NORMAL_75 = 0.6744897501960817


@dataclass(frozen=True, slots=True, eq=False)
class Effects:
    """Log effects (n,) of some levels and their joint covariance (n, n)."""

    estimates: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Contrasts:
    """Log ratios (n,) to the levels' geometric mean, with standard errors."""

    estimates: FloatArray
    standard_errors: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Ranks:
    """Chances (n, n): row i, column r - 1 is the chance that level i has rank r; rank 1 is the greatest."""

    chances: FloatArray

    @property
    def expected(self) -> FloatArray:
        """Mean rank, (n,)."""
        found: FloatArray = self.chances @ np.arange(1.0, len(self.chances) + 1.0)
        return found

    def quantile(self, share: float) -> FloatArray:
        """The least rank, (n,), that a level does not exceed with at least this chance."""
        # Shares of draws are added up: half a draw of slack keeps rounding out of it.
        reached = np.cumsum(self.chances, axis=1) >= share - 1e-9
        found: FloatArray = np.argmax(reached, axis=1) + 1.0
        return found

    def within(self, ranks: int) -> FloatArray:
        """The chance, (n,), of being among the first so many."""
        found: FloatArray = self.chances[:, :ranks].sum(axis=1)
        return found


def effects_of(item: TermEstimate, factor: FloatArray, levels: Sequence[str]) -> Effects:
    """The effects of some levels of a factor that is in the joint covariance FF', F = `factor` (k, k).

    :raises KeyError: the fit never saw one of the levels.
    """
    if item.start is None:
        raise ValueError(f"{item.name} is averaged over: it is not in the joint covariance")
    places = {level: place for place, level in enumerate(item.term.coefficient_names)}
    chosen = np.array([places[level] for level in levels], dtype=np.int64)
    rows = factor[item.start + chosen]
    return Effects(np.asarray(item.estimates)[chosen], rows @ rows.T)


def contrasts(effects: Effects) -> Contrasts:
    """Each level against the mean of them all on the log scale: b_i - mean(b), Var = diag(PCP)."""
    covariance = effects.covariance
    shared = covariance.mean(axis=0)
    variance = np.diag(covariance) - 2.0 * shared + covariance.mean()
    centred = effects.estimates - effects.estimates.mean()
    return Contrasts(centred, np.sqrt(np.maximum(variance, 0.0)))


def difference(effects: Effects, first: int, second: int) -> tuple[float, float]:
    """Log ratio of the first level to the second, and its standard error."""
    c = effects.covariance
    variance = c[first, first] + c[second, second] - 2.0 * c[first, second]
    return float(effects.estimates[first] - effects.estimates[second]), math.sqrt(max(float(variance), 0.0))


def chance_above(log_ratio: float, standard_error: float) -> float:
    """The chance that a normal log ratio is above zero."""
    if standard_error == 0.0:
        return 0.5 if log_ratio == 0.0 else float(log_ratio > 0.0)
    return 0.5 * math.erfc(-log_ratio / standard_error / math.sqrt(2.0))


def joint_draws(means: FloatArray, covariance: FloatArray, draws: int, seed: Sequence[int]) -> FloatArray:
    """Normal draws, (draws, n); the covariance may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    noise = np.random.default_rng(seed).standard_normal((draws, len(means)))
    drawn: FloatArray = means + noise @ root.T
    return drawn


def ranks_of(draws: FloatArray) -> Ranks:
    """Ranks in each of the draws (m, n), counted."""
    count, levels = draws.shape
    order = np.argsort(-draws, axis=1)
    cells = order * levels + np.arange(levels)
    found = np.bincount(cells.ravel(), minlength=levels * levels).reshape(levels, levels)
    return Ranks(found / count)


def ratio_interval(log_ratio: float, standard_error: float, share: int) -> tuple[float, float]:
    """The 50 or 90 % interval of a ratio whose logarithm is normal."""
    reach = {50: NORMAL_75, 90: NORMAL_95}[share] * standard_error
    return math.exp(log_ratio - reach), math.exp(log_ratio + reach)
