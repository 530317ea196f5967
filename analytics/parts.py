"""The parts of a session: how its effort is shared among them, and when each is a session of its own."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Hours are stated to the hundredth: less than half of that is the arithmetic's.
_NO_HOURS = 0.005


def share_hours(*, session: IntArray, session_hours: FloatArray, stated_hours: FloatArray) -> FloatArray:
    """The hours of each part, (n,), from what the angler stated of the session and of its parts.

    `session` numbers the sessions 0, 1, …; `session_hours` stands on each of a session's parts, and
    `stated_hours` is NaN where a part states none. The rule:

    1. A session's only part takes the session's hours.
    2. Of several parts each takes the hours stated for it; parts that state none share the rest equally.
    3. Parts that state more than the session had are brought down in proportion, so that two lines fished
       at the same time do not make two sessions of one; and when that leaves nothing for a part that
       states no hours, all parts share equally: it was fished.
    """
    hours = session_hours.copy()
    several = np.flatnonzero(np.bincount(session)[session] > 1) if len(session) else session
    if not len(several):
        return hours
    _, of = np.unique(session[several], return_inverse=True)
    whole, stated = session_hours[several], stated_hours[several]
    silent = np.isnan(stated)
    parts, silent_parts = np.bincount(of)[of], np.bincount(of, silent)[of]
    told = np.bincount(of, np.where(silent, 0.0, stated))[of]
    rest = whole - told
    shared = np.where(silent, rest / np.maximum(silent_parts, 1), stated)
    too_much = rest < 0
    shared[too_much] *= (whole / np.where(told > 0, told, 1.0))[too_much]
    nothing_left = (silent_parts > 0) & (rest < _NO_HOURS)
    shared[nothing_left] = (whole / parts)[nothing_left]
    hours[several] = shared
    return hours


def split_sessions(*, session: IntArray, weight_g: FloatArray, part_weight_g: FloatArray) -> BoolArray:
    """Whether each row belongs to a session whose parts stand as sessions of their own, (n,).

    They do when there are several, the total is known, each part was weighed, and the parts add up to the
    total but for the rounding of each figure to a gram; where they do not, the total stands.
    """
    if not len(session):
        return np.zeros(0, dtype=np.bool_)
    parts = np.bincount(session)[session]
    # A weight that is not known makes the sum, and so the comparison, unknown.
    total = np.bincount(session, part_weight_g)[session]
    split: BoolArray = (parts > 1) & (np.abs(total - weight_g) <= (parts + 1) / 2)
    return split
