"""Places by weight: the heaviest is first, and equal weights are tied.

Give the steps of weighing, not the grams, when ties matter: two weights are equal when the scales showed
the same.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import accumulate


def competition_ranks(scores: Sequence[float]) -> tuple[int, ...]:
    """1 1 3: those tied share the best place, and the places they fill are passed over."""
    better = _better_than_each(scores)
    return tuple(better[score] + 1 for score in scores)


def fractional_ranks(scores: Sequence[float]) -> tuple[float, ...]:
    """1.5 1.5 3: those tied share the mean of the places they fill."""
    better, count = _better_than_each(scores), Counter(scores)
    return tuple(better[score] + (count[score] + 1) / 2 for score in scores)


def dense_ranks(scores: Sequence[float]) -> tuple[int, ...]:
    """1 1 2: those tied share a place, and no place is passed over."""
    place = {score: number for number, score in enumerate(_better_than_each(scores), start=1)}
    return tuple(place[score] for score in scores)


def _better_than_each(scores: Sequence[float]) -> Mapping[float, int]:
    """How many are heavier than each distinct score, heaviest first. Raises `ValueError` for no number."""
    if any(math.isnan(score) for score in scores):
        raise ValueError("a score that is not a number has no place")
    ordered = sorted(Counter(scores).items(), reverse=True)
    ahead = accumulate((count for _, count in ordered), initial=0)
    return {score: before for (score, _), before in zip(ordered, ahead, strict=False)}
