"""Database to typed frame, with the fingerprint of what was read.

Codes are public ids in hexadecimal (water, peg, member, bait, rig type, match): stable when a name is
corrected, and no name leaves the club's records. A return is one row a part; the total weight stands on
each of a session's parts, and whoever fits shares it out.
"""

import hashlib
import uuid
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from analytics.codes import categorical, public_ids, words
from analytics.parts import BoolArray, FloatArray, IntArray, share_hours, split_sessions
from analytics.rows import WAITS, read_rows
from clubdata.models import Club, HookBait, Match, Member, Method, Outcome, Peg, RigType, SessionKind, Water

#: Columns of keys, and whose keys they are.
_KEYS: dict[str, Any] = {
    "water": Water,
    "peg": Peg,
    "angler": Member,
    "match_day": Match,
    "hook_bait": HookBait,
    "rig_type": RigType,
    "method": Method,
}
_MEASURED = ("distance_m", "wind_force", "water_temperature_c")

#: The same bytes on every machine, by a column's kind.
_AS_BYTES = {"M": "<M8[s]", "f": "<f8", "i": "<i8", "b": "|b1"}


@dataclass(frozen=True, slots=True, eq=False)
class ClubFrame:
    """A club's returns, one row a part in the order of the returns' public ids and of the parts.

    `revision` was read before the rows: what arrives in between makes the frame look older than it is,
    never newer. `fingerprint` is the SHA-256 of the rows, the same on every database. `uid_halves` (S, 2)
    are the high and low 64 bits of the public id of each session's return; a return whose parts were each
    weighed is as many sessions. `club_id` is the club's key, for what is read beside the rows.
    """

    frame: pd.DataFrame
    revision: int
    fingerprint: str
    uid_halves: NDArray[np.uint64]
    club_id: int = 0

    @property
    def returns(self) -> int:
        """How many returns were read."""
        return int(self._first_sessions().sum())

    def uid(self, session: int) -> uuid.UUID:
        """The public id of a session's return."""
        high, low = (int(half) for half in self.uid_halves[session])
        return uuid.UUID(int=(high << 64) | low)

    def outcomes(self) -> dict[str, int]:
        """Returns by outcome."""
        one_a_session = self.frame.drop_duplicates("session")
        counts = one_a_session.loc[self._first_sessions(), "outcome"].value_counts().sort_index()
        return {str(outcome): int(count) for outcome, count in counts.items()}

    def return_of_session(self) -> IntArray:
        """The place of each session's return among the returns, (S,)."""
        return np.cumsum(self._first_sessions()) - 1

    def return_halves(self) -> NDArray[np.uint64]:
        """The halves of the public id of each return, (n, 2)."""
        return self.uid_halves[self._first_sessions()]

    def _first_sessions(self) -> BoolArray:
        """Whether each session is the first, mostly the only one, of its return."""
        return _starts(self.uid_halves[:, 0], self.uid_halves[:, 1])


def load_frame(*, club: Club, unseen: bool = False) -> ClubFrame:
    """Every return of the club, one row a part; with `unseen` those that no fit was held against.

    Columns: session (int64, 0 to S - 1), fished_on (datetime64[s]); water, peg, angler, match_day,
    hook_bait, rig_type, method, outcome (categories that occur, sorted; missing where not recorded);
    peg_order, distance_m, wind_force, water_temperature_c (float64, NaN where not recorded), hours
    (rod-hours of the part), weight_g (of the whole session; NaN when not known), bound_g (the session
    weighed at least this much; NaN when no such bound is known), is_match (bool). How hours are shared
    among parts, and when a part is a session of its own, is in `analytics.parts`. A return with an open doubt
    has the outcome `WAITS` and no weight.
    """
    revision = Club.objects.values_list("revision", flat=True).get(pk=club.pk)
    rows = _InOrder(read_rows(club=club, unseen=unseen))
    columns = {**_sessions(rows), **_codes(rows, club), **_measures(rows)}
    frame = pd.DataFrame(columns, copy=False)
    first = _starts(columns["session"])
    return ClubFrame(
        frame=frame,
        revision=int(revision),
        fingerprint=_fingerprint(frame, *rows.uid_halves),
        uid_halves=np.column_stack([half[first] for half in rows.uid_halves]),
        club_id=club.pk,
    )


