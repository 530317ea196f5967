"""What a club could say without the catch model: mean catch rates, and a plain generalised linear model.

Each baseline learns from some returns and gives the mean weight of others, in grams, and the number of rates
or coefficients it learned.
"""

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
from scipy import linalg, sparse

from analytics.catchrate.basis import FloatArray, IntArray
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
    columns = [(name, _levels(train, name)[1:]) for name in GLM_FACTORS]
    design, asked = _indicators(train, columns), _indicators(test, columns)
    start = float(np.log(train.weight_g.sum() / train.hours.sum()))
    coefficients = _solve(train, design, power, start)
    mean: FloatArray = test.hours * np.exp(np.clip(asked @ coefficients, start - FARTHEST, start + FARTHEST))
    return mean, len(coefficients)


def _solve(train: Returns, design: sparse.csr_matrix, power: float, start: float) -> FloatArray:
    """Coefficients by iteratively reweighted least squares (McCullagh & Nelder 1989, sec. 2.5)."""
    coefficients = np.zeros(design.shape[1])
    coefficients[0] = start
    overall = train.hours * np.exp(start)
    scale = float(np.mean((train.weight_g - overall) ** 2 / overall**power))
    penalty = np.diag(np.append(0.0, np.full(len(coefficients) - 1, GLM_RIDGE * scale)))
    for _ in range(100):
        eta = design @ coefficients
        mean = train.hours * np.exp(eta)
        weight = mean ** (2.0 - power)
        normal = (design.T @ design.multiply(weight[:, None])).toarray() + penalty
        working = design.T @ (weight * (eta + train.weight_g / mean - 1.0))
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
    rates = np.full(len(test.hours), np.nan)
    learned = 0
    for names in groupings:
        codes, asked = _codes(train, test, names)
        weight, hours = (np.bincount(codes, values) for values in (train.weight_g, train.hours))
        learned = learned or len(weight)
        with np.errstate(divide="ignore", invalid="ignore"):
            known = np.append(np.where(weight > 0.0, weight / hours, np.nan), np.nan)
        rates = np.where(np.isnan(rates), known[np.where(asked < len(weight), asked, -1)], rates)
    return rates * test.hours, learned


def _codes(train: Returns, test: Returns, names: tuple[str, ...]) -> tuple[IntArray, IntArray]:
    """A code for each combination in training, and the test returns' codes, past the end where unseen."""
    if not names:
        return np.zeros(len(train.hours), np.int64), np.zeros(len(test.hours), np.int64)
    keys = pd.concat([pd.DataFrame({name: part.features[name] for name in names}) for part in (train, test)])
    # Numbered in order of appearance, so that training's come first.
    codes = np.asarray(keys.groupby(list(names), dropna=False, sort=False).ngroup(), np.int64)
    return codes[: len(train.hours)], codes[len(train.hours) :]


def _levels(train: Returns, name: str) -> list[object]:
    levels, counts = np.unique([str(value) for value in train.features[name]], return_counts=True)
    return list(levels[np.argsort(-counts, kind="stable")])


def _indicators(returns: Returns, columns: Sequence[tuple[str, Sequence[object]]]) -> sparse.csr_matrix:
    """A column of ones and one indicator column a level, (n, k)."""
    count = len(returns.hours)
    rows, places, start = [np.arange(count)], [np.zeros(count, np.int64)], 1
    for name, levels in columns:
        index = {level: start + code for code, level in enumerate(levels)}
        place = np.array([index.get(str(value), -1) for value in returns.features[name]], np.int64)
        rows.append(np.flatnonzero(place >= 0))
        places.append(place[place >= 0])
        start += len(levels)
    row, column = np.concatenate(rows), np.concatenate(places)
    return sparse.csr_matrix((np.ones(len(row)), (row, column)), shape=(count, start))
