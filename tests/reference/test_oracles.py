"""The engine against other programs on the same columns and penalties, whatever the data.

glum and statsmodels share no code with the engine, nor with each other. Neither estimates smoothing
parameters, so both are given those that the engine found; statsmodels' MixedLM estimates variances.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from statsmodels.gam.api import BSplines, GLMGam
from statsmodels.genmod import families

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.family import Family, Gaussian, Poisson, Tweedie
from analytics.catchrate.fit import problem_of, unit_of
from analytics.catchrate.problem import Block, Problem
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.terms import Encoded
from tests.benchmarks.fit import measured
from tests.benchmarks.sized import Size
from tests.reference.blocks import (
    at_the_found_scale,
    coefficients_of,
    column,
    columns_of,
    contrasts,
    dispersion_of,
    effects,
    problem_with,
    solved,
    standard_errors_of,
)
from tests.reference.oracles import Fixed, glum_coefficients, statsmodels_fit
from tests.simulation.club import simulate_club
from tests.simulation.truth import draw_tweedie

#: Two optimisers of one criterion agree to this share of a standard error.
AGREEMENT = 1e-5


def in_standard_errors(problem: Problem, other: FloatArray) -> float:
    """The largest difference of coefficients."""
    found = solved(problem)
    return float(np.max(np.abs(other - coefficients_of(found)) / standard_errors_of(found)))


class TestTheCatchModel:
    """Every term of the catch model, on an invented club, at the variances that the engine found."""

    @pytest.fixture(scope="class", params=[(1, 800), (2, 1500)], ids=["800 returns", "1500 returns"])
    @classmethod
    def problem(cls, request: pytest.FixtureRequest) -> Problem:
        seed, rows = request.param
        spec = CatchSpec()
        design = learn_design(simulate_club(seed, rows).frame, spec)
        assert isinstance(design, Design)
        found = solve(problem_of(design, spec, unit_of(design.returns)))
        assert found.converged
        return at_the_found_scale(found)

    @pytest.mark.parametrize("power", [None, 1.2, 1.5, 1.8])
    def test_coefficients_are_glum_s(self, problem: Problem, power: float | None) -> None:
        if power is not None:
            problem = replace(problem, family=Tweedie(power))
        assert in_standard_errors(problem, glum_coefficients(Fixed.of(problem))) < AGREEMENT

    def test_a_dispersion_a_tenth_off_would_be_noticed(self, problem: Problem) -> None:
        fixed = Fixed.of(problem)
        other = glum_coefficients(replace(fixed, dispersion=1.1 * fixed.dispersion))
        assert in_standard_errors(problem, other) > 1000 * AGREEMENT

    def test_glum_is_told_the_same_by_codes_as_in_full(self, problem: Problem) -> None:
        by_code = glum_coefficients(Fixed.of(problem, by_code=True))
        assert in_standard_errors(problem, by_code) < AGREEMENT

    @pytest.mark.slow
    def test_coefficients_and_standard_errors_are_statsmodels(self, problem: Problem) -> None:
        coefficients, errors = statsmodels_fit(Fixed.of(problem))
        assert in_standard_errors(problem, coefficients) < AGREEMENT
        np.testing.assert_allclose(standard_errors_of(solved(problem)), errors, rtol=1e-6)


def test_the_benchmark_compares_what_is_the_same_fit() -> None:
    found = measured(800, 1, Size(pegs=20, anglers=20, match_days=40), warm=False, against="glum")
    other = found["against"]
    assert other["largest_difference_se"] < AGREEMENT
    assert other["theirs_over_ours"] > 0


class TestASplineBesideAFactor:
    """statsmodels' own B-splines with their penalty on curvature, and a factor without a prior."""

    @pytest.mark.parametrize("seed", range(4))
    @pytest.mark.parametrize("alpha", [0.01, 1.0, 100.0])
    def test_standard_errors_are_the_library_s(self, seed: int, alpha: float) -> None:
        rng = np.random.default_rng(seed)
        place, pegs = np.round(rng.uniform(2, 16, 400), 1), rng.integers(0, 6, 400)
        offset = np.log(rng.uniform(1.5, 12, 400))
        mean = np.exp(offset + np.sin(place / 2) + rng.normal(0, 0.4, 6)[pegs])
        weight = draw_tweedie(rng, mean, 1.25)
        splines = BSplines(place, df=10, degree=3)
        model = GLMGam(
            weight,
            exog=columns_of(problem_with(Gaussian(), weight, [contrasts(pegs)])),
            smoother=splines,
            alpha=alpha,
            family=families.Tweedie(link=families.links.Log(), var_power=1.55),
            offset=offset,
        )
        fit = model.fit(method="pirls", tol=1e-11, maxiter=200)

        # Its alpha is half a smoothing parameter, at dispersion one; ours is a precision as it stands.
        curve = Encoded(np.arange(400, dtype=np.int32), splines.basis, splines.basis.shape[1])
        precision = 2 * alpha / fit.scale * splines.smoothers[0].cov_der2
        blocks = [contrasts(pegs), Block(curve, (precision,))]
        problem = problem_with(Tweedie(1.55), weight, blocks, offset, dispersion=fit.scale)
        found = solved(replace(problem, rho=np.zeros(1)))
        difference = (coefficients_of(found) - fit.params) / standard_errors_of(found)
        np.testing.assert_allclose(difference, 0.0, atol=AGREEMENT)
        np.testing.assert_allclose(standard_errors_of(found), fit.bse, rtol=1e-6)
        # Degrees of freedom: k - tr(V S) is the trace of the hat matrix.
        curved = slice(6, None)
        held = np.sum(found.covariance.matrix[curved, curved] * precision)
        hat = fit.get_hat_matrix_diag(observed=False)
        assert len(fit.params) - held == pytest.approx(hat.sum(), rel=1e-6)


