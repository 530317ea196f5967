"""How well a fit describes the returns it was made from."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from statsmodels.genmod import families

from analytics.catchrate.basis import FloatArray, IntArray, ObjectArray
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import zero_probability
from analytics.catchrate.residuals import Flatness, flatness, quantile_residuals
from analytics.catchrate.returns import USED_OUTCOMES, Returns, usable_returns
from analytics.catchrate.terms import LearnedFactor

#: A contribution to log mean beyond this, a factor of 150, has run away: a level of blanks alone, say.
WALL_LOG = 5.0
#: A random effect this many prior standard deviations out is held by its prior alone.
WALL_PRIOR_SDS = 4.0
#: A power this close to one or two is held by the bound of the search.
WALL_POWER = 0.02
#: Residuals of more returns than these are those of a random part, to bound time and memory.
MOST_RESIDUALS = 100_000
INFLUENTIAL = 10


@dataclass(frozen=True, slots=True)
class Check:
    """Blanks and spread as fitted against as found, and the gain over each water's mean catch rate.

    `blank_share_z` is the difference of the blank shares in standard errors under the fit;
    `pearson_dispersion` counts every return, so it lies a little below the fit's, which allows for the
    degrees of freedom; `dispersion_ratio` allows for them too, over the fit's, and `dispersion_z` is its
    distance from one in standard errors; `deviance_explained` is 1 - deviance / baseline deviance.
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


@dataclass(frozen=True, slots=True)
class Influence:
    """A return that pulls hard: its position in the frame (from 0), its weights, its pull and its residual.

    `score` is the derivative of its log-likelihood by log mean, (y - mu) mu^(1-p) / phi, which is what it
    adds to the equation of every coefficient it has a part in; `residual` is Pearson's.
    """

    position: int
    weight_g: float
    expected_g: float
    score: float
    residual: float


@dataclass(frozen=True, slots=True)
class Wall:
    """An estimate that stands where nothing but a bound or a prior holds it."""

    term: str
    level: str
    estimate: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Residuals against what they might depend on, the returns that pull hardest, estimates at a wall."""

    residual_mean: float
    residual_sd: float
    flatness: tuple[Flatness, ...]
    influential: tuple[Influence, ...]
    walls: tuple[Wall, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """The returns that were fitted, (n,) each: `position` counts the frame's rows from 0."""

    returns: Returns
    position: IntArray
    mean_g: FloatArray
    dispersion: FloatArray
    power: float
    covariates: dict[str, FloatArray | IntArray | ObjectArray]


def check_fit(estimates: Estimates, frame: pd.DataFrame) -> Check:
    """Hold a fit against its own returns; the frame is the one that was fitted."""
    returns = usable_returns(frame)
    mean = fitted_means(estimates, returns)
    power = estimates.power
    family = families.Tweedie(link=families.links.Log(), var_power=power)
    blank = zero_probability(mean, estimates.dispersion, power)
    observed = float(np.mean(returns.weight_g == 0))
    spread = float(np.sqrt(np.sum(blank * (1.0 - blank)))) / len(mean)
    deviance = float(family.deviance(returns.weight_g, mean))
    baseline = float(family.deviance(returns.weight_g, _water_means(returns)))
    pearson = float(np.mean((returns.weight_g - mean) ** 2 / mean**power))
    ratio = pearson / estimates.dispersion * len(mean) / max(len(mean) - estimates.edf, 1.0)
    return Check(
        returns=len(mean),
        blank_share_observed=observed,
        blank_share_fitted=float(blank.mean()),
        blank_share_z=(observed - float(blank.mean())) / spread,
        pearson_dispersion=pearson,
        deviance=deviance,
        baseline_deviance=baseline,
        deviance_explained=1.0 - deviance / baseline,
        dispersion_ratio=ratio,
        dispersion_z=(ratio - 1.0) / dispersion_ratio_se(mean, estimates.dispersion, power),
    )


