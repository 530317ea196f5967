"""What the solver asks of a response family, and the Tweedie facts that answers and checks need.

Tweedie (compound Poisson-gamma, 1 < p < 2): Var = phi mu^p, with an atom at zero (Candy 2004, CCAMLR
Science 11:59; Shono 2008, Fisheries Research 93:154).
"""

from typing import Any, Protocol

import numpy as np

from analytics.catchrate.basis import FloatArray


class Family(Protocol):
    """A one-parameter exponential family with its link, as statsmodels' families are."""

    link: Any
    variance: Any

    def starting_mu(self, y: FloatArray) -> FloatArray: ...

    def weights(self, mu: FloatArray) -> FloatArray: ...

    def deviance(self, endog: FloatArray, mu: FloatArray) -> float: ...


def zero_probability(mean: FloatArray, dispersion: float, power: float) -> FloatArray:
    """P(weight = 0) of a Tweedie with 1 < power < 2; mean and dispersion in the same unit of weight."""
    return np.exp(-(mean ** (2.0 - power)) / (dispersion * (2.0 - power)))
