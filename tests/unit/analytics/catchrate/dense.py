"""The fit's quantities by another route: every row of X written out, every inverse taken, no shortcut.

Log-likelihoods are SciPy's, the Tweedie's its sum over the number of catches (Jørgensen 1987, JRSSB 49:127),
so that nothing here leans on what it is held against.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import default_rng
from scipy import stats
from scipy.special import logsumexp

from analytics.catchrate.equations import intercept
from analytics.catchrate.family import Family, Gaussian, Poisson, Tweedie
from analytics.catchrate.likelihood import Response
from analytics.catchrate.problem import Block, Problem
from analytics.catchrate.terms import Encoded

#: Catches in one weight, more than any of a test's weights is made of.
CATCHES = np.arange(1, 121)


def random_term(seed: int, rows: int, levels: int, size: int | None = None) -> Encoded:
    """Random codes, some of them -1, into a random table of `size` columns or into the identity."""
    rng = default_rng(seed)
    table = None if size is None else rng.normal(size=(levels, size))
    codes = rng.integers(-1, levels, rows).astype(np.int32)
    codes[:levels] = np.arange(levels)
    return Encoded(codes, table, size or levels)


def rows_of(encoded: Encoded) -> np.ndarray:
    """A term's columns of X, written out (n, k)."""
    table = np.eye(encoded.size) if encoded.table is None else encoded.table
    rows = np.zeros((len(encoded.codes), encoded.size))
    for row, code in enumerate(encoded.codes):
        if code >= 0:
            rows[row] = table[code]
    return rows


def design_of(problem: Problem) -> np.ndarray:
    """All columns of X, in the order of the blocks."""
    return np.hstack([rows_of(block.encoded) for block in problem.blocks])


def averaged_rows(design: np.ndarray, eta: np.ndarray, session: np.ndarray) -> np.ndarray:
    """Each session's row: its parts' rows by their shares of the session's mean."""
    averages = []
    for number in range(session.max() + 1):
        mine = session == number
        averages.append(np.average(design[mine], axis=0, weights=np.exp(eta[mine])))
    return np.array(averages)


def precision_of(problem: Problem, rho: np.ndarray) -> np.ndarray:
    """S (k, k), in the order of the blocks."""
    size = sum(block.encoded.size for block in problem.blocks)
    total, start, number = np.zeros((size, size)), 0, 0
    for block in problem.blocks:
        mine = slice(start, start + block.encoded.size)
        total[mine, mine] += _square(block.known, block.encoded.size)
        for penalty in block.penalties:
            total[mine, mine] += np.exp(rho[number]) * _square(penalty, block.encoded.size)
            number += 1
        start = mine.stop
    return total


def _square(penalty: np.ndarray | float, size: int) -> np.ndarray:
    penalty = np.asarray(penalty, dtype=float)
    return penalty if penalty.ndim == 2 else penalty * np.eye(size)


def log_pseudo_determinant(matrix: np.ndarray) -> float:
    """The log of the product of the eigenvalues above zero."""
    values = np.linalg.eigvalsh(matrix)
    return float(np.sum(np.log(values[values > 1e-9 * values.max()])))


def tweedie_log_density(
    weight: np.ndarray, mean: np.ndarray, dispersion: np.ndarray, power: float
) -> np.ndarray:
    """A Poisson number of gamma catches, summed over the number."""
    rate = mean ** (2 - power) / (dispersion * (2 - power))
    shape, scale = (2 - power) / (power - 1), dispersion * (power - 1) * mean ** (power - 1)
    caught = weight > 0
    result = -rate
    terms = stats.poisson.logpmf(CATCHES, rate[caught, None]) + stats.gamma.logpdf(
        weight[caught, None], CATCHES * shape, scale=scale[caught, None]
    )
    result[caught] = logsumexp(terms, axis=1)
    return result


