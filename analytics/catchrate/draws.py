"""Random Tweedie weights, in NumPy alone so that the web process can draw them."""

import numpy as np
from numpy.typing import ArrayLike

from analytics.catchrate.basis import FloatArray

#: No Poisson mean is larger: beyond it the number of catches is certain to the last digit that counts.
MOST_CATCHES = 1e15


def draw(generator: np.random.Generator, mean: ArrayLike, dispersion: ArrayLike, power: float) -> FloatArray:
    """One weight for each mean and dispersion, broadcast: a Poisson number of gamma catches, 1 < power < 2.

    The sum of n gamma catches is one gamma of n times the shape (Dunn & Smyth 2005, Stat. Comput. 15:267).
    """
    if not 1.0 < power < 2.0:
        raise ValueError(f"the compound Poisson-gamma needs a power between one and two, not {power}")
    mean, dispersion = np.broadcast_arrays(np.asarray(mean, float), np.asarray(dispersion, float))
    rate = mean ** (2.0 - power) / (dispersion * (2.0 - power))
    catches = generator.poisson(np.minimum(rate, MOST_CATCHES))
    scale = dispersion * (power - 1.0) * mean ** (power - 1.0)
    weights: FloatArray = generator.gamma(catches * (2.0 - power) / (power - 1.0)) * scale
    return weights
