"""Raw figures of each peg: who sat there, on which days, with what, and what they weighed.

Counted once when a fit is stored, so that an answer can set the raw mean beside the peg's effect and say
why they differ. Everything is a sum over returns of known weight: pegs, seasons and years can be added up.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fitted import Fitted, fitted_returns, session_hours, session_words
from analytics.catchrate.returns import Returns
from analytics.catchrate.spec import MATCH
from analytics.catchrate.terms import Coded
from analytics.frames import ClubFrame
from analytics.observed.columns import ALL_YEAR, COLUMNS, PARTS
from clubdata.rules.season import Season, season_of

DID_NOT_FISH = "did_not_fish"
DIGITS = 7


def observe_pegs(club_frame: ClubFrame, estimates: Estimates) -> dict[str, Any]:
    """JSON values that name no person.

    `columns` names the figures of a row (`COLUMNS`). `pegs` has by public id: `periods`, rows of the whole
    year ('all'), of each season and of each month ('1' to '12') with a return of known weight; `years`,
    rows by year; `last_drawn_on` and `last_fished_on`, ISO dates or None, of returns of any outcome.
    """
    sessions = _sessions(fitted_returns(estimates, club_frame.frame), estimates)
    pegs: dict[str, dict[str, Any]] = {
        peg: {"periods": {}, "years": {}, **days} for peg, days in _last_days(club_frame.frame).items()
    }
    for group, periods in (("periods", _periods(sessions.month)), ("years", [sessions.year])):
        for period in periods:
            for peg, name, row in _rows(sessions, period):
                pegs[peg][group][name] = row
    return {"columns": list(COLUMNS), "pegs": pegs}


@dataclass(frozen=True, slots=True, eq=False)
class _Sessions:
    """Sessions of known weight at a known peg, (s,) each; `sums` (s, ...) as `COLUMNS` from
    hours on."""

    peg: Coded
    month: Coded
    year: Coded
    angler: Coded
    blank: FloatArray
    match: FloatArray
    sums: FloatArray


def _sessions(fitted: Fitted, estimates: Estimates) -> _Sessions:
    returns = fitted.returns
    words = {name: session_words(returns, name) for name in ("peg", "month", "year", "angler")}
    kept = fitted.exact[words["peg"].codes[fitted.exact] >= 0]
    hours, weight, mean = session_hours(returns), returns.weight_g, fitted.mean_g
    kind = session_words(returns, "session_kind")
    parts = _hours_by_effect(estimates, returns)
    sums = np.column_stack(
        [
            hours,
            weight,
            mean,
            fitted.dispersion * mean**fitted.power,
            mean ** (2.0 - fitted.power) / fitted.dispersion,
            weight * mean ** (1.0 - fitted.power) / fitted.dispersion,
            *parts,
        ]
    )
    return _Sessions(
        **{name: Coded(column.codes[kept], column.levels) for name, column in words.items()},
        blank=(weight[kept] == 0.0).astype(np.float64),
        match=(kind.codes[kept] == kind.levels.index(MATCH)).astype(np.float64),
        sums=sums[kept],
    )


def _hours_by_effect(estimates: Estimates, returns: Returns) -> list[FloatArray]:
    """By part of `PARTS`, each session's log effect times its hours, (s,)."""
    found = []
    for names in PARTS.values():
        effect = np.zeros(len(returns.hours))
        for item in (estimates.term(name) for name in names):
            if item is not None:
                effect += item.term.encode(returns.features).spread(np.asarray(item.estimates))
        by_row = returns.hours * effect
        whole = by_row if returns.session is None else np.bincount(returns.session, by_row)
        found.append(np.asarray(whole, dtype=np.float64))
    return found


def _periods(month: Coded) -> Iterable[Coded]:
    """The whole year, the season and the month of each session."""
    numbers = np.array([int(level) for level in month.levels])
    names = [str(season) for season in Season]
    of_month = np.array([names.index(season_of(int(number))) for number in numbers], dtype=np.int32)
    yield Coded(np.zeros_like(month.codes), (ALL_YEAR,))
    yield Coded(of_month[month.codes], tuple(names))
    yield Coded(month.codes, tuple(str(number) for number in numbers))


def _rows(sessions: _Sessions, period: Coded) -> Iterable[tuple[str, str, list[float]]]:
    """Peg, period and its row of `COLUMNS`, for each pair with a session."""
    width = len(period.levels)
    cell = sessions.peg.codes.astype(np.int64) * width + period.codes
    size = len(sessions.peg.levels) * width
    counts = np.bincount(cell, minlength=size)
    columns = [sessions.blank, sessions.match]
    blanks, matches = (np.bincount(cell, column, minlength=size) for column in columns)
    anglers = _distinct(cell, sessions.angler, size)
    sums = [np.bincount(cell, column, minlength=size) for column in sessions.sums.T]
    for place in np.flatnonzero(counts).tolist():
        peg, at = divmod(place, width)
        whole = [int(value[place]) for value in (counts, blanks, matches, anglers)]
        yield sessions.peg.levels[peg], period.levels[at], [*whole, *(_short(s[place]) for s in sums)]


def _distinct(cell: IntArray, angler: Coded, size: int) -> IntArray:
    """How many anglers each cell has, (size,); one who is not recorded is none."""
    known = angler.codes >= 0
    pairs = np.unique(cell[known] * len(angler.levels) + angler.codes[known])
    found: IntArray = np.bincount(pairs // max(len(angler.levels), 1), minlength=size)
    return found


def _last_days(frame: pd.DataFrame) -> dict[str, dict[str, str | None]]:
    """By peg the last day it was drawn in a match and the last it was fished, whatever was weighed."""
    known = frame[frame["peg"].notna()]
    drawn = known[known["match_day"].notna()]
    fished = known[known["outcome"] != DID_NOT_FISH]
    last = {
        name: rows.groupby("peg", observed=True)["fished_on"].max()
        for name, rows in (("last_drawn_on", drawn), ("last_fished_on", fished))
    }
    return {
        str(peg): {name: _iso(days.get(peg)) for name, days in last.items()} for peg in known["peg"].unique()
    }


def _iso(day: Any) -> str | None:
    return None if day is None or pd.isna(day) else pd.Timestamp(day).date().isoformat()


def _short(value: float) -> float:
    """To seven significant digits: a gram in ten tonnes."""
    return float(f"{value:.{DIGITS}g}")
