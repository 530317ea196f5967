"""Penalised iteratively reweighted least squares at given prior precisions.

Maximises l(b) / phi - b'Sb / 2 by Newton's method with step halving (observed weights; Fisher weights at
the start and wherever an observed one is not positive). phi is Pearson's estimate over n - edf, unless it
is given; effective degrees of freedom and covariance use Fisher weights. One large factor can be
eliminated first: its block is diagonal, so its Schur complement is cheap (Wood 2017, *Generalized
Additive Models*, 2nd ed., sections 3.1, 6.1 and 6.10).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve, cholesky

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import cross_product, gram, offsets, totals
from analytics.catchrate.family import Family
from analytics.catchrate.terms import Encoded

HALVINGS = 12

#: Fisher scoring before Newton's method takes over.
SCORING_STEPS = 2

#: Once the predictor moves by less than this, the degrees of freedom are brought up to date as well.
SETTLING = 0.05


@dataclass(frozen=True, slots=True)
class Block:
    """A term's codes with its prior precision: (k,) for a diagonal, (k, k) otherwise, zeros for flat."""

    encoded: Encoded
    precision: FloatArray


@dataclass(frozen=True, slots=True)
class Problem:
    """Response, offset (n,) and the blocks of the linear predictor; `nuisance` is eliminated first."""

    family: Family
    response: FloatArray
    offset: FloatArray
    blocks: Sequence[Block]
    nuisance: Block | None = None
    dispersion: float | None = None


@dataclass(frozen=True, slots=True)
class Solution:
    """Coefficients (k,) and (m,), factor F of their covariance FF' (k, k), and how the steps ended."""

    coefficients: FloatArray
    nuisance: FloatArray
    covariance_factor: FloatArray
    nuisance_se: FloatArray
    edf: tuple[float, ...]
    nuisance_edf: float
    dispersion: float
    mean: FloatArray
    deviances: tuple[float, ...]
    converged: bool
    gradient: float

    @property
    def total_edf(self) -> float:
        return sum(self.edf) + self.nuisance_edf

    @property
    def standard_errors(self) -> FloatArray:
        """Standard errors (k,) of the coefficients."""
        errors: FloatArray = np.sqrt(np.einsum("ij,ij->i", self.covariance_factor, self.covariance_factor))
        return errors


@dataclass(frozen=True, slots=True)
class _Step:
    """The coefficients (k,) and the nuisance effects (m,)."""

    coefficients: FloatArray
    nuisance: FloatArray


@dataclass(frozen=True, slots=True)
class _System:
    """The penalised equations with the nuisance factor eliminated: their Cholesky factor and couplings."""

    factor: Any
    diagonal: FloatArray
    scaled: FloatArray


@dataclass(frozen=True, slots=True)
class _Spread:
    """The covariance (k, k), the nuisance variances (m,) and the degrees of freedom a block."""

    covariance: FloatArray
    nuisance_variance: FloatArray
    edf: tuple[float, ...]


def solve(
    problem: Problem,
    *,
    max_iterations: int = 60,
    tolerance: float = 1e-8,
    report: Callable[[int, float], None] | None = None,
) -> Solution:
    """Iterate until no linear predictor moves by more than `tolerance`, nor log phi.

    :raises scipy.linalg.LinAlgError: the system is not positive definite.
    """
    mean = problem.family.starting_mu(problem.response)
    eta = problem.family.link(mean)
    dispersion = problem.dispersion or _pearson(problem, mean, 0.0)
    step, edf, deviances, converged = None, 0.0, [], False
    for iteration in range(1, max_iterations + 1):
        scoring = iteration <= SCORING_STEPS
        step = _halved(problem, step, _proposal(problem, mean, eta, dispersion, scoring), dispersion)
        previous, before = eta, dispersion
        eta = _predictor(problem, step)
        mean = problem.family.link.inverse(eta)
        moved = float(np.max(np.abs(eta - previous)))
        if problem.dispersion is None:
            if moved < SETTLING or scoring:
                edf = sum(_spread(problem, mean, dispersion).edf)
            dispersion = _pearson(problem, mean, edf)
            moved = max(moved, abs(float(np.log(dispersion / before))))
        deviances.append(float(problem.family.deviance(problem.response, mean)))
        if report is not None:
            report(iteration, moved)
        if moved < tolerance:
            converged = True
            break
    assert step is not None  # noqa: S101 - at least one iteration ran
    return _solution(problem, step, dispersion, deviances, converged=converged)


def _proposal(problem: Problem, mean: FloatArray, eta: FloatArray, dispersion: float, scoring: bool) -> _Step:
    """Solve (X'WX + phi S) b = X'Wz at the current mean."""
    family = problem.family
    surprise = (problem.response - mean) * family.link.deriv(mean)
    weights = family.weights(mean)
    pull = weights * surprise
    if not scoring:
        curved = family.variance.deriv(mean) / family.variance(mean)
        curved = curved + family.link.deriv2(mean) / family.link.deriv(mean)
        observed = weights * (1.0 + (problem.response - mean) * curved)
        weights = observed if (observed > 0).all() else weights
    target = weights * (eta - problem.offset) + pull
    system = _system(problem, weights, dispersion)
    right = np.concatenate([totals(block.encoded, target) for block in problem.blocks])
    if problem.nuisance is None:
        return _Step(cho_solve(system.factor, right), np.empty(0))
    own = totals(problem.nuisance.encoded, target)
    coefficients = cho_solve(system.factor, right - system.scaled @ own)
    return _Step(coefficients, own / system.diagonal - system.scaled.T @ coefficients)


