"""How many returns speak for a choice on one water, of how many members, how recent, and in what words."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.store import StoredFit

#: Distances count by half metres up to this one; what was fished further out is not ranked.
STEP_M = 0.5
FURTHEST_M = 16.0
NEAREST_M = 2.0
NEAR_M = 1.0
STEPS = int(FURTHEST_M / STEP_M) + 1
#: A bait is offered with this many returns in the season, near the distance, and on the rig type.
LEAST_RETURNS = 3

#: Waters of fits whose counts stay in the process.
KEPT_WATERS = 32


@dataclass(frozen=True, slots=True)
class Tally:
    """How many returns, the day of the last one, and how many different members handed them in."""

    returns: int
    last_on: date | None
    members: int


NOBODY = Tally(0, None, 0)


@dataclass(frozen=True, slots=True, eq=False)
class Behind:
    """What stands behind the parts of an answer about one water: tallies by code.

    `month` goes from 1 to 12; `step` is a distance in half metres, and its tally is of what was fished
    within a metre of it. Baits that were not recorded stand under None.
    """

    water: Tally
    peg: Mapping[str, Tally]
    bait: Mapping[str | None, Tally]
    bait_month: Mapping[tuple[str | None, int], Tally]
    bait_peg: Mapping[tuple[str, str | None], Tally]
    bait_near: Mapping[tuple[str | None, int], Tally]
    bait_rig: Mapping[tuple[str | None, str | None], Tally]

    def in_season(self, month: int) -> frozenset[str]:
        """Baits with enough returns in the month and the one on either side."""
        around = {(month - 2) % 12 + 1, month, month % 12 + 1}
        found: Counter[str] = Counter()
        for (bait, when), tally in self.bait_month.items():
            if when in around and bait is not None:
                found[bait] += tally.returns
        return frozenset(bait for bait, count in found.items() if count >= LEAST_RETURNS)


@dataclass(frozen=True, slots=True, eq=False)
class WaterSupport:
    """Counts (baits, rig types + 1, steps + 1) of one water; the last of an axis is 'not recorded'.

    Step s is the distance s times half a metre. `near` (baits, steps) counts returns within a metre of each
    step, on any rig; `on_rig` (baits, rig types) those on each. `tells_distance` is whether the water's
    returns record any distance within reach, by whatever method. `beyond` counts returns further out than
    any step.
    """

    baits: tuple[str, ...]
    rigs: tuple[str, ...]
    counts: NDArray[np.int64]
    near: NDArray[np.int64]
    on_rig: NDArray[np.int64]
    tells_distance: bool
    beyond: int

    def on_water(self, bait: int) -> int:
        return int(self.counts[bait].sum())

    def steps(self, longest_pole_m: float | None) -> NDArray[np.int64]:
        """Steps within what this water's returns span and the pole reaches."""
        fished = np.flatnonzero(self.counts[:, :, :-1].sum(axis=(0, 1)))
        if not len(fished):
            return fished
        furthest = FURTHEST_M if longest_pole_m is None else min(FURTHEST_M, longest_pole_m)
        lowest = max(int(fished[0]), int(NEAREST_M / STEP_M))
        highest = min(int(fished[-1]), int(furthest // STEP_M))
        return np.arange(lowest, highest + 1)


@lru_cache(maxsize=KEPT_WATERS)
def behind_of(stored: StoredFit, water: str) -> Behind | None:
    """What stands behind answers about a water, None where the fit used no return of it.

    Read once a fit and water from what `analytics.counts.count_support` counted.
    """
    tables = stored.support["behind"].get(water)
    if tables is None:
        return None
    (whole,) = tables["returns"]
    return Behind(
        water=_tally(whole),
        peg=_tallies(tables["peg"], 1),
        bait=_tallies(tables["bait"], 1),
        **{name: _tallies(tables[name], 2) for name in ("bait_month", "bait_peg", "bait_near", "bait_rig")},
    )


@lru_cache(maxsize=KEPT_WATERS)
def water_support(stored: StoredFit, water: str, methods: frozenset[str] | None) -> WaterSupport:
    """The counts of one water, by method when `methods` are given; read once a fit, water and methods."""
    return support_from(stored.support["choices"], water=water, methods=methods)


def support_from(
    choices: Sequence[Sequence[Any]], *, water: str, methods: frozenset[str] | None
) -> WaterSupport:
    """The counts of one water from the rows of `choices`."""
    here = [row for row in choices if row[0] == water]
    rows = [row for row in here if methods is None or row[3] in methods]
    baits = tuple(sorted({row[1] for row in rows if row[1] is not None}))
    rigs = tuple(sorted({row[2] for row in rows if row[2] is not None}))
    counts = np.zeros((len(baits), len(rigs) + 1, STEPS + 1), dtype=np.int64)
    bait_of, rig_of = _places(baits), _places(rigs)
    beyond = 0
    for _, bait, rig, _, step, count in rows:
        if step is not None and step >= STEPS:
            beyond += count
        elif bait is not None:
            counts[bait_of[bait], rig_of.get(rig, -1), -1 if step is None else step] += count
    return WaterSupport(
        baits=baits,
        rigs=rigs,
        counts=counts,
        near=_near(counts[:, :, :-1].sum(axis=1)),
        on_rig=counts[:, :-1].sum(axis=2),
        tells_distance=any(row[4] is not None and row[4] < STEPS for row in here if row[1] is not None),
        beyond=beyond,
    )


def by_method(stored: Mapping[str, Any], *, water: str) -> dict[str, int]:
    """Returns of a water that record a method, by method."""
    return {
        method: count for where, method, count in stored["method"] if where == water and method is not None
    }


def _near(at_step: NDArray[np.int64]) -> NDArray[np.int64]:
    """Counts (baits, steps) of what lies within a metre of each step."""
    reach = int(NEAR_M / STEP_M)
    total = np.cumsum(np.pad(at_step, ((0, 0), (reach + 1, reach))), axis=1)
    near: NDArray[np.int64] = total[:, 2 * reach + 1 :] - total[:, : -(2 * reach + 1)]
    return near


def _tallies(rows: Sequence[Sequence[Any]], keys: int) -> dict[Any, Tally]:
    return {row[0] if keys == 1 else (row[0], row[1]): _tally(row[keys:]) for row in rows}


def _tally(figures: Sequence[Any]) -> Tally:
    returns, last_on, members = figures
    return Tally(returns, date.fromisoformat(last_on), members)


def _places(codes: Sequence[str]) -> dict[str, int]:
    return {code: place for place, code in enumerate(codes)}
