"""Where to begin the search for smoothing parameters: each term looked at as though it stood alone.

The generalised Fellner-Schall update (Wood & Fasiolo 2017, Biometrics 73:1071) with the inverse of a term's
own block in place of its block of the inverse, which costs next to nothing. It only begins a search.
"""

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.penalised import Penalised, Penalties
from analytics.catchrate.problem import STARTING_RHO
from analytics.catchrate.reml import LARGEST_STEP

#: Blocks up to this size are inverted whole; of larger ones only the diagonal counts, or its mean.
SMALL_BLOCK = 300
#: The least degrees of freedom that the returns spend on what a penalty holds, as a share of them: rounding.
LEAST_SPENT = 1e-10
NOTHING = 1e-300
#: No guess leads further from where every search begins: near a wall the criterion is too flat to lead back.
FURTHEST = 4.0


def guessed_rho(
    penalties: Penalties,
    rho: FloatArray,
    coefficients: tuple[FloatArray, FloatArray],
    gram: FloatArray,
    own: FloatArray,
) -> FloatArray:
    """The next rho (q,) from the unpenalised X'WX (k, k), the eliminated block's diagonal (m,) and b."""
    guess = rho.copy()
    for place, term in enumerate(penalties.terms):
        numbers = penalties.of_term(place)
        if not numbers:
            continue
        block = own if term.eliminated else gram[term.columns, term.columns]
        _, held, _ = term.log_determinant(rho[numbers])
        traces = _traces(term, rho[numbers], block)
        for number, most, trace in zip(numbers, held, traces, strict=True):
            left, right = penalties.times(number, *coefficients)
            quadratic = np.exp(rho[number]) * (coefficients[0] @ left + coefficients[1] @ right)
            ratio = max(most - trace, LEAST_SPENT * most) / max(quadratic, NOTHING)
            guess[number] += np.clip(np.log(max(ratio, NOTHING)), -LARGEST_STEP, LARGEST_STEP)
    return np.clip(guess, STARTING_RHO - FURTHEST, STARTING_RHO + FURTHEST)


def _traces(term: Penalised, rho: FloatArray, block: FloatArray) -> FloatArray:
    """lambda_j tr((X'WX + S)^-1 S_j), (q,), as if `block` were all of X'WX."""
    weights, precision = np.exp(rho), term.precision(rho)
    if precision.ndim == 1 and (block.ndim == 1 or term.size > SMALL_BLOCK):
        inverse = 1.0 / ((block if block.ndim == 1 else np.diag(block)) + precision)
        return weights * [float(inverse @ penalty) for penalty in term.penalties]
    if term.size <= SMALL_BLOCK:
        whole = np.linalg.inv(block + (np.diag(precision) if precision.ndim == 1 else precision))
        return weights * [float(np.sum(whole * _full(penalty))) for penalty in term.penalties]
    parts = weights[:, None] * term.eigenvalues[:-1]
    total = parts.sum(axis=0) + term.eigenvalues[-1] + float(np.mean(np.diag(block)))
    shares: FloatArray = np.sum(parts / total, axis=1)
    return shares


def _full(penalty: FloatArray) -> FloatArray:
    return np.diag(penalty) if penalty.ndim == 1 else penalty
