"""What a club could say without the catch model: mean catch rates, and a plain generalised linear model.

Each baseline learns from some returns and gives the mean weight of others, in grams, and the number of rates
or coefficients it learned. All weights are exact; a session of several parts stands under its first.
"""

from collections.abc import Callable, Sequence

import numpy as np
from scipy import linalg, sparse

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.equations import weighted_counts
from analytics.catchrate.fitted import session_hours, session_words
from analytics.catchrate.returns import Returns

Baseline = Callable[[Returns, Returns, float], tuple[FloatArray, int]]

GLM_FACTORS = ("peg", "month", "hook_bait", "rig_type", "session_kind", "wind")
#: Only keeps a level of blanks alone from running to minus infinity: a prior of thirty log units.
GLM_RIDGE = 0.001
#: No forecast further from the overall rate than these log units.
FARTHEST = 20.0


def water_mean(train: Returns, test: Returns, _power: float = 1.5) -> tuple[FloatArray, int]:
    """The water's total weight over its total effort, times the hours."""
    return _mean_rates(train, test, [("water",), ()])


def peg_and_month_mean(train: Returns, test: Returns, _power: float = 1.5) -> tuple[FloatArray, int]:
    """The same of the peg in that month; of the peg, then the water, where that was never fished or blank."""
    return _mean_rates(train, test, [("peg", "month"), ("peg",), ("water",), ()])


def plain_glm(train: Returns, test: Returns, power: float) -> tuple[FloatArray, int]:
    """A Tweedie model with a log link, log hours as offset and every effect a fixed one, unpenalised.

    A level that was not there to learn from takes the commonest level's effect, which is the contrast's zero.
    """
    design, asked = _designs(train, test)
    hours = session_hours(train)
    start = float(np.log(train.weight_g.sum() / hours.sum()))
    coefficients = _solve(train.weight_g, hours, design, power, start)
    log_rate = np.clip(asked @ coefficients, start - FARTHEST, start + FARTHEST)
    mean: FloatArray = session_hours(test) * np.exp(log_rate)
    return mean, len(coefficients)


def _solve(
    weight_g: FloatArray, hours: FloatArray, design: sparse.csr_matrix, power: float, start: float
) -> FloatArray:
    """Coefficients by iteratively reweighted least squares (McCullagh & Nelder 1989, sec. 2.5)."""
    coefficients = np.zeros(design.shape[1])
    coefficients[0] = start
    overall = hours * np.exp(start)
    scale = float(np.mean((weight_g - overall) ** 2 / overall**power))
    penalty = np.diag(np.append(0.0, np.full(len(coefficients) - 1, GLM_RIDGE * scale)))
    for _ in range(100):
        eta = design @ coefficients
        mean = hours * np.exp(eta)
        weight = mean ** (2.0 - power)
        normal = (design.T @ design.multiply(weight[:, None])).toarray() + penalty
        working = design.T @ (weight * (eta + weight_g / mean - 1.0))
        step = linalg.solve(normal, working, assume_a="pos") - coefficients
        largest = float(np.abs(step).max())
        # A level of few, light returns overshoots from the common mean.
        coefficients += step * min(1.0, 2.0 / max(largest, 2.0))
        if largest < 1e-8:
            break
    return coefficients


BASELINES: dict[str, Baseline] = {
    "water mean": water_mean,
    "peg and month mean": peg_and_month_mean,
    "plain GLM": plain_glm,
}


def _mean_rates(
    train: Returns, test: Returns, groupings: Sequence[tuple[str, ...]]
) -> tuple[FloatArray, int]:
    """Hours times grams an hour by the first grouping that knows a rate above zero; rates of the first."""
    effort = session_hours(train)
    rates = np.full(len(test.weight_g), np.nan)
    learned = 0
    for names in groupings:
        codes, asked, size = _grouped(train, test, names)
        weight, hours = (weighted_counts(codes, values, size) for values in (train.weight_g, effort))
        learned = learned or size
        known = np.full(size + 1, np.nan)
        np.divide(weight, hours, out=known[:-1], where=weight > 0.0)
        rates = np.where(np.isnan(rates), known[asked], rates)
    return rates * session_hours(test), learned


def _grouped(train: Returns, test: Returns, names: tuple[str, ...]) -> tuple[IntArray, IntArray, int]:
    """A code for each combination met in training, the test returns' codes (-1 unseen), and how many."""
    cells = np.zeros(len(train.weight_g), np.int64)
    asked = np.zeros(len(test.weight_g), np.int64)
    seen = np.ones(len(asked), np.bool_)
    for name in names:
        codes, others, size = _aligned(train, test, name)
        cells, asked = cells * size + codes, asked * size + others
        seen &= others >= 0
    met, grouped = np.unique(cells, return_inverse=True)
    place = np.minimum(np.searchsorted(met, asked), len(met) - 1)
    return grouped, np.where(seen & (met[place] == asked), place, -1), len(met)


def _aligned(train: Returns, test: Returns, name: str) -> tuple[IntArray, IntArray, int]:
    """Codes of both into training's levels and one more for not recorded; -1 is another level."""
    column, other = session_words(train, name), session_words(test, name)
    index = {level: place for place, level in enumerate(column.levels)}
    last = len(column.levels)
    # A code of -1, not recorded, reaches the end.
    places = np.array([*(index.get(level, -1) for level in other.levels), last], np.int64)
    return np.where(column.codes < 0, last, column.codes).astype(np.int64), places[other.codes], last + 1


def _designs(train: Returns, test: Returns) -> tuple[sparse.csr_matrix, sparse.csr_matrix]:
    """A column of ones and one an indicator of each level met in training but the commonest."""
    columns: list[tuple[IntArray, IntArray]] = []
    start = 1
    for name in GLM_FACTORS:
        codes, asked, size = _aligned(train, test, name)
        counts = np.bincount(codes, minlength=size)
        order = np.argsort(-counts, kind="stable")[: np.count_nonzero(counts)]
        place = np.full(size + 1, -1, np.int64)
        place[order[1:]] = start + np.arange(len(order) - 1)
        columns.append((place[codes], place[asked]))
        start += len(order) - 1
    design, others = zip(*columns, strict=True)
    return _indicators(design, start), _indicators(others, start)


def _indicators(columns: Sequence[IntArray], size: int) -> sparse.csr_matrix:
    """(n, size): ones in column 0 and where each of the columns (n,) says; -1 says nowhere."""
    count = len(columns[0])
    column = np.concatenate([np.zeros(count, np.int64), *columns])
    row = np.tile(np.arange(count), len(columns) + 1)
    there = column >= 0
    ones = np.ones(np.count_nonzero(there))
    return sparse.csr_matrix((ones, (row[there], column[there])), shape=(count, size))
