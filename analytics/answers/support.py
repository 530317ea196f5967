"""How many returns speak for a choice on one water, and in what words."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Distances count by half metres up to this one; what was fished further out is not ranked.
STEP_M = 0.5
FURTHEST_M = 16.0
NEAREST_M = 2.0
NEAR_M = 1.0
#: A bait is offered with this many returns in the season, near the distance, and on the rig type.
LEAST_RETURNS = 3

A_LOT, A_FAIR_AMOUNT, A_LITTLE = "a lot", "a fair amount", "a little"

#: The rule behind `how_much_we_know`, as an answer shows it: word, returns near the distance, returns in
#: the month, and how many times the lower end of the interval its upper end may be.
_RULE = ((A_LOT, 30, 10, 2.0), (A_FAIR_AMOUNT, 10, 3, 3.0))
KNOWLEDGE_RULE = (
    "'a lot': at least 30 returns with this bait on this water within 1 m of the distance, at least 10 "
    "with it in this month, and the upper end of the 90 % interval at most 2 times the lower; 'a fair "
    "amount': at least 10, at least 3, and at most 3 times; 'a little': anything less."
)


@dataclass(frozen=True, slots=True)
class Evidence:
    """Used returns of this water with this bait: in all, at the peg (None when no peg was asked about), in
    the month, within 1 m of the distance (None when the choice names none), on the rig type."""

    on_water: int
    on_peg: int | None
    in_month: int
    near_distance: int | None
    on_rig_type: int


@dataclass(frozen=True, slots=True, eq=False)
class WaterSupport:
    """Counts (baits, rig types + 1, steps + 1) of one water; the last of an axis is 'not recorded'.

    Step s is the distance s times half a metre. `beyond` counts returns further out than any step, and
    `returns` all of the water, whatever they record.
    """

    baits: tuple[str, ...]
    rigs: tuple[str, ...]
    counts: NDArray[np.int64]
    beyond: int
    returns: int

    def on_water(self, bait: int) -> int:
        return int(self.counts[bait].sum())

    def on_rig(self, bait: int, rig: int | None) -> int:
        return self.on_water(bait) if rig is None else int(self.counts[bait, rig].sum())

    def near(self, bait: int, step: int | None) -> int:
        """Returns with the bait within a metre of the step, on any rig."""
        if step is None:
            return self.on_water(bait)
        reach = int(NEAR_M / STEP_M)
        # The column after the last step counts what was not recorded.
        last = self.counts.shape[2] - 1
        return int(self.counts[bait, :, max(step - reach, 0) : min(step + reach + 1, last)].sum())

    def steps(self, longest_pole_m: float | None) -> list[int]:
        """Steps within what this water's returns span and the pole reaches."""
        fished = np.flatnonzero(self.counts[:, :, :-1].sum(axis=(0, 1)))
        if not len(fished):
            return []
        furthest = FURTHEST_M if longest_pole_m is None else min(FURTHEST_M, longest_pole_m)
        lowest = max(int(fished[0]), int(NEAREST_M / STEP_M))
        highest = min(int(fished[-1]), int(furthest // STEP_M))
        return list(range(lowest, highest + 1))


def water_support(stored: Mapping[str, Any], *, water: str, methods: frozenset[str] | None) -> WaterSupport:
    """The counts of one water, by method when `methods` are given.

    `stored` is what `analytics.frames.count_support` counted.
    """
    rows = [row for row in stored["choices"] if row[0] == water and (methods is None or row[3] in methods)]
    baits = tuple(sorted({row[1] for row in rows if row[1] is not None}))
    rigs = tuple(sorted({row[2] for row in rows if row[2] is not None}))
    steps = int(FURTHEST_M / STEP_M) + 1
    counts = np.zeros((len(baits), len(rigs) + 1, steps + 1), dtype=np.int64)
    bait_of, rig_of = _places(baits), _places(rigs)
    beyond = 0
    for _, bait, rig, _, step, count in rows:
        if step is not None and step >= steps:
            beyond += count
        elif bait is not None:
            counts[bait_of[bait], rig_of.get(rig, -1), -1 if step is None else step] += count
    return WaterSupport(baits, rigs, counts, beyond, returns_on_water(stored, water=water))


def returns_on_water(stored: Mapping[str, Any], *, water: str) -> int:
    """Returns of a water, whatever they record."""
    return sum(int(count) for where, count in stored["water"] if where == water)


def returns_at_peg(stored: Mapping[str, Any], *, peg: str) -> int:
    """Returns of a peg, whatever they record."""
    return sum(int(count) for where, count in stored["peg"] if where == peg)


def returns_by_method(stored: Mapping[str, Any], *, water: str) -> dict[str, int]:
    """Returns of a water that record a method, by method."""
    return {
        method: count for where, method, count in stored["method"] if where == water and method is not None
    }


def bait_in_month(stored: Mapping[str, Any], *, water: str, month: int) -> dict[str, int]:
    """Returns of a water in a month, by bait."""
    return {
        bait: count for where, bait, when, count in stored["bait_month"] if (where, when) == (water, month)
    }


def in_season(stored: Mapping[str, Any], *, water: str, month: int) -> frozenset[str]:
    """Baits with enough returns of a water in the month and the one on either side."""
    around = {(month - 2) % 12 + 1, month, month % 12 + 1}
    found: Counter[str] = Counter()
    for where, bait, when, count in stored["bait_month"]:
        if where == water and when in around and bait is not None:
            found[bait] += count
    return frozenset(bait for bait, count in found.items() if count >= LEAST_RETURNS)


def bait_at_peg(stored: Mapping[str, Any], *, peg: str) -> dict[str | None, int]:
    """Returns of a peg, by bait; those that record no bait under None."""
    return {bait: count for where, bait, count in stored["bait_peg"] if where == peg}


def how_much_we_know(*, near: int, in_month: int, upper_over_lower: float) -> str:
    """The word for it, by `KNOWLEDGE_RULE`."""
    for word, least_near, least_in_month, widest in _RULE:
        if near >= least_near and in_month >= least_in_month and upper_over_lower <= widest:
            return word
    return A_LITTLE


def _places(codes: Sequence[str]) -> dict[str, int]:
    return {code: place for place, code in enumerate(codes)}