@dataclass(frozen=True)
class DenseFit:
    """A problem's criterion by brute force, as a function of rho, log dispersions and power."""

    problem: Problem

    def log_likelihood(self, eta: np.ndarray, logs: np.ndarray, power: float) -> float:
        response = self.problem.response
        dispersion = np.exp(logs)[response.dispersion_class]
        match self.problem.family:
            case Gaussian():
                each = stats.norm.logpdf(response.weight, eta, np.sqrt(dispersion))
            case Poisson():
                each = stats.poisson.logpmf(response.weight, np.exp(eta))
            case Tweedie():
                each = tweedie_log_density(response.weight, np.exp(eta), dispersion, power)
        return float(response.frequency @ each)

    def slopes(self, eta: np.ndarray, logs: np.ndarray, power: float) -> tuple[np.ndarray, np.ndarray]:
        """First and minus the second derivative of the log-likelihood by eta, by hand."""
        response = self.problem.response
        weight, mean = response.weight, np.exp(eta)
        scale = response.frequency / np.exp(logs)[response.dispersion_class]
        match self.problem.family:
            case Gaussian():
                return scale * (weight - eta), scale
            case Poisson():
                return response.frequency * (weight - mean), response.frequency * mean
            case _:
                score = weight * mean ** (1 - power) - mean ** (2 - power)
                information = (power - 1) * weight * mean ** (1 - power) + (2 - power) * mean ** (2 - power)
                return scale * score, scale * information

    def maximiser(self, rho: np.ndarray, logs: np.ndarray, power: float) -> np.ndarray:
        """Penalised coefficients, by Newton's steps on dense matrices."""
        design, precision = design_of(self.problem), precision_of(self.problem, rho)
        found = np.zeros(design.shape[1])
        if not isinstance(self.problem.family, Gaussian):
            found[0] = np.log(self.problem.response.weight.mean())
        for _ in range(60):
            score, weights = self.slopes(self.problem.offset + design @ found, logs, power)
            step = np.linalg.solve(
                design.T @ (weights[:, None] * design) + precision, design.T @ score - precision @ found
            )
            found = found + step
            if np.max(np.abs(step)) < 1e-12:
                break
        return found

    def criterion(self, rho: np.ndarray, logs: np.ndarray, power: float) -> float:
        """-l(b) + b'Sb / 2 + log|H + S| / 2 - log|S|+ / 2 at its own maximiser b."""
        design, precision = design_of(self.problem), precision_of(self.problem, rho)
        found = self.maximiser(rho, logs, power)
        eta = self.problem.offset + design @ found
        _, weights = self.slopes(eta, logs, power)
        information = design.T @ (weights[:, None] * design) + precision
        value = -self.log_likelihood(eta, logs, power) + 0.5 * found @ precision @ found
        return float(
            value + 0.5 * np.linalg.slogdet(information)[1] - 0.5 * log_pseudo_determinant(precision)
        )


def slope_of(function, point: np.ndarray, step: float = 1e-3) -> np.ndarray:
    """Derivatives by central differences of fourth order, one row a coordinate of the point."""
    slopes = []
    for unit in np.eye(len(point)) * step:
        near = function(point + unit) - function(point - unit)
        far = function(point + 2 * unit) - function(point - 2 * unit)
        slopes.append((8 * near - far) / (12 * step))
    return np.array(slopes)


def small_problem(family: Family, *, rows: int = 120, classes: int = 1, **choices: object) -> Problem:
    """Two factors, one of them penalised along its levels too, a curve and an eliminated factor."""
    rng = default_rng(5)
    along = np.diff(np.eye(6), axis=0)
    laplacian = along.T @ along
    terms = [random_term(1, rows, 6), random_term(2, rows, 20, 4), random_term(3, rows, 9)]
    effects = [rng.normal(0, 0.5, term.size) for term in terms]
    eta = 1.0 + sum(term.spread(effect) for term, effect in zip(terms, effects, strict=True)) / 2.0
    offset = rng.normal(0, 0.2, rows)
    classed = (np.arange(rows) % classes).astype(np.int8)
    match family:
        case Gaussian():
            weight = rng.normal(offset + eta, 0.8)
        case Poisson():
            weight = rng.poisson(np.exp(offset + eta)).astype(float)
        case _:
            mean = np.exp(offset + eta)
            weight = np.zeros(rows)
            catches = rng.poisson(mean**0.5 / 0.5)
            weight[catches > 0] = rng.gamma(catches[catches > 0], 0.5 * mean[catches > 0] ** 0.5)
    blocks = [
        Block(intercept(rows)),
        Block(terms[0], (np.eye(6), laplacian)),
        Block(terms[1], (np.diag([0.0, 0.5, 1.0, 2.0]),), known=0.05),
        Block(terms[2], (np.ones(9),)),
    ]
    response = Response(weight, np.ones(rows), classed)
    return Problem(family, response, offset, blocks, **{"eliminate": 3, **choices})
