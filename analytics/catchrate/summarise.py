"""From a solution to frozen estimates: named coefficients, variances with their boundaries, joint spread."""

import time
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.design import Design
from analytics.catchrate.estimates import (
    AT_ZERO,
    INSIDE,
    UNBOUNDED,
    Component,
    Convergence,
    Estimates,
    Rows,
    TermEstimate,
)
from analytics.catchrate.family import Tweedie
from analytics.catchrate.returns import ESTIMATED, Returns
from analytics.catchrate.rounds import Solution
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.spread import Spread, spread_of
from analytics.catchrate.terms import LearnedTerm

#: What stands for the standard deviation of a flat prior.
LARGEST_SD = 1e3


def estimates_of(
    design: Design, spec: CatchSpec, solution: Solution, unit_g: float, started: float
) -> Estimates:
    terms = [term for term, _ in design.terms]
    eliminated = solution.problem.eliminate
    levels_too = eliminated is not None and not terms[eliminated - 1].nuisance
    spread = spread_of(solution, smoothing_uncertainty=spec.smoothing_uncertainty, with_levels=levels_too)
    places = _places(terms, eliminated)
    joint = _joint_covariance(terms, eliminated, spread)
    found = _term_estimates(terms, solution, spread, places)
    family = solution.state.family
    assert isinstance(family, Tweedie)  # noqa: S101 - the catch model's family
    dispersions = np.exp(solution.state.log_dispersion) * unit_g ** (2.0 - family.power)
    free_power = family.search and len(solution.scale_hessian) > len(dispersions)
    power_se = float(np.sqrt(np.linalg.inv(solution.scale_hessian)[0, 0])) if free_power else None
    return Estimates(
        power=family.power,
        power_se=power_se,
        dispersion=float(dispersions[0]),
        estimated_dispersion=float(dispersions[-1]),
        did_not_weigh=spec.did_not_weigh.value,
        criterion=solution.criterion,
        intercept=float(solution.state.coefficients[0] + np.log(unit_g)),
        intercept_se=float(np.sqrt(joint[0, 0])),
        terms=tuple(found),
        covariance_factor=cholesky(joint, lower=True),
        edf=1.0 + sum(item.edf for item in found),
        deviance=solution.deviances[-1] * unit_g ** (2.0 - family.power),
        convergence=Convergence(
            converged=solution.converged,
            iterations=len(solution.deviances),
            gradient=solution.largest_gradient,
            seconds=time.perf_counter() - started,
            deviances=tuple(value * unit_g ** (2.0 - family.power) for value in solution.deviances),
        ),
        rows=_rows(design.returns),
        reference=design.reference,
        dropped=design.dropped,
    )


def _places(terms: Sequence[LearnedTerm], eliminated: int | None) -> list[slice]:
    """Each term's columns among those that are not eliminated; the eliminated term's among its own."""
    places, start = [], 1
    for number, term in enumerate(terms, start=1):
        if number == eliminated:
            places.append(slice(0, term.size))
            continue
        places.append(slice(start, start + term.size))
        start += term.size
    return places


def _joint_covariance(terms: Sequence[LearnedTerm], eliminated: int | None, spread: Spread) -> FloatArray:
    """Of the intercept and every term that is not a nuisance, in the order of the terms."""
    size = len(spread.matrix)
    matrix = spread.matrix
    if spread.levels is not None:
        matrix = np.block([[spread.matrix, spread.across], [spread.across.T, spread.levels]])
    order: list[NDArray[np.int64]] = [np.array([0])]
    for number, (term, place) in enumerate(zip(terms, _places(terms, eliminated), strict=True), start=1):
        if not term.nuisance:
            shift = size if number == eliminated else 0
            order.append(np.arange(place.start + shift, place.stop + shift))
    chosen = np.concatenate(order)
    return matrix[np.ix_(chosen, chosen)]


def _term_estimates(
    terms: Sequence[LearnedTerm], solution: Solution, spread: Spread, places: Sequence[slice]
) -> list[TermEstimate]:
    found, start = [], 1
    for number, (term, place) in enumerate(zip(terms, places, strict=True), start=1):
        apart = number == solution.problem.eliminate
        values = solution.state.eliminated if apart else solution.state.coefficients[place]
        variance = spread.variance if apart else np.diag(spread.matrix)[place]
        found.append(
            TermEstimate(
                term=term,
                estimates=tuple(values.tolist()),
                standard_errors=tuple(np.sqrt(variance).tolist()),
                edf=_edf(solution, number),
                prior_sd=_prior_sd(term, solution, number),
                start=None if term.nuisance else start,
                components=_components(term, solution, spread, number),
            )
        )
        start += 0 if term.nuisance else term.size
    return found


def _edf(solution: Solution, number: int) -> float:
    """k - tr(V S) of the term."""
    penalised = solution.penalties.terms[number]
    precision = penalised.precision(_rho_of(solution, number))
    if penalised.eliminated:
        return float(penalised.size - np.sum(precision * solution.covariance.variance))
    block = solution.covariance.matrix[penalised.columns, penalised.columns]
    held = np.diag(block) @ precision if precision.ndim == 1 else np.sum(block * precision)
    return float(penalised.size - held)


def _rho_of(solution: Solution, number: int) -> FloatArray:
    rho: FloatArray = solution.state.search.rho[solution.penalties.of_term(number)]
    return rho


def _prior_sd(term: LearnedTerm, solution: Solution, number: int) -> float:
    penalised, rho = solution.penalties.terms[number], _rho_of(solution, number)
    if not term.penalty_names:
        known = float(np.max(term.known_precision()))
        return min(known**-0.5, LARGEST_SD) if known else LARGEST_SD
    precision = penalised.precision(rho)
    if term.penalty_names[0].startswith("along "):
        return float(np.exp(rho).sum() ** -0.5)
    variance = 1.0 / precision if precision.ndim == 1 else np.diag(np.linalg.inv(precision))
    return float(np.sqrt(np.mean(variance)))


def _components(term: LearnedTerm, solution: Solution, spread: Spread, number: int) -> tuple[Component, ...]:
    found = []
    for name, place in zip(term.penalty_names, solution.penalties.of_term(number), strict=True):
        rho, variance = float(solution.state.search.rho[place]), float(spread.rho_variance[place])
        lower, upper = solution.state.search.lower, solution.state.search.upper
        boundary = AT_ZERO if rho >= upper else UNBOUNDED if rho <= lower else INSIDE
        error = None if np.isnan(variance) else float(np.sqrt(variance))
        found.append(Component(name, float(np.exp(-rho / 2.0)), rho, error, boundary))
    return tuple(found)


def _rows(returns: Returns) -> Rows:
    assert returns.first is not None and returns.last is not None  # noqa: S101 - a fit has returns
    several = 0
    if returns.session is not None:
        several = int(np.sum(np.bincount(returns.session) > 1))
    return Rows(
        used=len(returns.weight_g),
        blanks=int(np.sum((returns.weight_g == 0) & ~returns.bounded)),
        bounded=int(returns.bounded.sum()),
        estimated=int(np.sum(returns.dispersion_class == ESTIMATED)),
        several_parts=several,
        left_out=returns.left_out,
        first=returns.first,
        last=returns.last,
    )
