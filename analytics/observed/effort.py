"""How much was fished, month by month, and how many of those on the books handed something in."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.observed.privacy import LEAST_ANGLERS, withheld
from analytics.observed.sessions import Sessions, grouped

IntArray = NDArray[np.int64]

EFFORT_COLUMNS = ("month", "session_kind", "returns", "anglers", "rod_hours", "withheld")
#: By whether a session is a match.
KINDS = ("pleasure", "match")
COMPLIANCE_COLUMNS = ("month", "on_the_books", "handed_in", "did_not_fish", "withheld")


def effort_of(sessions: Sessions) -> dict[str, Any]:
    """`columns` and, by water and for the club (an empty name), `rows` by month and kind of session.

    Rod-hours are those of every session that says how long it was, weighed or not.
    """
    months = sessions.by["year_month"]
    counted = grouped(
        sessions,
        np.flatnonzero(sessions.fished),
        2 * months.codes + sessions.is_match,
        2 * len(months.keys),
    )
    hours = counted.sums(sessions.hours)
    place = np.arange(2 * len(months.keys))
    hidden = withheld(counted.anglers, place // 2, place % 2)
    return {
        "columns": list(EFFORT_COLUMNS),
        "rows": {
            name: [
                [
                    months.keys[at // 2],
                    KINDS[at % 2],
                    int(counted.returns[water, at]),
                    int(counted.anglers[water, at]),
                    float(hours[water, at]),
                    bool(hidden[water, at]),
                ]
                for at in np.flatnonzero(counted.returns[water]).tolist()
            ]
            for water, name in enumerate(counted.waters)
        },
    }


def compliance_of(sessions: Sessions, memberships: pd.DataFrame) -> dict[str, Any]:
    """`columns` and `rows` by month of the whole club, from the first return's month to the last one's.

    On the books of a month is who had joined by its end and had not left when it began; a day of joining
    that nobody wrote down is taken as early, one of leaving as still to come. Of these, `handed_in` counts
    who handed in anything, and `did_not_fish` who said of that month only that they did not fish: that is
    an answer too.
    """
    months = sessions.by["year_month"]
    if not months.keys:
        return {"columns": list(COMPLIANCE_COLUMNS), "rows": []}
    first, last = np.datetime64(months.keys[0], "M"), np.datetime64(months.keys[-1], "M")
    span = np.arange(first, last + 1)
    place = {angler: at for at, angler in enumerate(memberships["angler"])}
    # One place more, so that an angler who is not recorded, -1, is no member.
    member = np.array([*(place.get(key, -1) for key in sessions.angler.keys), -1], dtype=np.int64)
    who = member[sessions.angler.codes]
    when = np.array(months.keys, dtype="datetime64[M]")[months.codes]
    joined, left = (memberships[name].to_numpy("datetime64[D]") for name in ("joined_on", "left_on"))
    rows = [
        _compliance_row(month, who[when == month], sessions.fished[when == month], joined, left)
        for month in span
    ]
    return {"columns": list(COMPLIANCE_COLUMNS), "rows": rows}


def _compliance_row(
    month: np.datetime64,
    who: IntArray,
    fished: NDArray[np.bool_],
    joined: NDArray[np.datetime64],
    left: NDArray[np.datetime64],
) -> list[Any]:
    begins, ends = month.astype("datetime64[D]"), (month + 1).astype("datetime64[D]")
    on_the_books = (np.isnat(joined) | (joined < ends)) & (np.isnat(left) | (left > begins))
    spoke = np.zeros(len(joined), dtype=np.bool_)
    spoke[who[who >= 0]] = True
    went = np.zeros(len(joined), dtype=np.bool_)
    went[who[fished & (who >= 0)]] = True
    spoke &= on_the_books
    handed_in = int(spoke.sum())
    stayed = int((spoke & ~went).sum())
    few = 0 < handed_in < LEAST_ANGLERS
    return [str(month), int(on_the_books.sum()), handed_in, stayed, few]
