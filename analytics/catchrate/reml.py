"""Smoothing parameters by restricted maximum likelihood.

The criterion is the Laplace approximation of minus the log marginal likelihood,

    V(rho) = -l(b) + b'S b / 2 + log|H + S| / 2 - log|S|+ / 2,      S = sum of exp(rho_j) S_j,

b its maximiser and H = X'WX with observed weights W (Wood 2011, JRSSB 73:3). Its gradient is exact,
the dependence of H on b included; its Hessian is that of the working linear model, which is enough for
Newton steps. Where such a step is too long to be trusted, the generalised Fellner-Schall update is the
safe one (Wood & Fasiolo 2017, Biometrics 73:1071).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.penalised import Penalties
from analytics.catchrate.system import Covariance, System

#: The largest step of a log smoothing parameter.
LARGEST_STEP = 3.0

#: Steps shorter than this, and slopes steeper or flatter, are Newton's own business.
SMALL_STEP, NEAR_THE_BOTTOM, FLAT = 0.02, 0.5, 1e-3

#: Nearly nothing: of the degrees of freedom that a penalty holds, those that the data spent; and of its
#: rank, those that it holds.
LITTLE_SPENT, LITTLE_HELD = 0.1, 0.1

#: A step of rho, or of a log dispersion, that is long.
FAR = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Derivatives:
    """Of the criterion by rho: gradient (q,), Hessian (q, q); b's own, (k, q) and (m, q); freedom (q,).

    `freedom[j]` is d log|S| / d rho_j - lambda_j tr(V S_j): the degrees of freedom that the data spent on
    what penalty j holds. `held[j]` is d log|S| / d rho_j, how many it could hold, `ranks[j]` its rank;
    `pull[j]` is lambda_j b'S_j b, less its part in the change of H. `by_dispersion[j]` is the derivative of
    gradient[j] by the log dispersion of all classes alike, as though all precisions were searched for.
    """

    gradient: FloatArray
    hessian: FloatArray
    moves: FloatArray
    own_moves: FloatArray
    freedom: FloatArray
    held: FloatArray
    ranks: FloatArray
    pull: FloatArray
    by_dispersion: FloatArray


def derivatives(
    penalties: Penalties,
    rho: FloatArray,
    coefficients: tuple[FloatArray, FloatArray],
    system: System,
    covariance: Covariance,
    *,
    turning: tuple[FloatArray, FloatArray],
) -> Derivatives:
    """At b = `coefficients`; `turning` is V X'(h w')/2, how log|H + S| / 2 answers to a change of b.

    Here h are the leverages x'Vx and w' the derivatives of the observed weights by eta.
    """
    count = penalties.count
    weights = np.exp(rho)
    _, spread, curved = penalties.log_determinant(rho)
    pulls = [penalties.times(number, *coefficients) for number in range(count)]
    left = np.stack([weights[j] * pulls[j][0] for j in range(count)], axis=1)
    right = np.stack([weights[j] * pulls[j][1] for j in range(count)], axis=1)
    moves, own_moves = system.solve(left, right)
    quadratic = coefficients[0] @ left + coefficients[1] @ right
    turned = turning[0] @ left + turning[1] @ right
    traces = weights * [penalties.trace(j, covariance) for j in range(count)]
    double = np.empty((count, count))
    for i in range(count):
        for j in range(i + 1):
            double[i, j] = double[j, i] = weights[i] * weights[j] * penalties.double_trace(i, j, covariance)
    gradient = 0.5 * quadratic + 0.5 * traces - 0.5 * spread - turned
    answered = left.T @ moves + right.T @ own_moves + 0.5 * double
    hessian = np.diag(0.5 * quadratic + 0.5 * traces) - answered - 0.5 * curved
    return Derivatives(
        gradient=gradient,
        hessian=hessian,
        moves=-moves,
        own_moves=-own_moves,
        freedom=spread - traces,
        held=spread,
        ranks=penalties.ranks,
        pull=quadratic - 2.0 * turned,
        by_dispersion=0.5 * traces - np.sum(answered, axis=1),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Where the search stands: rho (q,) and its walls, and where it was before, with the gradient there."""

    rho: FloatArray
    lower: float
    upper: float
    before: tuple[FloatArray, FloatArray] | None = None

    def free(self, gradient: FloatArray) -> NDArray[np.bool_]:
        """Parameters that are not held by a wall, (q,) true or false."""
        outward = ((self.rho >= self.upper) & (gradient <= 0)) | ((self.rho <= self.lower) & (gradient >= 0))
        inward: NDArray[np.bool_] = ~outward
        return inward

    def step(self, found: Derivatives, settled: float) -> "Search":
        """One step down the criterion; what has a gradient below `settled` stays, however flat it lies."""
        moving = self.free(found.gradient) & (np.abs(found.gradient) > settled)
        free = np.flatnonzero(moving)
        change, doubted = _steps(found, free)
        # Newton's short steps are the better ones: they know of the other parameters.
        for j in np.flatnonzero(doubted | (np.abs(change) > FAR)):
            if found.freedom[j] < LITTLE_SPENT * found.held[j]:
                change[j] = _towards_nothing(found.gradient[j], found.hessian[j, j], self.upper - self.rho[j])
            elif found.held[j] < LITTLE_HELD * found.ranks[j]:
                change[j] = -_towards_nothing(
                    -found.gradient[j], found.hessian[j, j], self.rho[j] - self.lower
                )
        rho = np.clip(self.rho + change, self.lower, self.upper)
        if self.before is not None:
            rho = np.where(moving & self._overshot(found.gradient), 0.5 * (self.rho + self.before[0]), rho)
        return Search(rho, self.lower, self.upper, (self.rho, found.gradient))

    def _overshot(self, gradient: FloatArray) -> NDArray[np.bool_]:
        """Where the last step led over a bottom to a slope as steep: the place is between.

        Two penalties of one term can lead Newton's steps round in a circle.
        """
        assert self.before is not None  # noqa: S101 - asked after a step only
        earlier, slope = self.before
        turned = (slope * gradient < 0) & (np.abs(gradient) > 0.5 * np.abs(slope))
        # Far from the bottom a slope turns with the dispersion and the coefficients as well.
        steepest = np.maximum(np.abs(gradient), np.abs(slope))
        # Nor is it for one parameter of all to turn back where it lies flat: its slope is the others' doing.
        turned &= (steepest < NEAR_THE_BOTTOM) & (steepest > FLAT)
        return turned & (np.abs(self.rho - earlier) > SMALL_STEP)


