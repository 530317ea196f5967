"""How many returns stand behind each choice, of how many members, and how recent they are."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.catchrate.returns import AT_LEAST_OUTCOMES, USED_OUTCOMES

IntArray = NDArray[np.int64]

#: Distances count as near one another by half metres, up to so many on either side.
NEAR_STEP_M = 0.5
NEAR_STEPS = 2


def count_support(frame: pd.DataFrame) -> dict[str, Any]:
    """Sessions behind each choice, of those whose weight is known or at least a bound of it, as JSON values.

    `choices`: rows of water, bait, rig type, method, distance in half metres (each None where not
    recorded) and how many; `method`: water, method, how many; `water` and `peg`: each, how many. A session
    counts once for each of its baits, among the choices with the part in which that bait was fished longest.

    `behind` has for each water how many, the last day (ISO 8601) and how many different members: `returns`
    of the water as a whole, and rows of `peg` (peg), `bait` (bait), `bait_month` (bait, month), `bait_peg`
    (peg, bait), `bait_near` (bait, half metres: within a metre of that distance) and `bait_rig` (bait, rig
    type), each followed by the three. Members are counted here and nowhere named.
    """
    used = frame[frame["outcome"].isin([*USED_OUTCOMES, *AT_LEAST_OUTCOMES]) & (frame["hours"] > 0)]
    used = _one_a_bait(used)
    session = used["session"].to_numpy()
    water, bait, method = used["water"], used["hook_bait"], used["method"]
    steps = (used["distance_m"] / NEAR_STEP_M).round()
    return {
        "choices": _counts(session, water, bait, used["rig_type"], method, steps),
        "method": _counts(session, water, method),
        "water": _counts(session, water),
        "peg": _counts(session, used["peg"]),
        "behind": _behind(used.assign(step=steps, month=used["fished_on"].dt.month)),
    }


def _behind(used: pd.DataFrame) -> dict[str, Any]:
    reach = range(-NEAR_STEPS, NEAR_STEPS + 1)
    measured = used[used["step"].notna()]
    near = pd.concat([measured.assign(step=measured["step"] + move) for move in reach])
    tables = {
        "returns": _tallies(used),
        "peg": _tallies(used, "peg"),
        "bait": _tallies(used, "hook_bait"),
        "bait_month": _tallies(used, "hook_bait", "month"),
        "bait_peg": _tallies(used, "peg", "hook_bait"),
        "bait_near": _tallies(near[near["step"] >= 0], "hook_bait", "step"),
        "bait_rig": _tallies(used, "hook_bait", "rig_type"),
    }
    behind: dict[str, Any] = {}
    for name, rows in tables.items():
        for water, *row in rows:
            behind.setdefault(water, {other: [] for other in tables})[name].append(row)
    return behind


def _one_a_bait(frame: pd.DataFrame) -> pd.DataFrame:
    """Of a session's parts with the same bait the one of the most hours, the earlier among equals."""
    if frame["session"].is_unique:
        return frame
    by_hours = frame.sort_values("hours", ascending=False, kind="stable")
    return by_hours.drop_duplicates(["session", "hook_bait"])


def _tallies(frame: pd.DataFrame, *names: str) -> list[list[Any]]:
    """Rows of each water and combination that occurs: how many sessions, their last day, their members."""
    columns = [frame["water"], *(frame[name] for name in names)]
    combination, coded = _combined(columns)
    found, group = np.unique(combination, return_inverse=True)
    sessions = _distinct(group, frame["session"].to_numpy(), len(found))
    members = _distinct(group, frame["angler"].cat.codes.to_numpy().astype(np.int64), len(found))
    last = np.zeros(len(found), dtype=np.int64)
    np.maximum.at(last, group, frame["fished_on"].to_numpy().astype("datetime64[D]").astype(np.int64))
    days = np.datetime_as_string(last.astype("datetime64[D]")).tolist() if len(found) else []
    return _rows(found, coded, sessions.tolist(), days, members.tolist())


def _distinct(group: IntArray, values: IntArray, groups: int) -> IntArray:
    """How many different values each group has, (groups,); one that is not recorded, -1, is none."""
    group, values = group[values >= 0], values[values >= 0]
    pairs = np.unique(group * (int(values.max(initial=0)) + 1) + values)
    counts: IntArray = np.bincount(pairs // (int(values.max(initial=0)) + 1), minlength=groups)
    return counts


def _counts(session: IntArray, *columns: "pd.Series[Any]") -> list[list[Any]]:
    """Rows of each combination that occurs, None for missing, and in how many sessions it does."""
    combination, coded = _combined(columns)
    pairs = pd.DataFrame({"session": session, "combination": combination}).drop_duplicates()
    found, counts = np.unique(pairs["combination"], return_counts=True)
    return _rows(found, coded, counts.tolist())


def _combined(columns: Any) -> tuple[IntArray, list[tuple[IntArray, list[Any]]]]:
    """One code for the combination of several columns, and the columns' own codes and values."""
    coded = [_coded(column) for column in columns]
    combination = np.zeros(len(columns[0]), dtype=np.int64)
    for codes, values in coded:
        combination = combination * (len(values) + 1) + codes + 1
    return combination, coded


def _rows(found: IntArray, coded: list[tuple[IntArray, list[Any]]], *figures: list[Any]) -> list[list[Any]]:
    """The combinations' values, None for missing, each with its figures."""
    words: list[list[Any]] = []
    for _, values in reversed(coded):
        found, place = np.divmod(found, len(values) + 1)
        words.append([values[at - 1] if at else None for at in place.tolist()])
    return sorted(([*row] for row in zip(*reversed(words), *figures, strict=True)), key=repr)


def _coded(column: "pd.Series[Any]") -> tuple[IntArray, list[Any]]:
    """Codes, -1 for missing, and the words or whole numbers that they stand for."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        return np.asarray(column.cat.codes, dtype=np.int64), column.cat.categories.tolist()
    codes, values = pd.factorize(column)
    return np.asarray(codes, dtype=np.int64), [int(value) for value in values]
