"""Penalised iteratively reweighted least squares at given prior precisions.

Maximises l(b) / phi - b'Sb / 2 by Fisher scoring with step halving; phi is Pearson's estimate over
n - edf, brought up to date at every step, unless it is given. One large factor can be eliminated
first: its block is diagonal, so its Schur complement is cheap (Wood 2017, *Generalized Additive
Models*, 2nd ed., sections 6.1 and 6.10).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve, cholesky

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import cross_product, gram, offsets, totals
from analytics.catchrate.family import Family
from analytics.catchrate.terms import Encoded

HALVINGS = 12


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
    """One solution of the weighted system, with what is needed for uncertainty."""

    coefficients: FloatArray
    nuisance: FloatArray
    covariance: FloatArray
    nuisance_variance: FloatArray


def solve(
    problem: Problem,
    *,
    max_iterations: int = 60,
    tolerance: float = 1e-8,
    report: Callable[[int, float], None] | None = None,
) -> Solution:
    """Iterate until no linear predictor moves by more than `tolerance`, nor log phi.

    :raises ValueError: the system is not positive definite (scipy's LinAlgError).
    """
    mean = problem.family.starting_mu(problem.response)
    eta = problem.family.link(mean)
    dispersion = problem.dispersion or _pearson(problem, mean, 0.0)
    step, deviances, converged = None, [], False
    for iteration in range(1, max_iterations + 1):
        proposal = _weighted_solution(problem, mean, eta, dispersion)
        step = _halved(problem, step, proposal, dispersion)
        previous, before = eta, dispersion
        eta = _predictor(problem, step)
        mean = problem.family.link.inverse(eta)
        if problem.dispersion is None:
            dispersion = _pearson(problem, mean, sum(_edf(problem, step)))
        deviances.append(float(problem.family.deviance(problem.response, mean)))
        moved = max(float(np.max(np.abs(eta - previous))), abs(float(np.log(dispersion / before))))
        if report is not None:
            report(iteration, moved)
        if moved < tolerance:
            converged = True
            break
    assert step is not None  # noqa: S101 - at least one iteration ran
    return replace(_solution(problem, step, dispersion, deviances), converged=converged)


def _weighted_solution(problem: Problem, mean: FloatArray, eta: FloatArray, dispersion: float) -> _Step:
    """Solve (X'WX + phi S) b = X'Wz, the nuisance factor eliminated."""
    weights = problem.family.weights(mean)
    working = eta - problem.offset + (problem.response - mean) * problem.family.link.deriv(mean)
    items = [block.encoded for block in problem.blocks]
    matrix = gram(items, weights) + dispersion * _precision(problem)
    right = np.concatenate([totals(item, weights * working) for item in items])
    nuisance = problem.nuisance
    if nuisance is None:
        inverse = _inverse(matrix)
        return _Step(inverse @ right, np.empty(0), dispersion * inverse, np.empty(0))
    diagonal = totals(nuisance.encoded, weights) + dispersion * nuisance.precision
    across = np.concatenate([cross_product(item, nuisance.encoded, weights) for item in items])
    scaled = across / diagonal
    own = totals(nuisance.encoded, weights * working)
    inverse = _inverse(matrix - scaled @ across.T)
    coefficients = inverse @ (right - scaled @ own)
    effects = own / diagonal - scaled.T @ coefficients
    variance = 1.0 / diagonal + np.einsum("ij,ij->j", scaled, inverse @ scaled)
    return _Step(coefficients, effects, dispersion * inverse, dispersion * variance)


def _inverse(matrix: FloatArray) -> FloatArray:
    inverse: FloatArray = cho_solve(cho_factor(matrix, lower=True), np.eye(len(matrix)))
    return (inverse + inverse.T) / 2.0


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
    nuisance = old.nuisance + share * (new.nuisance - old.nuisance)
    return _Step(coefficients, nuisance, new.covariance, new.nuisance_variance)


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


def _edf(problem: Problem, step: _Step) -> list[float]:
    """Effective degrees of freedom: k - tr(S Cov) a block, the nuisance factor last."""
    starts = offsets([block.encoded for block in problem.blocks])
    spent = []
    for block, start in zip(problem.blocks, starts, strict=False):
        rows = slice(start, start + block.encoded.size)
        shrunk = np.sum(_square(block.precision) * step.covariance[rows, rows])
        spent.append(block.encoded.size - float(shrunk))
    if problem.nuisance is not None:
        spent.append(float(np.sum(1.0 - problem.nuisance.precision * step.nuisance_variance)))
    return spent


def _solution(problem: Problem, step: _Step, dispersion: float, deviances: Sequence[float]) -> Solution:
    """The last step with its uncertainty; whether it converged is the caller's to say."""
    edf = _edf(problem, step)
    nuisance_edf = edf.pop() if problem.nuisance is not None else 0.0
    mean = problem.family.link.inverse(_predictor(problem, step))
    return Solution(
        coefficients=step.coefficients,
        nuisance=step.nuisance,
        covariance_factor=cholesky(step.covariance, lower=True),
        nuisance_se=np.sqrt(step.nuisance_variance),
        edf=tuple(edf),
        nuisance_edf=nuisance_edf,
        dispersion=dispersion,
        mean=mean,
        deviances=tuple(deviances),
        converged=False,
        gradient=_gradient(problem, step, mean, dispersion),
    )


def _gradient(problem: Problem, step: _Step, mean: FloatArray, dispersion: float) -> float:
    """The largest score of the penalised log-likelihood, times its coefficient's standard error."""
    weights = problem.family.weights(mean)
    pull = weights * (problem.response - mean) * problem.family.link.deriv(mean) / dispersion
    score = np.concatenate([totals(block.encoded, pull) for block in problem.blocks])
    score -= _precision(problem) @ step.coefficients
    largest = float(np.max(np.abs(score) * np.sqrt(np.diag(step.covariance))))
    if problem.nuisance is None:
        return largest
    own = totals(problem.nuisance.encoded, pull) - problem.nuisance.precision * step.nuisance
    return max(largest, float(np.max(np.abs(own) * np.sqrt(step.nuisance_variance))))
