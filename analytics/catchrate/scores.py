"""How good a forecast was, once the weight is known: its mean, its draws, its intervals."""

import numpy as np

from analytics.catchrate.basis import FloatArray


def mean_deviance(weight_g: FloatArray, mean_g: FloatArray, power: float) -> float:
    """Mean unit deviance of a Tweedie, 1 < power < 2."""
    return float(unit_deviances(weight_g, mean_g, power).mean())


def unit_deviances(weight_g: FloatArray, mean_g: FloatArray, power: float) -> FloatArray:
    """Of each weight (n,), 1 < power < 2 (Jorgensen 1997, *Theory of Dispersion Models*)."""
    rest, left = 2.0 - power, 1.0 - power
    with np.errstate(divide="ignore", invalid="ignore"):
        saturated = np.where(weight_g > 0.0, weight_g**rest / (left * rest), 0.0)
    unit: FloatArray = 2.0 * (saturated - weight_g * mean_g**left / left + mean_g**rest / rest)
    return unit


def ranked_probability_scores(weight_g: FloatArray, draws_g: FloatArray) -> FloatArray:
    """Continuous ranked probability score (CRPS), in grams, of each weight (n,) under its draws (n, m).

    Less is better: E|X - y| - E|X - X'| / 2 (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359, eq. 21),
    unbiased in the number of draws (Ferro 2014, Q. J. R. Meteorol. Soc. 140:1917).
    """
    draws = np.sort(draws_g, axis=1)
    count = draws.shape[1]
    far = np.abs(draws - weight_g[:, None]).mean(axis=1)
    ranks = 2.0 * np.arange(1, count + 1) - count - 1.0
    scores: FloatArray = far - draws @ ranks / (count * (count - 1.0))
    return scores


def places(generator: np.random.Generator, weight_g: FloatArray, draws_g: FloatArray) -> FloatArray:
    """Where each weight lies among its draws, 0 to 1, uniform under a right forecast.

    Among equals, blanks above all, the place is drawn (Czado, Gneiting & Held 2009, Biometrics 65:1254).
    """
    below = (draws_g < weight_g[:, None]).sum(axis=1)
    equal = (draws_g == weight_g[:, None]).sum(axis=1)
    among = below + generator.random(len(weight_g)) * (equal + 1.0)
    found: FloatArray = among / (draws_g.shape[1] + 1.0)
    return found


def coverage(found: FloatArray, share: float) -> float:
    """The share of places inside the central interval that should hold `share` of them."""
    return float(np.mean(np.abs(found - 0.5) <= share / 2.0))