def diagnose_fit(estimates: Estimates, frame: pd.DataFrame, seed: int = 0) -> Diagnosis:
    """What the fit's residuals show; the frame is the one that was fitted, the seed draws blanks' residuals.

    'Peg order' is judged where the frame has a column `peg_order`: a peg's place along its bank.
    """
    fitted = fitted_returns(estimates, frame)
    generator = np.random.default_rng(seed)
    count = len(fitted.mean_g)
    part = np.arange(count)
    if count > MOST_RESIDUALS:
        part = np.sort(generator.choice(count, MOST_RESIDUALS, replace=False))
    z = quantile_residuals(
        generator, fitted.returns.weight_g[part], fitted.mean_g[part], fitted.dispersion[part], fitted.power
    )
    return Diagnosis(
        residual_mean=float(z.mean()),
        residual_sd=float(z.std()),
        flatness=tuple(flatness(name, values[part], z) for name, values in fitted.covariates.items()),
        influential=_most_influential(fitted),
        walls=_walls(estimates, fitted.returns),
    )


def fitted_returns(estimates: Estimates, frame: pd.DataFrame) -> Fitted:
    """The returns of the frame that the fit used, with their means and what residuals are held against."""
    returns = usable_returns(frame)
    position = usable_positions(frame)
    if len(position) != len(returns.hours):
        raise ValueError("the check and the design differ about which returns are usable")
    mean = fitted_means(estimates, returns)
    order = frame["peg_order"].to_numpy(np.float64)[position] if "peg_order" in frame else None
    return Fitted(
        returns=returns,
        position=position,
        mean_g=mean,
        dispersion=np.full(len(mean), estimates.dispersion),
        power=estimates.power,
        covariates={
            "fitted": mean,
            "season": returns.features["month"],
            "peg order": np.full(len(mean), np.nan) if order is None else order,
            "year": returns.features["year"],
        },
    )


def fitted_means(estimates: Estimates, returns: Returns) -> FloatArray:
    """The fitted mean of each return, (n,) grams, its angler and match day as they were."""
    eta = estimates.intercept + np.log(returns.hours)
    for item in estimates.terms:
        eta += item.term.encode(returns.features).spread(np.asarray(item.estimates))
    mean: FloatArray = np.exp(eta)
    return mean


def usable_positions(frame: pd.DataFrame) -> IntArray:
    """Positions of the rows that `usable_returns` keeps, by the same rule."""
    outcome, hours = frame["outcome"].astype(object), frame["hours"].astype(np.float64)
    known = frame["weight_g"].notna() | (outcome == "blank")
    kept = known & outcome.isin(USED_OUTCOMES) & (hours > 0) & ~np.isinf(hours)
    return np.flatnonzero(kept.to_numpy()).astype(np.int64)


def dispersion_ratio_se(mean: FloatArray, dispersion: float, power: float) -> float:
    """Standard error of the mean of (y - mu)^2 / (phi mu^p) over returns with these means.

    Its terms have variance 2 + kappa4 / (phi^2 mu^(2p)) = 2 + p (2p-1) phi mu^(p-2), as each cumulant is
    phi mu^p times the derivative of the one before (Jorgensen 1997, *Theory of Dispersion Models*, ch. 3).
    """
    variance = 2.0 + power * (2.0 * power - 1.0) * dispersion * mean ** (power - 2.0)
    return float(np.sqrt(variance.mean() / len(mean)))


def _most_influential(fitted: Fitted) -> tuple[Influence, ...]:
    y, mean, phi, power = fitted.returns.weight_g, fitted.mean_g, fitted.dispersion, fitted.power
    score = (y - mean) * mean ** (1.0 - power) / phi
    residual = (y - mean) / np.sqrt(phi * mean**power)
    rows = np.argsort(-np.abs(score), kind="stable")[:INFLUENTIAL]
    columns = (fitted.position, y, mean, score, residual)
    return tuple(
        Influence(int(position), *(float(value) for value in rest))
        for position, *rest in zip(*(column[rows] for column in columns), strict=True)
    )


def _walls(estimates: Estimates, returns: Returns) -> tuple[Wall, ...]:
    """Estimates beyond the limits at the head of this module: levels of factors, whole curves, the power."""
    walls = []
    if min(estimates.power - 1.0, 2.0 - estimates.power) < WALL_POWER:
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


def _water_means(returns: Returns) -> FloatArray:
    """Each water's ratio of total weight to total effort, times the hours of the return."""
    names = [str(value) for value in returns.features["water"]]
    _, water = np.unique(names, return_inverse=True)
    weights, hours = np.bincount(water, returns.weight_g), np.bincount(water, returns.hours)
    # A water that never gave a fish would have mean zero, and its deviance no value.
    rates = np.maximum(weights, np.finfo(float).tiny) / hours
    mean: FloatArray = rates[water] * returns.hours
    return mean
