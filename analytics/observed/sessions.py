"""Sessions as the raw series count them: one row each, with the keys by which they are counted."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.frames import ClubFrame

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: The club as a whole, beside its waters.
CLUB = ""
SEASONS = ("winter", "spring", "summer", "autumn")
#: Widths of the bins in which distances and water temperatures are counted; a bin is named by its lower edge.
DISTANCE_BIN_M = 2
TEMPERATURE_BIN_C = 2

#: So many pairs of group and code are ticked off in a table; more are sorted.
_MOST_PAIRS = 50_000_000

#: Weights that stand: exact ones, and at the least what went over the net limit.
_RATED = ("weighed", "estimated", "blank", "over_net_limit")


@dataclass(frozen=True, slots=True, eq=False)
class Keyed:
    """Codes (n,) into `keys`, -1 where a session has none."""

    codes: IntArray
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Sessions:
    """The club's sessions, (n,) each, those of members who did not fish apart.

    A session of several parts has their hours together, and the bait and the distance of the part that was
    fished longest. `rated` sessions have effort and a weight, `weight_g`: what went over the net limit
    weighs at least what is counted here. `of_return` is the place of its return in the club's frame.
    """

    water: Keyed
    angler: Keyed
    outcome: NDArray[np.str_]
    is_match: BoolArray
    fished: BoolArray
    rated: BoolArray
    weight_g: FloatArray
    hours: FloatArray
    of_return: IntArray
    by: dict[str, Keyed]


@dataclass(frozen=True, slots=True, eq=False)
class Grouped:
    """Some sessions in groups of water and key, (w, k) each; the first of `waters` is the club as a whole.

    `row` is the session of each count, twice over: for the club and for its water.
    """

    waters: tuple[str, ...]
    row: IntArray
    group: IntArray
    returns: IntArray
    anglers: IntArray

    def sums(self, values: FloatArray) -> FloatArray:
        """Sums of a value a session, (w, k)."""
        found = np.bincount(self.group, values[self.row], minlength=self.returns.size)
        return found.astype(np.float64).reshape(self.returns.shape)

    def counts(self, chosen: BoolArray) -> IntArray:
        """How many of the chosen sessions, (w, k)."""
        return np.bincount(self.group[chosen[self.row]], minlength=self.returns.size).reshape(
            self.returns.shape
        )


def grouped(sessions: Sessions, chosen: IntArray, codes: IntArray, keys: int) -> Grouped:
    """The chosen sessions by water and by `codes` (one a session of all, 0 to `keys` - 1)."""
    waters = (CLUB, *sessions.water.keys)
    row = np.concatenate([chosen, chosen])
    water = np.concatenate([np.zeros(len(chosen), dtype=np.int64), 1 + sessions.water.codes[chosen]])
    group = water * keys + codes[row]
    size = len(waters) * keys
    shape = (len(waters), keys)
    returns = np.bincount(group, minlength=size).reshape(shape)
    return Grouped(
        waters, row, group, returns, distinct(sessions.angler.codes[row], group, size).reshape(shape)
    )


def distinct(codes: IntArray, group: IntArray, groups: int) -> IntArray:
    """How many different codes each group has, (groups,); one that is not recorded, -1, is none."""
    group, codes = group[codes >= 0], codes[codes >= 0]
    size = int(codes.max(initial=0)) + 1
    if groups * size > _MOST_PAIRS:
        return np.bincount(np.unique(group * size + codes) // size, minlength=groups)
    met = np.zeros((groups, size), dtype=np.bool_)
    met[group, codes] = True
    return np.asarray(met.sum(axis=1), dtype=np.int64)


def sessions_of(club_frame: ClubFrame) -> Sessions:
    """One row a session of the club's frame."""
    frame = club_frame.frame
    hours = np.bincount(frame["session"], frame["hours"].to_numpy()).astype(np.float64)
    whole = _longest_parts(frame)
    outcome = np.asarray(whole["outcome"], dtype=np.str_)
    over = outcome == "over_net_limit"
    weight_g = np.where(over, whole["bound_g"].to_numpy(), whole["weight_g"].to_numpy())
    weight_g = np.where(outcome == "blank", 0.0, weight_g)
    fished = outcome != "did_not_fish"
    with np.errstate(invalid="ignore"):
        rated = np.isin(outcome, _RATED) & ~np.isnan(weight_g) & (hours > 0)
    return Sessions(
        water=_words(whole["water"]),
        angler=_words(whole["angler"]),
        outcome=outcome,
        is_match=whole["is_match"].to_numpy(),
        fished=fished,
        rated=rated,
        weight_g=weight_g,
        hours=hours,
        of_return=club_frame.return_of_session(),
        by=_keys(whole),
    )


def _longest_parts(frame: pd.DataFrame) -> pd.DataFrame:
    """Of each session the part of the most hours, the earlier among equals, in the order of the sessions."""
    if frame["session"].is_unique:
        return frame
    by_hours = frame.sort_values("hours", ascending=False, kind="stable")
    return by_hours.drop_duplicates("session").sort_values("session")


def _keys(whole: pd.DataFrame) -> dict[str, Keyed]:
    days = whole["fished_on"].to_numpy("datetime64[M]")
    month = days.astype(np.int64) % 12 + 1
    months = Keyed(month - 1, tuple(f"{number:02d}" for number in range(1, 13)))
    seasons = Keyed(np.asarray(month % 12 // 3, dtype=np.int64), SEASONS)
    return {
        "month": months,
        "year": _found(days.astype("datetime64[Y]").astype(str)),
        "year_month": _found(days.astype(str)),
        "bait_month": _crossed(_words(whole["hook_bait"]), months),
        "distance_season": _crossed(_binned(whole["distance_m"], DISTANCE_BIN_M), seasons),
        "temperature": _binned(whole["water_temperature_c"], TEMPERATURE_BIN_C),
    }


def _words(column: "pd.Series[str]") -> Keyed:
    return Keyed(np.asarray(column.cat.codes, dtype=np.int64), tuple(column.cat.categories))


def _found(words: NDArray[np.str_]) -> Keyed:
    keys, codes = np.unique(words, return_inverse=True)
    return Keyed(np.asarray(codes, dtype=np.int64), tuple(str(key) for key in keys))


def _binned(column: "pd.Series[float]", width: int) -> Keyed:
    """Bins named by their lower edge, a whole number; a value on an edge lies in the bin above it."""
    values = column.to_numpy(np.float64)
    known = ~np.isnan(values)
    edges = np.floor(np.where(known, values, 0.0) / width).astype(np.int64) * width
    found, codes = np.unique(edges[known], return_inverse=True)
    coded = np.full(len(values), -1, dtype=np.int64)
    coded[known] = codes
    return Keyed(coded, tuple(str(edge) for edge in found.tolist()))


def _crossed(left: Keyed, right: Keyed) -> Keyed:
    """Every pair, 'left/right'; none where either is none."""
    codes = np.where((left.codes < 0) | (right.codes < 0), -1, left.codes * len(right.keys) + right.codes)
    return Keyed(codes, tuple(f"{one}/{other}" for one in left.keys for other in right.keys))
