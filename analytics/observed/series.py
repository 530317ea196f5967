"""Raw catch rates by month, year, bait, distance and temperature; effort, compliance and species."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catches import read_catch_lines, read_memberships
from analytics.catchrate.effort import GroupRates, rates_by_group
from analytics.catchrate.estimates import Estimates
from analytics.frames import ClubFrame
from analytics.observed.effort import compliance_of, effort_of
from analytics.observed.privacy import codes_of, withheld
from analytics.observed.sessions import Keyed, Sessions, grouped, sessions_of
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
ALL, MATCH = "all", "match"
_AT_LEAST = ("over_net_limit", "counted_only")


def observe_series(club_frame: ClubFrame, _estimates: Estimates) -> dict[str, Any]:
    """JSON values that name no person.

    `rates`: by kind of session (`ALL`, `MATCH`), by what is counted (`analytics.observed.sessions`; 'all' is
    everything), by water (`CLUB` or its public id) rows of `COLUMNS`, of keys that occur. `effort`,
    `compliance` and `species` are as `analytics.observed.effort` and `species` have them; `pegs` are
    those of each water that were fished.
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
    chosen = np.flatnonzero(of_kind & (keyed.codes >= 0))
    found = grouped(sessions, chosen, keyed.codes, len(keyed.keys))
    counts = {
        "returns": found.returns,
        "anglers": found.anglers,
        "blanks": found.counts(sessions.outcome == "blank"),
        "did_not_weigh": found.counts(sessions.outcome == "did_not_weigh"),
        "at_least": found.counts(np.isin(sessions.outcome, _AT_LEAST)),
    }
    row = found.row[rated := sessions.rated[found.row]]
    rates = rates_by_group(
        sessions.weight_g[row], sessions.hours[row], found.group[rated], found.returns.size
    )
    hidden = withheld(found.anglers, *_families(name, keyed))
    return {
        water: [
            [
                keyed.keys[at],
                *(int(figures[place, at]) for figures in counts.values()),
                *_rated_figures(rates, place * len(keyed.keys) + at),
                bool(hidden[place, at]),
            ]
            for at in np.flatnonzero(found.returns[place]).tolist()
        ]
        for place, water in enumerate(found.waters)
    }


def _rated_figures(rates: GroupRates, at: int) -> list[float | None]:
    figures = (rates.catch, rates.effort, rates.ratio, rates.ratio_se, rates.mean, rates.mean_se)
    return [None if np.isnan(column[at]) else float(column[at]) for column in figures]


def _families(name: str, keyed: Keyed) -> list[IntArray]:
    """The keys whose figures add up to one that is shown: the months of a year, one month of all years."""
    if name != "year_month":
        return [np.zeros(len(keyed.keys), dtype=np.int64)]
    return [codes_of([key[:4] for key in keyed.keys]), codes_of([key[5:] for key in keyed.keys])]


def _pegs(club_frame: ClubFrame) -> dict[str, list[str]]:
    fished = club_frame.frame[["water", "peg"]].astype(object).drop_duplicates()
    pegs: dict[str, list[str]] = {water: [] for water in sorted(set(fished["water"]))}
    for water, peg in fished.dropna().itertuples(index=False):
        pegs[water].append(peg)
    return {water: sorted(found) for water, found in pegs.items()}
