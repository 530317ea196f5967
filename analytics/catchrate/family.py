"""Response families: what the fit asks of one, per observation and at dispersion one.

Tweedie (compound Poisson-gamma, 1 < p < 2): Var = phi mu^p, with an atom at zero (Candy 2004, CCAMLR
Science 11:59; Shono 2008, Fisheries Research 93:154).
"""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.threads import by_rows


@dataclass(frozen=True, slots=True, eq=False)
class Working:
    """Derivatives of the log-likelihood by the linear predictor eta, (n,) each, times the dispersion.

    `score` the first; `observed` minus the second, `expected` its expectation (Fisher's); `slope` the
    derivative of `observed` by eta.
    """

    score: FloatArray
    observed: FloatArray
    expected: FloatArray
    slope: FloatArray


class Family(Protocol):
    """A response family with its link."""

    @property
    def known_dispersion(self) -> float | None:
        """The dispersion, where the family has none to estimate."""

    def start(self, rate: float) -> float:
        """The linear predictor of a mean."""

    def working(self, response: FloatArray, eta: FloatArray) -> Working: ...

    def halves(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        """Minus the log-likelihood at dispersion one, (n,), up to what depends on the response alone."""

    def deviance(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        """Each observation's part of the deviance, (n,)."""


@dataclass(frozen=True, slots=True)
class Gaussian:
    """The normal distribution with an identity link; its dispersion is the variance."""

    known_dispersion: float | None = None

    def start(self, rate: float) -> float:
        return rate

    def working(self, response: FloatArray, eta: FloatArray) -> Working:
        ones = np.ones_like(eta)
        return Working(response - eta, ones, ones, np.zeros_like(eta))

    def halves(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        return 0.5 * (response - eta) ** 2

    def deviance(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        return (response - eta) ** 2


@dataclass(frozen=True, slots=True)
class Poisson:
    """Counts with a log link."""

    known_dispersion: float | None = 1.0

    def start(self, rate: float) -> float:
        return float(np.log(rate))

    def working(self, response: FloatArray, eta: FloatArray) -> Working:
        mean = np.exp(eta)
        return Working(response - mean, mean, mean, mean)

    def halves(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        return np.exp(eta) - response * eta

    def deviance(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        mean = np.exp(eta)
        ratio = np.log(np.where(response > 0, response, mean) / mean)
        return 2.0 * (response * ratio - (response - mean))


@dataclass(frozen=True, slots=True)
class Tweedie:
    """Weights with exact zeros, log link; `search` lets the power be estimated, `power` its start."""

    power: float = 1.5
    search: bool = False
    known_dispersion: float | None = None

    def at(self, power: float) -> "Tweedie":
        return replace(self, power=power)

    def start(self, rate: float) -> float:
        return float(np.log(rate))

    def working(self, response: FloatArray, eta: FloatArray) -> Working:
        p = self.power
        spread, pull = self._powers(response, eta)
        return Working(
            score=pull - spread,
            observed=(2.0 - p) * spread + (p - 1.0) * pull,
            expected=spread,
            slope=(2.0 - p) ** 2 * spread - (p - 1.0) ** 2 * pull,
        )

    def halves(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        p = self.power
        spread, pull = self._powers(response, eta)
        spread /= 2.0 - p
        pull /= 1.0 - p
        spread -= pull
        return spread

    def deviance(self, response: FloatArray, eta: FloatArray) -> FloatArray:
        p = self.power
        return 2.0 * (response ** (2.0 - p) / ((1.0 - p) * (2.0 - p)) + self.halves(response, eta))

    def _powers(self, response: FloatArray, eta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """mu^(2-p) and y mu^(1-p), (n,) each."""
        spread, pull = np.empty_like(eta), np.empty_like(eta)

        def fill(rows: slice) -> None:
            np.exp((2.0 - self.power) * eta[rows], out=spread[rows])
            np.exp((1.0 - self.power) * eta[rows], out=pull[rows])
            pull[rows] *= response[rows]

        by_rows(fill, len(eta))
        return spread, pull

    def by_power(self, response: FloatArray, eta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Derivatives of `score` and `observed` by the power, (n,) each."""
        p = self.power
        spread, pull = self._powers(response, eta)
        score = -eta * (pull - spread)
        observed = -spread - eta * (2.0 - p) * spread + pull - eta * (p - 1.0) * pull
        return score, observed


def zero_probability(mean: FloatArray, dispersion: FloatArray | float, power: float) -> FloatArray:
    """P(weight = 0) of a Tweedie with 1 < power < 2; mean and dispersion in the same unit of weight."""
    return np.exp(-(mean ** (2.0 - power)) / (dispersion * (2.0 - power)))
