"""Raw catch rates by month, year, bait, distance and temperature; effort, compliance and species."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catches import read_catch_lines, read_memberships
from analytics.catchrate.effort import GroupRates, rates_by_group
from analytics.catchrate.estimates import Estimates
from analytics.frames import ClubFrame
from analytics.observed.effort import compliance_of, effort_of
from analytics.observed.privacy import withheld
from analytics.observed.sessions import Keyed, Sessions, sessions_of
from analytics.observed.species import composition_of

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: A row of `rates`, after its key. `weight_g` and `rod_hours` are those of the sessions that have both, and
#: the rates are grams a rod-hour with their standard errors, None where there are too few. Sessions known
#: only to weigh `at_least` something count as that, and those that did not weigh in no rate.
COLUMNS = (
    *("key", "returns", "anglers", "blanks", "did_not_weigh", "at_least", "weight_g", "rod_hours"),
    *("ratio", "ratio_se", "mean_of_ratios", "mean_of_ratios_se", "withheld"),
)
#: The club as a whole, beside its waters.
CLUB = ""
ALL, MATCH = "all", "match"
_AT_LEAST = ("over_net_limit", "counted_only")


def observe_series(club_frame: ClubFrame, _estimates: Estimates) -> dict[str, Any]:
    """JSON values that name no person.

    `rates`: by kind of session (`ALL`, `MATCH`), by what is counted (`analytics.observed.sessions`; 'all' is
    everything), by water (`CLUB` or its public id) rows of `COLUMNS`, of keys that occur. `effort`,
    `compliance` and `species` are as `analytics.observed.effort` and `species` have them; `pegs` says how
    many pegs of each water were fished.
    """
    sessions = sessions_of(club_frame)
    everything = Keyed(np.zeros(len(sessions.hours), dtype=np.int64), ("",))
    by = {"all": everything, **sessions.by}
    kinds = {ALL: sessions.fished, MATCH: sessions.fished & sessions.is_match}
    club_id = club_frame.club_id
    return {
        "columns": list(COLUMNS),
        "rates": {
            kind: {name: _rates(sessions, of_kind, name, keyed) for name, keyed in by.items()}
            for kind, of_kind in kinds.items()
        },
        "effort": effort_of(sessions),
        "compliance": compliance_of(sessions, read_memberships(club_id=club_id)),
        "species": composition_of(club_frame, sessions, read_catch_lines(club_id=club_id)),
        "pegs": _pegs(club_frame),
    }


def _rates(sessions: Sessions, of_kind: BoolArray, name: str, keyed: Keyed) -> dict[str, list[list[Any]]]:
    """Rows by water; the first water is the club as a whole."""
    waters, keys = 1 + len(sessions.water.keys), len(keyed.keys)
    chosen = np.flatnonzero(of_kind & (keyed.codes >= 0))
    # Every session counts for the club and for its water.
    row = np.concatenate([chosen, chosen])
    code = keyed.codes[row]
    group = np.concatenate([np.zeros(len(chosen), dtype=np.int64), 1 + sessions.water.codes[chosen]])
    group = group * keys + code
    counts = _counts(sessions, row, group, waters * keys)
    rated = sessions.rated[row]
    rates = rates_by_group(
        sessions.weight_g[row][rated], sessions.hours[row][rated], group[rated], waters * keys
    )
    hidden = withheld(counts["anglers"].reshape(waters, keys), _families(name, keyed)).ravel()
    names = (CLUB, *sessions.water.keys)
    rows: dict[str, list[list[Any]]] = {water: [] for water in names}
    for at in np.flatnonzero(counts["returns"]).tolist():
        figures = [int(column[at]) for column in counts.values()]
        rows[names[at // keys]].append(
            [keyed.keys[at % keys], *figures, *_rated_figures(rates, at), bool(hidden[at])]
        )
    return rows


def _counts(sessions: Sessions, row: IntArray, group: IntArray, groups: int) -> dict[str, IntArray]:
    outcome = sessions.outcome[row]

    def count(chosen: BoolArray) -> IntArray:
        return np.bincount(group[chosen], minlength=groups)

    return {
        "returns": np.bincount(group, minlength=groups),
        "anglers": distinct(sessions.angler.codes[row], group, groups),
        "blanks": count(outcome == "blank"),
        "did_not_weigh": count(outcome == "did_not_weigh"),
        "at_least": count(np.isin(outcome, _AT_LEAST)),
    }


def distinct(codes: IntArray, group: IntArray, groups: int) -> IntArray:
    """How many different codes each group has, (groups,)."""
    size = int(codes.max(initial=0)) + 1
    return np.bincount(np.unique(group * size + codes) // size, minlength=groups)


def _rated_figures(rates: GroupRates, at: int) -> list[float | None]:
    figures = (rates.catch, rates.effort, rates.ratio, rates.ratio_se, rates.mean, rates.mean_se)
    return [None if np.isnan(column[at]) else float(column[at]) for column in figures]


def _families(name: str, keyed: Keyed) -> IntArray:
    """The keys whose figures add up to one that is shown: the months of a year, the months of a bait."""
    if name not in {"year_month", "bait_month"}:
        return np.zeros(len(keyed.keys), dtype=np.int64)
    whole = [key[:4] if name == "year_month" else key.partition("/")[0] for key in keyed.keys]
    return np.unique(whole, return_inverse=True)[1].astype(np.int64)


def _pegs(club_frame: ClubFrame) -> dict[str, int]:
    pairs = club_frame.frame[["water", "peg"]].dropna().drop_duplicates()
    counts = pairs["water"].value_counts()
    return {str(water): int(count) for water, count in counts.items() if count}