def _towards_nothing(gradient: float, hessian: float, room: float) -> float:
    """A step of rho where what it weighs, exp(-rho), is nearly nothing: `room` is left to the wall.

    There the criterion is a parabola in exp(-rho), and Newton's step by that, not by rho, ends at its
    bottom, or on the wall if the bottom lies beyond nothing.
    """
    bend = hessian + gradient
    if gradient < 0:
        share = 1.0 + gradient / bend if bend > 0 else 0.0
        return room if share <= np.exp(-room) else min(-float(np.log(share)), room)
    if bend < 0.05 * gradient:
        return -LARGEST_STEP
    return -min(float(np.log1p(gradient / bend)), LARGEST_STEP)


def _steps(found: Derivatives, free: NDArray[np.int64]) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Newton's steps, (q,), and where one is too long to be trusted, Fellner and Schall's for that one; which
    those are, (q,)."""
    step, changed = np.zeros(len(found.gradient)), np.zeros(len(found.gradient), dtype=np.bool_)
    while len(free):
        step[free] = _newton(found, free)
        trusted = np.abs(step[free]) <= LARGEST_STEP
        if trusted.all():
            break
        doubted = free[~trusted]
        step[doubted] = np.clip(_fellner_schall(found)[doubted], -LARGEST_STEP, LARGEST_STEP)
        changed[doubted] = True
        free = free[trusted]
    return step, changed


def _newton(found: Derivatives, free: NDArray[np.int64]) -> FloatArray:
    """Newton's step of some of the parameters, downhill also where the criterion curves down."""
    gradient, hessian = found.gradient[free], found.hessian[np.ix_(free, free)]
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(hessian)), 1e-8))
    values, vectors = np.linalg.eigh(hessian * scale * scale[:, None])
    curvature = np.maximum(np.abs(values), 1e-3)
    return np.asarray(-scale * (vectors @ ((vectors.T @ (scale * gradient)) / curvature)))


def _fellner_schall(found: Derivatives) -> FloatArray:
    """log of (d log|S| - lambda tr(VS)) over lambda b'S b, bounded where either is not positive."""
    tiny = 1e-8
    safe: FloatArray = np.log(np.maximum(found.freedom, tiny) / np.maximum(found.pull, tiny))
    return safe
