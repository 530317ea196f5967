"""How well a fit describes the returns it was made from.

Both functions take the usable returns, or the frame they were read from. Weights known only to lie between
two bounds are left out of every comparison, and their number stands beside the others.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import weighted_counts
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import zero_probability
from analytics.catchrate.fitted import (
    Fitted,
    first_parts,
    fitted_means,
    fitted_returns,
    session_hours,
    session_words,
)
from analytics.catchrate.influence import Influence, most_influential
from analytics.catchrate.likelihood import LARGEST_POWER, SMALLEST_POWER
from analytics.catchrate.offset import EffortExponent, effort_exponents
from analytics.catchrate.residuals import Flatness, flatness, quantile_residuals
from analytics.catchrate.returns import ESTIMATED, Returns
from analytics.catchrate.scores import mean_deviance
from analytics.catchrate.terms import Coded, LearnedFactor

__all__ = [
    "Check",
    "Diagnosis",
    "Influence",
    "MonthOfBlanks",
    "Wall",
    "check_fit",
    "diagnose_fit",
    "fitted_means",
]

#: A contribution to log mean beyond this, a factor of 150, has run away: a level of blanks alone, say.
WALL_LOG = 5.0
#: A random effect this many prior standard deviations out is held by its prior alone.
WALL_PRIOR_SDS = 4.0
#: Residuals of more returns than these are those of a random part, to bound time and memory.
MOST_RESIDUALS = 100_000


@dataclass(frozen=True, slots=True)
class Check:
    """Blanks and spread as fitted against as found, and the gain over each water's mean catch rate.

    `returns` were fitted, `exact` of them have an exact weight and are what all the rest is about.
    `blank_share_z` is the difference of the blank shares in standard errors under the fit;
    `pearson_dispersion` is that of weighed returns, `estimated_pearson_dispersion` that of estimated ones
    (None without any); they count every return, so they lie a little below the fit's, which allow for the
    degrees of freedom; `dispersion_ratio` allows for them too, each return over its own fitted dispersion,
    and `dispersion_z` is its distance from one in standard errors; `deviance_explained` is
    1 - deviance / baseline deviance; `effort_exponents` test the offset, by kind of session.
    """

    returns: int
    blank_share_observed: float
    blank_share_fitted: float
    blank_share_z: float
    pearson_dispersion: float
    deviance: float
    baseline_deviance: float
    deviance_explained: float
    dispersion_ratio: float = 1.0
    dispersion_z: float = 0.0
    exact: int = 0
    estimated_pearson_dispersion: float | None = None
    effort_exponents: tuple[EffortExponent, ...] = ()


@dataclass(frozen=True, slots=True)
class MonthOfBlanks:
    """Returns of one calendar month, the share of blanks among them and the share that the fit expects.

    `standard_error` is that of the share under the fit.
    """

    month: int
    returns: int
    observed: float
    fitted: float
    standard_error: float


@dataclass(frozen=True, slots=True)
class Wall:
    """An estimate that stands where nothing but a bound or a prior holds it."""

    term: str
    level: str
    estimate: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Residuals against what they might depend on, the returns that pull hardest, estimates at a wall.

    `blanks_by_month` are as found and as fitted. `residuals` returns gave a residual: those with an exact
    weight, or a random part of very many. A blank is never said to be estimated, so residuals are
    standard normal over both classes together, not in each.
    """

    residuals: int
    residual_mean: float
    residual_sd: float
    flatness: tuple[Flatness, ...]
    influential: tuple[Influence, ...]
    walls: tuple[Wall, ...]
    blanks_by_month: tuple[MonthOfBlanks, ...] = ()


def check_fit(estimates: Estimates, returns: Returns | pd.DataFrame) -> Check:
    """Hold a fit against its own returns."""
    fitted = fitted_returns(estimates, returns)
    exact, power = fitted.exact, fitted.power
    weight, mean = fitted.returns.weight_g[exact], fitted.mean_g[exact]
    dispersion = fitted.dispersion[exact]
    count = len(exact)
    blank = zero_probability(mean, dispersion, power)
    observed, expected = float(np.mean(weight == 0)), float(blank.mean())
    spread = float(np.sqrt(np.sum(blank * (1.0 - blank)))) / count
    deviance = count * mean_deviance(weight, mean, power)
    baseline = count * mean_deviance(weight, _water_means(fitted.returns, exact), power)
    squares = (weight - mean) ** 2 / mean**power
    # The bounded returns have borne their share of the degrees of freedom.
    edf = estimates.edf * count / len(fitted.mean_g)
    ratio = float(np.mean(squares / dispersion)) * count / max(count - edf, 1.0)
    estimated = fitted.returns.dispersion_class[exact] == ESTIMATED
    return Check(
        returns=len(fitted.mean_g),
        blank_share_observed=observed,
        blank_share_fitted=expected,
        blank_share_z=(observed - expected) / spread,
        pearson_dispersion=float(np.mean(squares if estimated.all() else squares[~estimated])),
        deviance=deviance,
        baseline_deviance=baseline,
        deviance_explained=1.0 - deviance / baseline,
        dispersion_ratio=ratio,
        dispersion_z=(ratio - 1.0) / dispersion_ratio_se(mean, dispersion, power),
        exact=count,
        estimated_pearson_dispersion=float(np.mean(squares[estimated])) if estimated.any() else None,
        effort_exponents=effort_exponents(estimates, fitted.returns),
    )


