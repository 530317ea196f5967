"""The log-likelihood of a fit's returns, and the search for dispersion and power.

Dispersion and power minimise the same criterion as the smoothing parameters (`reml`): minus the
log-likelihood at the fitted means, plus log|H + S| / 2, whose derivatives by them are passed in as
`Correction`. Without it both come out low in small clubs: it is the allowance for the degrees of freedom
spent on the mean (for the normal distribution it gives residual squares over n - edf).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.censoring import interval_score
from analytics.catchrate.density import DensityGrid
from analytics.catchrate.equations import weighted_counts
from analytics.catchrate.family import Family, Gaussian, Tweedie, Working
from analytics.catchrate.response import Membership, Response

SMALLEST_POWER, LARGEST_POWER = 1.05, 1.95

#: Steps of the numerical derivatives by power and log dispersion.
NUDGE = 1e-3

#: Newton steps of power and dispersion at the same means, until a step is small.
NEWTON_STEPS, SETTLED = 4, 0.02

#: The information of a bounded weight is kept above this share of an exact weight's.
LEAST_INFORMATION = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Correction:
    """Derivatives of log|H + S| / 2, by power and by the log of each dispersion."""

    power: float
    log_dispersion: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """Power (in the family) and the log of each class's dispersion, with the criterion's gradient there.

    `hessian` is that of the free ones among (power, log dispersions), in that order; a power pressed
    against a wall is not free.
    """

    family: Family
    log_dispersion: FloatArray
    gradient: FloatArray
    hessian: FloatArray

    @property
    def distance(self) -> float:
        """How far from the optimum, in standard errors of what is searched for."""
        if not len(self.gradient):
            return 0.0
        spread = np.sqrt(np.abs(np.diag(np.linalg.pinv(self.hessian, hermitian=True))))
        return float(np.max(np.abs(self.gradient) * spread))


class Likelihood:
    """The returns' log-likelihood as a function of eta, dispersion and power."""

    def __init__(self, response: Response, family: Family, dispersion: FloatArray | None) -> None:
        self.response = response
        self.known = dispersion
        if dispersion is None and family.known_dispersion is not None:
            self.known = np.array([family.known_dispersion])
        self.classes = int(response.dispersion_class.max(initial=0)) + 1
        self.search_power = isinstance(family, Tweedie) and family.search
        if response.prior_weight is not None and (self.known is None or self.search_power):
            raise ValueError("prior weights need a known dispersion and power")
        bounded = response.bounded
        self._bounded = bounded
        self._exact = np.ones(len(response.weight), dtype=np.bool_)
        self._exact[bounded] = False
        self._grids = self._density_grids() if isinstance(family, Tweedie) else []
        self.membership = None
        if response.blank_group is not None and self.classes > 1:
            self.membership = Membership(response)

    def _density_grids(self) -> list[DensityGrid]:
        positive = self._exact & (self.response.weight > 0)
        grids = []
        for number in range(self.classes):
            mine = positive & (self.response.dispersion_class == number)
            grids.append(DensityGrid.of(self.response.weight[mine], self.response.frequency[mine]))
        return grids

    def scale(self, log_dispersion: FloatArray) -> FloatArray:
        """Frequency over dispersion, (s,)."""
        by_class = np.exp(-log_dispersion)
        if self.membership is None:
            scale = self.response.frequency * by_class[self.response.dispersion_class]
        else:
            scale = self.response.frequency * (self.membership.shares @ by_class)
        if self.response.prior_weight is not None:
            scale = scale * self.response.prior_weight
        return np.asarray(scale, dtype=np.float64)

    def allot(self, family: Family, eta: FloatArray, log_dispersion: FloatArray) -> None:
        """Bring the blanks' classes up to date."""
        if self.membership is not None:
            self.membership.allot(family.halves(self.response.weight, eta), log_dispersion)

    def by_class(
        self, values: FloatArray, log_dispersion: FloatArray, rows: NDArray[np.int64] | None = None
    ) -> FloatArray:
        """Values at dispersion one, (s,) or of some rows, scaled and summed by class, (classes,)."""
        chosen = slice(None) if rows is None else rows
        scaled = values * self.response.frequency[chosen]
        if self.response.prior_weight is not None:
            scaled = scaled * self.response.prior_weight[chosen]
        if self.membership is not None:
            sums = scaled @ self.membership.shares[chosen]
        else:
            sums = weighted_counts(self.response.dispersion_class[chosen], scaled, self.classes)
        return np.asarray(sums * np.exp(-log_dispersion), dtype=np.float64)

    def working(self, family: Family, eta: FloatArray, log_dispersion: FloatArray) -> Working:
        """At dispersion one, (s,) each; a bounded weight's are those of log P(lower <= Y <= upper)."""
        work = family.working(self.response.weight, eta)
        if not len(self._bounded):
            return work
        _, score, information = self._interval(family, eta, log_dispersion)
        dispersion = np.exp(log_dispersion)[self.response.dispersion_class[self._bounded]]
        least = LEAST_INFORMATION * work.expected[self._bounded]
        observed = np.maximum(information * dispersion, least)
        for column, values in (
            (work.score, score * dispersion),
            (work.observed, observed),
            (work.expected, observed),
            # How the information of an interval turns with eta is small and left out.
            (work.slope, 0.0),
        ):
            column[self._bounded] = values
        return work

    def _interval(
        self, family: Family, eta: FloatArray, log_dispersion: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        assert isinstance(family, Tweedie)  # noqa: S101 - only weights have bounds
        response, rows = self.response, self._bounded
        assert response.lower is not None and response.upper is not None  # noqa: S101 - bounded rows have both
        dispersion = np.exp(log_dispersion)[response.dispersion_class[rows]]
        return interval_score(
            response.lower[rows], response.upper[rows], np.exp(eta[rows]), dispersion, family.power
        )

    def bounded_log_probability(self, family: Family, eta: FloatArray, log_dispersion: FloatArray) -> float:
        if not len(self._bounded):
            return 0.0
        values, _, _ = self._interval(family, eta, log_dispersion)
        return float(self.response.frequency[self._bounded] @ values)

    def objective(self, family: Family, eta: FloatArray, log_dispersion: FloatArray) -> float:
        """Minus the log-likelihood as far as it depends on eta."""
        halves = self.scale(log_dispersion) * family.halves(self.response.weight, eta)
        exact = float(np.sum(halves if not len(self._bounded) else halves[self._exact]))
        return exact - self.bounded_log_probability(family, eta, log_dispersion)

    def normaliser(self, family: Family, log_dispersion: FloatArray) -> float:
        """Minus the log-likelihood as far as eta does not enter; nought for a family that has none known."""
        if isinstance(family, Tweedie) and self.response.prior_weight is None:
            totals = [
                grid.total(float(log), family.power)
                for grid, log in zip(self._grids, log_dispersion, strict=True)
            ]
            unknown = 0.0 if self.membership is None else self.membership.surprise()
            return unknown - float(sum(totals))
        if isinstance(family, Gaussian):
            logs = np.log(2.0 * np.pi) + log_dispersion[self.response.dispersion_class]
            return 0.5 * float(self.response.frequency @ logs)
        return 0.0

    def deviance(self, family: Family, eta: FloatArray) -> float:
        """Of the exact weights."""
        parts = self.response.frequency * family.deviance(self.response.weight, eta)
        return float(np.sum(parts[self._exact]))

    def start(self, family: Family, eta: FloatArray) -> FloatArray:
        """Log dispersions to start from, (classes,): Pearson's."""
        if self.known is not None:
            return np.log(self.known)
        work = family.working(self.response.weight, eta)
        squares = self.response.frequency * work.score**2 / work.expected
        pearson = np.sum(squares[self._exact]) / np.sum(self.response.frequency[self._exact])
        return np.full(self.classes, np.log(max(float(pearson), 1e-8)))

    def improved(
        self, family: Family, eta: FloatArray, log_dispersion: FloatArray, correction: Correction
    ) -> Scale:
        """Newton steps of the free ones among power and log dispersions; the gradient is the one before."""
        if self.known is not None and not self.search_power:
            return Scale(family, log_dispersion, np.zeros(0), np.zeros((0, 0)))
        if not isinstance(family, Tweedie):
            return self._improved_variance(family, eta, log_dispersion, correction)
        found: list[tuple[FloatArray, FloatArray]] = []
        logs = log_dispersion.copy()
        for _ in range(NEWTON_STEPS):
            criterion = _Criterion(self, family, eta, logs, correction)
            free = ([0] if self.search_power else []) + (
                [] if self.known is not None else criterion.dispersions
            )
            gradient, hessian = criterion.derivatives(free)
            if self.search_power and _pressed(family.power, gradient[0]):
                free, gradient, hessian = free[1:], gradient[1:], hessian[1:, 1:]
            found.append((gradient, hessian))
            if not free:
                break
            step = np.clip(_descent(*found[-1]), -0.5, 0.5)
            for place, which in enumerate(free):
                if which == 0:
                    power = np.clip(family.power + step[place], SMALLEST_POWER, LARGEST_POWER)
                    family = family.at(float(power))
                else:
                    logs[which - 1] += step[place]
            if np.max(np.abs(step)) < SETTLED:
                break
        return Scale(family, logs, *found[0])

    def _improved_variance(
        self, family: Family, eta: FloatArray, log_dispersion: FloatArray, correction: Correction
    ) -> Scale:
        """The normal distribution's: residual squares over what is left of n."""
        classes = self.response.dispersion_class
        frequency = self.response.frequency
        squares = weighted_counts(
            classes, frequency * family.deviance(self.response.weight, eta), self.classes
        )
        count = weighted_counts(classes, frequency, self.classes)
        gradient = 0.5 * count - 0.5 * squares / np.exp(log_dispersion) + correction.log_dispersion
        logs = np.log(squares / (count + 2.0 * correction.log_dispersion))
        return Scale(family, logs, gradient, np.diag(0.5 * squares / np.exp(log_dispersion)))


class _Criterion:
    """Minus the log-likelihood at fixed eta by power (0) and log dispersions (1, 2, …), corrected."""

    def __init__(
        self,
        likelihood: Likelihood,
        family: Tweedie,
        eta: FloatArray,
        log_dispersion: FloatArray,
        correction: Correction,
    ) -> None:
        self._likelihood, self._family, self._eta = likelihood, family, eta
        self._centre = np.concatenate([[family.power], log_dispersion])
        self._correction = np.concatenate([[correction.power], correction.log_dispersion])
        self.dispersions = list(range(1, len(self._centre)))
        self._sums: dict[float, FloatArray] = {}
        self._values: dict[tuple[float, ...], float] = {}

    def _halves(self, power: float) -> FloatArray:
        """The exact returns' part at dispersion one, summed by class."""
        if power not in self._sums:
            response, exact = self._likelihood.response, self._likelihood._exact
            halves = response.frequency * self._family.at(power).halves(response.weight, self._eta)
            halves = np.where(exact, halves, 0.0)
            membership, classes = self._likelihood.membership, self._likelihood.classes
            if membership is None:
                self._sums[power] = weighted_counts(response.dispersion_class, halves, classes)
            else:
                self._sums[power] = halves @ membership.shares
        return self._sums[power]

    def _value(self, point: FloatArray) -> float:
        key = tuple(float(value) for value in point)
        if key not in self._values:
            power, logs = key[0], point[1:]
            value = float(self._halves(power) @ np.exp(-logs))
            for grid, log in zip(self._likelihood._grids, logs, strict=True):
                value -= grid.total(float(log), power)
            family = self._family.at(power)
            value -= self._likelihood.bounded_log_probability(family, self._eta, logs)
            self._values[key] = value
        return self._values[key]

    def derivatives(self, free: list[int]) -> tuple[FloatArray, FloatArray]:
        """Gradient and Hessian by central differences."""
        size = len(free)
        gradient, hessian = np.zeros(size), np.zeros((size, size))
        middle = self._value(self._centre)
        steps = np.eye(len(self._centre)) * NUDGE
        for a, i in enumerate(free):
            above, below = self._value(self._centre + steps[i]), self._value(self._centre - steps[i])
            gradient[a] = (above - below) / (2.0 * NUDGE) + self._correction[i]
            hessian[a, a] = (above - 2.0 * middle + below) / NUDGE**2
            for b, j in enumerate(free[:a]):
                both = self._value(self._centre + steps[i] + steps[j])
                neither = self._value(self._centre - steps[i] - steps[j])
                others = self._value(self._centre + steps[j]) + self._value(self._centre - steps[j])
                mixed = both + neither + 2.0 * middle - above - below - others
                hessian[a, b] = hessian[b, a] = mixed / (2.0 * NUDGE**2)
        return gradient, hessian


def _pressed(power: float, gradient: float) -> bool:
    """Whether the power stands at one of its walls and would go further."""
    low, high = power <= SMALLEST_POWER and gradient > 0, power >= LARGEST_POWER and gradient < 0
    return low or high


def _descent(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Newton's step, along directions of no positive curvature the gradient's."""
    values, vectors = np.linalg.eigh(hessian)
    curvature = np.maximum(np.abs(values), 1e-8 * max(float(np.abs(values).max()), 1.0))
    step: FloatArray = -vectors @ ((vectors.T @ gradient) / curvature)
    return step
