"""Database to typed frame, in one query, with the fingerprint of what was read.

Codes are public ids in hexadecimal (water, peg, member, bait, rig type, match): stable when a name is
corrected, and no name leaves the club's records. A session with several parts enters with the part of
the most hours, the earlier among equals; the total weight is never shared out or copied.
"""

import hashlib
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from django.db.models import F

from analytics.catchrate.design import USED_OUTCOMES
from clubdata.models import Club, Return, SessionKind

_WORDS = {
    "water": "water__uid",
    "peg": "peg__uid",
    "angler": "member__uid",
    "match_day": "match__uid",
    "hook_bait": "parts__hook_bait__uid",
    "rig_type": "parts__rig_type__uid",
    "method": "parts__method__uid",
}
_NUMBERS = {
    "peg_order": "peg__bank_order",
    "hours": "hours",
    "rods": "rods",
    "weight_g": "weight_g",
    "distance_m": "parts__distance_m",
    "wind_force": "conditions__wind_force",
    "water_temperature_c": "conditions__water_temperature_c",
    "part_hours": "parts__hours",
    "part_order": "parts__part_order",
}
_AS_THEY_ARE = {"fished_on": "fished_on", "outcome": "outcome", "session_kind": "session_kind"}
_SOURCES = {"uid": "uid", **_AS_THEY_ARE, **_WORDS, **_NUMBERS}

#: Distances count as near one another by half metres.
NEAR_STEP_M = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class ClubFrame:
    """A club's returns, one row each in the order of their ids, as `fit_catch` wants them.

    `revision` was read before the rows: what arrives in between makes the frame look older than it is,
    never newer. `fingerprint` is the SHA-256 of the rows, the same on every database.
    """

    frame: pd.DataFrame
    revision: int
    fingerprint: str

    def outcomes(self) -> dict[str, int]:
        """Returns by outcome."""
        counts = self.frame["outcome"].value_counts().sort_index()
        return {str(outcome): int(count) for outcome, count in counts.items()}


def load_frame(*, club: Club) -> ClubFrame:
    """Every return of the club. Columns: fished_on (datetime64), water, peg, angler, match_day, hook_bait,
    rig_type, method (codes, None where not recorded), peg_order, hours (rod-hours), weight_g, distance_m,
    wind_force, water_temperature_c (float, NaN where not recorded), outcome, is_match."""
    revision = Club.objects.values_list("revision", flat=True).get(pk=club.pk)
    rows = Return.objects.filter(club=club).order_by("uid").values_list(*map(F, _SOURCES.values()))
    frame = _longest_part(_typed(list(rows.iterator(chunk_size=5000))))
    frame["hours"] *= frame["rods"]
    frame["is_match"] = frame["session_kind"] == SessionKind.MATCH
    frame = frame.drop(columns=["rods", "part_hours", "part_order", "session_kind"]).set_index("uid")
    return ClubFrame(frame=frame, revision=int(revision), fingerprint=_fingerprint(frame))


def count_support(frame: pd.DataFrame) -> dict[str, Any]:
    """Returns behind each choice, of those that a fit uses, as JSON values.

    `choices`: rows of water, bait, rig type, method, distance in half metres (each None where not
    recorded) and how many; `bait_month`: water, bait, month, how many; `bait_peg`: peg, bait, how many.
    """
    used = frame[frame["outcome"].isin(USED_OUTCOMES) & (frame["hours"] > 0)]
    halves = (used["distance_m"] / NEAR_STEP_M).round()
    steps = [None if np.isnan(value) else int(value) for value in halves]
    water, bait, months = used["water"], used["hook_bait"], used["fished_on"].dt.month
    return {
        "choices": _counts(water, bait, used["rig_type"], used["method"], steps),
        "bait_month": _counts(water, bait, months),
        "bait_peg": _counts(used["peg"], bait),
    }


def _counts(*columns: Any) -> list[list[Any]]:
    plain = [column.tolist() if isinstance(column, pd.Series) else column for column in columns]
    counts = Counter(zip(*plain, strict=True))
    return sorted(([*key, count] for key, count in counts.items()), key=repr)


def _typed(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    columns: list[Any] = list(zip(*rows, strict=True)) if rows else [()] * len(_SOURCES)
    by_name = dict(zip(_SOURCES, columns, strict=True))
    frame = pd.DataFrame(index=pd.RangeIndex(len(rows)))
    for name in ("uid", *_WORDS):
        frame[name] = _objects([None if value is None else value.hex for value in by_name[name]])
    for name in _NUMBERS:
        frame[name] = np.array([np.nan if value is None else value for value in by_name[name]], np.float64)
    frame["fished_on"] = pd.to_datetime(pd.Series(by_name["fished_on"], index=frame.index, dtype=object))
    for name in ("outcome", "session_kind"):
        frame[name] = _objects(list(by_name[name]))
    return frame


def _objects(values: list[Any]) -> "pd.Series[Any]":
    """Python values as they are: a column of strings would turn None into NaN."""
    return pd.Series(values, dtype=object)


def _longest_part(frame: pd.DataFrame) -> pd.DataFrame:
    """One row a return: its part of the most hours, unstated hours counting least."""
    if not frame["uid"].duplicated().any():
        return frame
    by_length = frame.sort_values(
        ["uid", "part_hours", "part_order"], ascending=[True, False, True], na_position="last", kind="stable"
    )
    return by_length.drop_duplicates("uid").reset_index(drop=True)


def _fingerprint(frame: pd.DataFrame) -> str:
    """SHA-256 over the columns by name, each in the order of the rows' ids."""
    digest = hashlib.sha256()
    digest.update("\x1e".join(frame.index).encode())
    for name in sorted(frame.columns):
        digest.update(f"\x1d{name}\x1d".encode())
        digest.update(_bytes(frame[name]))
    return digest.hexdigest()


def _bytes(column: "pd.Series[Any]") -> bytes:
    if column.dtype == object:
        return "\x1e".join("" if value is None else str(value) for value in column).encode()
    kind = "<M8[D]" if column.dtype.kind == "M" else "<f8"
    return column.to_numpy().astype(kind).tobytes()