class TestWithoutPenalties:
    """statsmodels' GLM: coefficients and their whole covariance."""

    pairs = pytest.mark.parametrize(
        ("ours", "theirs"),
        [
            (Gaussian(1.0), families.Gaussian()),
            (Poisson(), families.Poisson()),
            *(
                (Tweedie(power), families.Tweedie(link=families.links.Log(), var_power=power))
                for power in (1.1, 1.5, 1.9)
            ),
        ],
        ids=["normal", "Poisson", "Tweedie 1.1", "Tweedie 1.5", "Tweedie 1.9"],
    )

    @pairs
    @pytest.mark.parametrize("seed", range(3))
    def test_coefficients_and_covariance(self, ours: Family, theirs: families.Family, seed: int) -> None:
        rng = np.random.default_rng(seed)
        groups, slope = rng.integers(0, 5, 300), np.round(rng.normal(0, 1, 300), 2)
        offset = rng.uniform(-1, 1, 300)
        eta = offset + 1.0 + 0.5 * slope + rng.normal(0, 0.5, 5)[groups]
        if isinstance(ours, Gaussian):
            response = eta + rng.normal(0, 1, 300)
        elif isinstance(ours, Poisson):
            response = rng.poisson(np.exp(eta)).astype(float)
        else:
            response = draw_tweedie(rng, np.exp(eta), 1.25)
        problem = problem_with(ours, response, [contrasts(groups), column(slope)], offset, dispersion=1.0)
        found = solved(problem)
        model = sm.GLM(response, columns_of(problem), theirs, offset=offset)
        fit = model.fit(scale=1.0, tol=1e-13, maxiter=200)
        difference = (coefficients_of(found) - fit.params) / standard_errors_of(found)
        np.testing.assert_allclose(difference, 0.0, atol=AGREEMENT)
        scale = np.outer(fit.bse, fit.bse)
        np.testing.assert_allclose(found.covariance.matrix / scale, fit.cov_params() / scale, atol=1e-7)


class TestARandomIntercept:
    """Variances by restricted maximum likelihood on invented groups."""

    @pytest.mark.parametrize("seed", range(8))
    def test_variances_of_uneven_groups_are_the_library_s(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        group, slope = rng.integers(0, 12, 150), np.round(rng.normal(0, 1, 150), 2)
        deviation = rng.uniform(0.5, 2.0)
        response = 3 + 0.5 * slope + rng.normal(0, deviation, 12)[group] + rng.normal(0, 1, 150)
        frame = pd.DataFrame({"y": response, "x": slope, "group": np.char.mod("%02d", group)})
        problem = problem_with(Gaussian(), response, [column(slope), effects(frame["group"])])
        found = solved(problem)
        model = smf.mixedlm("y ~ x", frame, groups=frame["group"])
        fit = model.fit(reml=True, method=["bfgs"], gtol=1e-9)
        variance = np.exp(-found.state.search.rho[0])
        assert variance == pytest.approx(fit.cov_re.iloc[0, 0], rel=1e-4)
        assert dispersion_of(found) == pytest.approx(fit.scale, rel=1e-4)
        # Its own standard errors come from a Hessian with the variance in it; these are those of generalised
        # least squares (Aitken 1935) at its variances, V in full.
        within = fit.cov_re.iloc[0, 0] * (group[:, None] == group) + fit.scale * np.eye(150)
        errors = np.sqrt(np.diag(np.linalg.inv(model.exog.T @ np.linalg.solve(within, model.exog))))
        difference = (coefficients_of(found)[:2] - fit.fe_params) / errors
        np.testing.assert_allclose(difference, 0.0, atol=1e-4)
        np.testing.assert_allclose(standard_errors_of(found)[:2], errors, rtol=1e-4)
        levels = [fit.random_effects[name].iloc[0] for name in sorted(fit.random_effects)]
        np.testing.assert_allclose(coefficients_of(found)[2:], levels, atol=1e-4)

    @pytest.mark.parametrize("seed", range(8))
    @pytest.mark.parametrize("eliminate", [None, 1], ids=["kept", "eliminated first"])
    def test_variances_of_even_groups_are_those_of_the_analysis_of_variance(
        self, seed: int, eliminate: int | None
    ) -> None:
        # Searle, Casella & McCulloch 1992, *Variance Components*, ch. 3: (MSA - MSE) / n, or zero below that.
        rng = np.random.default_rng(seed)
        groups, each = 9, 7
        levels = rng.normal(0, rng.choice([0.1, 0.7]), groups)
        response = (10 + levels[:, None] + rng.normal(0, 1, (groups, each))).ravel()
        means = response.reshape(groups, each).mean(axis=1)
        between = each * means.var(ddof=1)
        within = response.reshape(groups, each).var(axis=1, ddof=1).mean()
        names = np.repeat(np.arange(groups), each)
        problem = problem_with(Gaussian(), response, [effects(names)], eliminate=eliminate)
        # A small variance is told by a flat criterion: run on.
        found = solved(problem, tolerance=1e-10)
        variance, residual = (between - within) / each, within
        if variance <= 0:
            variance, residual = 0.0, response.var(ddof=1)
            assert found.at_wall.all()
        assert np.exp(-found.state.search.rho[0]) == pytest.approx(variance, rel=1e-6, abs=1e-9)
        assert dispersion_of(found) == pytest.approx(residual, rel=1e-6)
        assert coefficients_of(found)[0] == pytest.approx(response.mean(), rel=1e-9)
