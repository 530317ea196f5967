"""Marginal means from stored numbers, against the emmeans vignette."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf

from analytics.answers.standard import Cell, Scope, index_of
from analytics.catchrate.estimates import Estimates, TermEstimate
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import Questions
from analytics.catchrate.predictive import marginal_means
from analytics.catchrate.spec import WIDE_SD, Factor
from analytics.catchrate.terms import LearnedFactor
from tests.simulation.club import simulate_club

PIGS = Path(__file__).parent / "data" / "pigs.csv"


def stored(name: str, reference: str, found: pd.Series, start: int) -> TermEstimate:
    """Coefficients of statsmodels' treatment contrasts as a stored factor."""
    levels = tuple(label.split("[T.")[1][:-1] for label in found.index)
    term = LearnedFactor(Factor(name, name, WIDE_SD, reference=reference), levels, reference)
    return TermEstimate(term, tuple(found), (1.0,) * len(levels), float(len(levels)), WIDE_SD, start)


def test_pig_plasma_by_source_of_protein() -> None:
    """log(conc) ~ source + factor(percent): 29.7995, 39.1445, 44.5570; SE 1.09, 1.47, 1.75 (emmeans; A)."""
    pigs = pd.read_csv(PIGS)
    fit = smf.ols("np.log(conc) ~ source + C(percent)", pigs).fit()
    template = fit_catch(simulate_club(1, 100, pegs=4, anglers=4).frame)
    assert isinstance(template, Estimates)
    by_source, by_percent = (fit.params[fit.params.index.str.startswith(name)] for name in ("source", "C("))
    order = ["Intercept", *by_source.index, *by_percent.index]
    estimates = replace(
        template,
        intercept=float(fit.params["Intercept"]),
        terms=(stored("hook_bait", "fish", by_source, 1), stored("rig_type", "9", by_percent, 3)),
        covariance_factor=np.linalg.cholesky(fit.cov_params().loc[order, order].to_numpy()),
    )
    grid = Questions(month=[1] * 4, rig_type=["9", "12", "15", "18"], hours=1.0)
    found = marginal_means(estimates, "hook_bait", ["fish", "soy", "skim"], grid)
    np.testing.assert_allclose(found.mean_g, [29.7995, 39.1445, 44.5570], atol=1e-4)
    np.testing.assert_allclose(found.mean_g * found.log_se, [1.09, 1.47, 1.75], atol=5e-3)


def test_pig_plasma_as_a_standardised_rate() -> None:
    """The same three means as years of an index, averaged over percent as over baits used alike."""
    pigs = pd.read_csv(PIGS)
    fit = smf.ols("np.log(conc) ~ source + C(percent)", pigs).fit()
    template = fit_catch(simulate_club(1, 100, pegs=4, anglers=4).frame)
    assert isinstance(template, Estimates)
    by_source, by_percent = (fit.params[fit.params.index.str.startswith(name)] for name in ("source", "C("))
    order = ["Intercept", *by_source.index, *by_percent.index]
    estimates = replace(
        template,
        intercept=float(fit.params["Intercept"]),
        terms=(stored("year", "fish", by_source, 1), stored("hook_bait", "9", by_percent, 3)),
        covariance_factor=np.linalg.cholesky(fit.cov_params().loc[order, order].to_numpy()),
    )
    scope = Scope("", {"any": 1.0}, {}, dict.fromkeys(["9", "12", "15", "18"], 0.25))
    cells = [Cell(source, scope.waters, year=source) for source in ("fish", "soy", "skim")]
    index = index_of(estimates, scope, cells)
    np.testing.assert_allclose(np.exp(index.log_rate), [29.7995, 39.1445, 44.5570], atol=1e-4)
    errors = np.exp(index.log_rate) * np.sqrt(np.diag(index.covariance))
    np.testing.assert_allclose(errors, [1.09, 1.47, 1.75], atol=5e-3)
