"""How well a fit describes the returns it was made from."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from statsmodels.genmod import families

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.design import Returns, usable_returns
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import zero_probability


@dataclass(frozen=True, slots=True)
class Check:
    """Blanks and spread as fitted against as found, and the gain over each water's mean catch rate.

    `blank_share_z` is the difference of the blank shares in standard errors under the fit;
    `pearson_dispersion` counts every return, so it lies a little below the fit's, which allows for the
    degrees of freedom; `deviance_explained` is 1 - deviance / baseline deviance.
    """

    returns: int
    blank_share_observed: float
    blank_share_fitted: float
    blank_share_z: float
    pearson_dispersion: float
    deviance: float
    baseline_deviance: float
    deviance_explained: float


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
    return Check(
        returns=len(mean),
        blank_share_observed=observed,
        blank_share_fitted=float(blank.mean()),
        blank_share_z=(observed - float(blank.mean())) / spread,
        pearson_dispersion=float(np.mean((returns.weight_g - mean) ** 2 / mean**power)),
        deviance=deviance,
        baseline_deviance=baseline,
        deviance_explained=1.0 - deviance / baseline,
    )


def fitted_means(estimates: Estimates, returns: Returns) -> FloatArray:
    """The fitted mean of each return, (n,) grams, its angler and match day as they were."""
    eta = estimates.intercept + np.log(returns.hours)
    for item in estimates.terms:
        eta += item.term.encode(returns.features).spread(np.asarray(item.estimates))
    mean: FloatArray = np.exp(eta)
    return mean


def _water_means(returns: Returns) -> FloatArray:
    """Each water's ratio of total weight to total effort, times the hours of the return."""
    names = [str(value) for value in returns.features["water"]]
    _, water = np.unique(names, return_inverse=True)
    weights, hours = np.bincount(water, returns.weight_g), np.bincount(water, returns.hours)
    # A water that never gave a fish would have mean zero, and its deviance no value.
    rates = np.maximum(weights, np.finfo(float).tiny) / hours
    mean: FloatArray = rates[water] * returns.hours
    return mean