def diagnose_fit(estimates: Estimates, returns: Returns | pd.DataFrame, seed: int = 0) -> Diagnosis:
    """What the fit's residuals show; the seed draws blanks' residuals.

    'Peg order' is judged where the frame has a column `peg_order`: a peg's place along its bank.
    """
    fitted = fitted_returns(estimates, returns)
    generator = np.random.default_rng(seed)
    chosen = fitted.exact
    if len(chosen) > MOST_RESIDUALS:
        chosen = np.sort(generator.choice(chosen, MOST_RESIDUALS, replace=False))
    z = quantile_residuals(
        generator,
        fitted.returns.weight_g[chosen],
        fitted.mean_g[chosen],
        fitted.dispersion[chosen],
        fitted.power,
    )
    return Diagnosis(
        residuals=len(z),
        residual_mean=float(z.mean()),
        residual_sd=float(z.std()),
        flatness=_flatness(fitted, chosen, z),
        influential=most_influential(estimates, fitted),
        walls=_walls(estimates, fitted.returns),
        blanks_by_month=_blanks_by_month(fitted),
    )


def dispersion_ratio_se(mean: FloatArray, dispersion: FloatArray | float, power: float) -> float:
    """Standard error of the mean of (y - mu)^2 / (phi mu^p) over returns with these means.

    Its terms have variance 2 + kappa4 / (phi^2 mu^(2p)) = 2 + p (2p-1) phi mu^(p-2), as each cumulant is
    phi mu^p times the derivative of the one before (Jorgensen 1997, *Theory of Dispersion Models*, ch. 3).
    """
    variance = 2.0 + power * (2.0 * power - 1.0) * dispersion * mean ** (power - 2.0)
    return float(np.sqrt(variance.mean() / len(mean)))


def _flatness(fitted: Fitted, chosen: NDArray[np.int64], z: FloatArray) -> tuple[Flatness, ...]:
    """Against the fitted mean, the month, the place along the bank, the year and the hours fished."""
    returns = fitted.returns
    month, year = session_words(returns, "month"), session_words(returns, "year")
    return (
        flatness("fitted", fitted.mean_g[chosen], z),
        flatness("season", _at(month, chosen), z),
        flatness("peg order", returns.peg_order[first_parts(returns)][chosen], z),
        flatness("year", _at(year, chosen), z),
        flatness("hours", session_hours(returns)[chosen], z),
    )


def _at(column: Coded, rows: NDArray[np.int64]) -> Coded:
    return Coded(column.codes[rows], column.levels)


def _blanks_by_month(fitted: Fitted) -> tuple[MonthOfBlanks, ...]:
    """The months in which anyone fished."""
    exact = fitted.exact
    month = session_words(fitted.returns, "month").codes[exact]
    chance = zero_probability(fitted.mean_g[exact], fitted.dispersion[exact], fitted.power)
    blank = (fitted.returns.weight_g[exact] == 0.0).astype(np.float64)
    counts = np.bincount(month, minlength=12)
    sums = (np.bincount(month, values, 12) for values in (blank, chance, chance * (1.0 - chance)))
    found, expected, variance = (total / np.maximum(counts, 1) for total in sums)
    error = np.sqrt(variance / np.maximum(counts, 1))
    return tuple(
        MonthOfBlanks(code + 1, int(counts[code]), *(float(v[code]) for v in (found, expected, error)))
        for code in np.flatnonzero(counts).tolist()
    )


def _walls(estimates: Estimates, returns: Returns) -> tuple[Wall, ...]:
    """Estimates beyond the limits at the head of this module: levels of factors, whole curves, the power."""
    walls = []
    if not SMALLEST_POWER < estimates.power < LARGEST_POWER:
        walls.append(Wall("power", "", estimates.power))
    for item in estimates.terms:
        if isinstance(item.term, LearnedFactor):
            limit = min(WALL_LOG, WALL_PRIOR_SDS * item.prior_sd)
            levels = zip(item.term.coefficient_names, item.estimates, strict=True)
            walls += [Wall(item.name, level, value) for level, value in levels if abs(value) > limit]
        else:
            curve = item.term.encode(returns.features).spread(np.asarray(item.estimates))
            extreme = float(curve[np.argmax(np.abs(curve))])
            if abs(extreme) > WALL_LOG:
                walls.append(Wall(item.name, "", extreme))
    return tuple(walls)


def _water_means(returns: Returns, exact: NDArray[np.int64]) -> FloatArray:
    """Of the exact returns, each water's ratio of total weight to total effort, times the hours."""
    water = session_words(returns, "water")
    codes, levels = water.codes[exact] + 1, len(water.levels) + 1
    hours = session_hours(returns)[exact]
    weight = weighted_counts(codes, returns.weight_g[exact], levels)
    effort = weighted_counts(codes, hours, levels)
    # A water that never gave a fish would have mean zero, and its deviance no value.
    tiny = np.finfo(float).tiny
    return (np.maximum(weight, tiny) / np.maximum(effort, tiny))[codes] * hours
