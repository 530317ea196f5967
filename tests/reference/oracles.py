"""Penalised fits of a problem by other programs, at fixed smoothing parameters, dispersion and power.

Neither program searches for these; all that they are asked for is the coefficients that belong to them.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import tabmat
from glum import GeneralizedLinearRegressor, TweedieDistribution
from statsmodels.gam.generalized_additive_model import GLMGam
from statsmodels.gam.smooth_basis import GenericSmoothers, UnivariateGenericSmoother
from statsmodels.genmod import families

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.family import Tweedie
from analytics.catchrate.problem import Problem
from tests.reference.blocks import columns_of, precision_of


@dataclass(frozen=True, slots=True, eq=False)
class Fixed:
    """What another program needs: columns after the intercept, their precision S, and the known scale."""

    columns: FloatArray | tabmat.MatrixBase
    precision: FloatArray
    weight: FloatArray
    offset: FloatArray
    dispersion: float
    power: float

    @classmethod
    def of(cls, problem: Problem, *, by_code: bool = False) -> "Fixed":
        """In full, (n, k - 1), or with every factor as codes, which glum is faster with."""
        family, response = problem.family, problem.response
        assert isinstance(family, Tweedie) and problem.dispersion is not None
        assert problem.session is None and not len(response.bounded)
        assert np.all(response.frequency == 1.0)
        (dispersion,) = problem.dispersion
        return cls(
            columns=_coded_columns(problem) if by_code else np.ascontiguousarray(columns_of(problem)[:, 1:]),
            precision=precision_of(problem)[1:, 1:],
            weight=response.weight,
            offset=problem.offset,
            dispersion=float(dispersion),
            power=family.power,
        )


def _coded_columns(problem: Problem) -> tabmat.SplitMatrix:
    """Factors as categories, a code of -1 being no level; tables written out."""
    parts: list[tabmat.MatrixBase] = []
    for block in problem.blocks[1:]:
        encoded = block.encoded
        if encoded.table is None:
            values = pd.Categorical.from_codes(encoded.codes, [f"{code}" for code in range(encoded.size)])
            parts.append(tabmat.CategoricalMatrix(values, cat_missing_method="zero"))
        else:
            parts.append(tabmat.DenseMatrix(encoded.spread(np.eye(encoded.size))))
    return tabmat.SplitMatrix(parts)


def glum_coefficients(fixed: Fixed, gradient_tol: float = 1e-10) -> FloatArray:
    """By glum's iteratively reweighted least squares, (k,).

    It minimises half the mean unit deviance plus b'P2 b / 2; ours, minus the log-likelihood plus b'S b / 2,
    is n / phi times that with P2 = phi S / n.
    """
    regressor = GeneralizedLinearRegressor(
        family=TweedieDistribution(fixed.power),
        link="log",
        alpha=1.0,
        l1_ratio=0.0,
        P2=fixed.dispersion / len(fixed.weight) * fixed.precision,
        solver="irls-ls",
        gradient_tol=gradient_tol,
        max_iter=200,
    )
    regressor.fit(fixed.columns, fixed.weight, offset=fixed.offset)
    return np.concatenate([[regressor.intercept_], regressor.coef_])


def statsmodels_fit(fixed: Fixed, tolerance: float = 1e-9) -> tuple[FloatArray, FloatArray]:
    """Coefficients and standard errors by statsmodels' penalised least squares, (k,) each.

    It adds 2 alpha times the penalty to X'WX at dispersion one, so alpha is 1 / 2 with a penalty of phi S;
    the standard errors are put to the known dispersion from the one that it estimates.
    """
    smoother = UnivariateGenericSmoother(
        np.arange(len(fixed.weight), dtype=np.float64),
        fixed.columns,
        None,
        None,
        fixed.dispersion * fixed.precision,
    )
    model = GLMGam(
        fixed.weight,
        exog=np.ones((len(fixed.weight), 1)),
        smoother=GenericSmoothers(smoother.x[:, None], [smoother]),
        alpha=0.5,
        family=families.Tweedie(link=families.links.Log(), var_power=fixed.power),
        offset=fixed.offset,
    )
    fit = model.fit(method="pirls", tol=tolerance, maxiter=200)
    assert fit.converged
    return np.asarray(fit.params), np.asarray(fit.bse) * np.sqrt(fixed.dispersion / fit.scale)