class _InOrder:
    """The rows read, by the return's public id and then by the order of its parts.

    A column can be taken once: it is given up then, so that a million rows are not held twice.
    """

    def __init__(self, table: pa.Table) -> None:
        self._columns = dict(zip(table.column_names, table.columns, strict=True))
        high, low = (self._columns.pop(name).to_numpy() for name in ("uid_high", "uid_low"))
        part_order = self._columns.pop("part_order").fill_null(-1).to_numpy()
        self._order = _sorted_by(high, low, part_order)
        self.uid_halves: tuple[NDArray[np.uint64], ...] = (high[self._order], low[self._order])

    def column(self, name: str) -> NDArray[Any]:
        """A column without missing values."""
        values: NDArray[Any] = self._columns.pop(name).to_numpy()[self._order]
        return values

    def floats(self, name: str) -> FloatArray:
        """Numbers, NaN where not recorded, with one zero: SQLite tells -0 from 0."""
        values: FloatArray = self._columns.pop(name).cast(pa.float64()).to_numpy()[self._order]
        values += 0.0
        return values

    def keys(self, name: str) -> IntArray:
        """Keys of a table, -1 where not recorded."""
        values: IntArray = self._columns.pop(name).fill_null(-1).to_numpy()[self._order]
        return values

    def words(self, name: str) -> pd.Categorical:
        codes, names = words(self._columns.pop(name))
        return categorical(codes[self._order], names)


def _sorted_by(first: NDArray[Any], *others: NDArray[Any]) -> IntArray:
    """As `np.lexsort`, its keys in reverse, but the others are looked at only where the first is equal."""
    order = np.argsort(first)
    ordered = first[order]
    equal = ordered[1:] == ordered[:-1]
    tied = np.flatnonzero(np.append(equal, False) | np.append(False, equal))
    rows = order[tied]
    order[tied] = rows[np.lexsort([*(key[rows] for key in reversed(others)), first[rows]])]
    return order


def _starts(*keys: NDArray[Any]) -> BoolArray:
    """Where a row differs from the one before it in any of the keys."""
    starts = np.ones(len(keys[0]), dtype=np.bool_)
    if len(starts):
        starts[1:] = np.logical_or.reduce([key[1:] != key[:-1] for key in keys])
    return starts


def _sessions(rows: _InOrder) -> dict[str, Any]:
    """What belongs to a session as a whole, on each of its parts, and the parts' hours."""
    outcome = rows.words("outcome")
    waits = np.asarray(outcome == WAITS)
    total_g = np.where(waits, np.nan, rows.floats("weight_g"))
    starts = _starts(*rows.uid_halves)
    of_return = np.cumsum(starts) - 1
    over_net_limit = np.asarray(outcome == Outcome.OVER_NET_LIMIT)
    known_g = np.where(over_net_limit, np.nan, total_g)
    part_g = rows.floats("part_weight_g")
    split = split_sessions(session=of_return, weight_g=known_g, part_weight_g=part_g)
    hours = share_hours(
        session=of_return, session_hours=rows.floats("hours"), stated_hours=rows.floats("part_hours")
    )
    return {
        "session": np.cumsum(starts | split) - 1,
        "fished_on": rows.column("fished_on").astype("datetime64[s]"),
        "is_match": np.asarray(rows.words("session_kind") == SessionKind.MATCH),
        "hours": hours * rows.column("rods"),
        "weight_g": np.where(split, part_g, total_g),
        "outcome": outcome,
        "bound_g": np.where(over_net_limit, total_g, np.where(waits, np.nan, rows.floats("caught_g"))),
    }


def _codes(rows: _InOrder, club: Club) -> dict[str, Any]:
    """Public ids as categories, and each peg's place along its bank."""
    columns: dict[str, Any] = {
        name: categorical(*public_ids(rows.keys(name), kind, club)) for name, kind in _KEYS.items()
    }
    places = {uid.hex: place for uid, place in Peg.objects.filter(club=club).values_list("uid", "bank_order")}
    peg = columns["peg"]
    # One place more, so that a peg that is not recorded, -1, finds NaN.
    orders = np.array([*(places[uid] for uid in peg.categories), np.nan], dtype=np.float64)
    return columns | {"peg_order": orders[peg.codes]}


def _measures(rows: _InOrder) -> dict[str, FloatArray]:
    return {name: rows.floats(name) for name in _MEASURED}


def _fingerprint(frame: pd.DataFrame, *uids: NDArray[np.uint64]) -> str:
    """SHA-256 over the returns' public ids and the columns by name, in the frame's order."""
    digest = hashlib.sha256()
    for half in uids:
        digest.update(_bytes(half, "<u8"))
    for name in sorted(frame.columns):
        digest.update(f"\x1d{name}\x1d".encode())
        column = frame[name]
        if isinstance(column.dtype, pd.CategoricalDtype):
            digest.update("\x1e".join(column.cat.categories.tolist()).encode() + b"\x1d")
            digest.update(_bytes(column.cat.codes.to_numpy(), "<i4"))
        else:
            digest.update(_bytes(column.to_numpy(), _AS_BYTES[column.dtype.kind]))
    return digest.hexdigest()


def _bytes(values: NDArray[Any], kind: str) -> memoryview:
    return np.ascontiguousarray(values, dtype=kind).view(np.uint8).data