def _system(problem: Problem, weights: FloatArray, dispersion: float) -> _System:
    items = [block.encoded for block in problem.blocks]
    matrix = gram(items, weights) + dispersion * _precision(problem)
    nuisance = problem.nuisance
    if nuisance is None:
        return _System(cho_factor(matrix, lower=True), np.empty(0), np.empty((len(matrix), 0)))
    diagonal = totals(nuisance.encoded, weights) + dispersion * nuisance.precision
    across = np.concatenate([cross_product(item, nuisance.encoded, weights) for item in items])
    scaled = across / diagonal
    return _System(cho_factor(matrix - scaled @ across.T, lower=True), diagonal, scaled)


def _spread(problem: Problem, mean: FloatArray, dispersion: float) -> _Spread:
    """Uncertainty with Fisher weights; the degrees of freedom are k - tr(S Cov), the nuisance last."""
    system = _system(problem, problem.family.weights(mean), dispersion)
    covariance = dispersion * cho_solve(system.factor, np.eye(len(system.scaled)))
    covariance = (covariance + covariance.T) / 2.0
    starts = offsets([block.encoded for block in problem.blocks])
    spent = []
    for block, start in zip(problem.blocks, starts, strict=False):
        rows = slice(start, start + block.encoded.size)
        shrunk = np.sum(_square(block.precision) * covariance[rows, rows])
        spent.append(block.encoded.size - float(shrunk))
    if problem.nuisance is None:
        return _Spread(covariance, np.empty(0), tuple(spent))
    through = np.einsum("ij,ij->j", system.scaled, covariance @ system.scaled)
    variance = dispersion / system.diagonal + through
    spent.append(float(np.sum(1.0 - problem.nuisance.precision * variance)))
    return _Spread(covariance, variance, tuple(spent))


def _halved(problem: Problem, step: _Step | None, proposal: _Step, dispersion: float) -> _Step:
    """The proposal, or as much of the way to it as does not raise the penalised deviance."""
    if step is None:
        return proposal
    limit = _objective(problem, step, dispersion)
    limit += 1e-10 * abs(limit)
    share = 1.0
    for _ in range(HALVINGS):
        candidate = _between(step, proposal, share)
        if _objective(problem, candidate, dispersion) <= limit:
            return candidate
        share /= 2.0
    return step


def _between(old: _Step, new: _Step, share: float) -> _Step:
    if share == 1.0:
        return new
    coefficients = old.coefficients + share * (new.coefficients - old.coefficients)
    return _Step(coefficients, old.nuisance + share * (new.nuisance - old.nuisance))


def _objective(problem: Problem, step: _Step, dispersion: float) -> float:
    """Deviance + phi b'Sb, which the iterations bring down."""
    mean = problem.family.link.inverse(_predictor(problem, step))
    deviance = float(problem.family.deviance(problem.response, mean))
    penalty = float(step.coefficients @ _precision(problem) @ step.coefficients)
    if problem.nuisance is not None:
        penalty += float(problem.nuisance.precision @ step.nuisance**2)
    value = deviance + dispersion * penalty
    return value if np.isfinite(value) else np.inf


def _predictor(problem: Problem, step: _Step) -> FloatArray:
    eta = problem.offset.copy()
    starts = offsets([block.encoded for block in problem.blocks])
    for block, start in zip(problem.blocks, starts, strict=False):
        eta += block.encoded.spread(step.coefficients[start : start + block.encoded.size])
    if problem.nuisance is not None:
        eta += problem.nuisance.encoded.spread(step.nuisance)
    return eta


def _precision(problem: Problem) -> FloatArray:
    matrix: FloatArray = block_diag(*[_square(block.precision) for block in problem.blocks])
    return matrix


def _square(precision: FloatArray) -> FloatArray:
    return np.diag(precision) if precision.ndim == 1 else precision


def _pearson(problem: Problem, mean: FloatArray, edf: float) -> float:
    squares = (problem.response - mean) ** 2 / problem.family.variance(mean)
    return float(np.sum(squares) / (len(mean) - edf))


def _solution(
    problem: Problem, step: _Step, dispersion: float, deviances: Sequence[float], *, converged: bool
) -> Solution:
    mean = problem.family.link.inverse(_predictor(problem, step))
    spread = _spread(problem, mean, dispersion)
    blocks = len(problem.blocks)
    return Solution(
        coefficients=step.coefficients,
        nuisance=step.nuisance,
        covariance_factor=cholesky(spread.covariance, lower=True),
        nuisance_se=np.sqrt(spread.nuisance_variance),
        edf=spread.edf[:blocks],
        nuisance_edf=sum(spread.edf[blocks:]),
        dispersion=dispersion,
        mean=mean,
        deviances=tuple(deviances),
        converged=converged,
        gradient=_gradient(problem, step, mean, dispersion, spread),
    )


def _gradient(problem: Problem, step: _Step, mean: FloatArray, dispersion: float, spread: _Spread) -> float:
    """The largest score of the penalised log-likelihood, times its coefficient's standard error."""
    weights = problem.family.weights(mean)
    pull = weights * (problem.response - mean) * problem.family.link.deriv(mean) / dispersion
    score = np.concatenate([totals(block.encoded, pull) for block in problem.blocks])
    score -= _precision(problem) @ step.coefficients
    largest = float(np.max(np.abs(score) * np.sqrt(np.diag(spread.covariance))))
    if problem.nuisance is None:
        return largest
    own = totals(problem.nuisance.encoded, pull) - problem.nuisance.precision * step.nuisance
    return max(largest, float(np.max(np.abs(own) * np.sqrt(spread.nuisance_variance))))
