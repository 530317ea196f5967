"""What was caught of each species, as far as the catch lines tell, and how many returns tell it."""

from typing import Any

import numpy as np
import pandas as pd

from analytics.catches import locate_lines, tells_the_whole
from analytics.frames import ClubFrame
from analytics.observed.privacy import LEAST_ANGLERS
from analytics.observed.sessions import Sessions

#: Of a species in a year (empty: all years): its group, returns that name it and their anglers, the weight
#: of the lines that were weighed, the fish of those that were counted.
SPECIES_COLUMNS = ("year", "species", "group", "returns", "anglers", "weight_g", "fish_count", "withheld")
#: Of a year: returns with something to tell, those that name a species, and those whose lines account for
#: the whole of their weight (`analytics.catches.tells_the_whole`).
TOLD_COLUMNS = ("year", "returns", "name_species", "tell_the_whole")

Scopes = list[tuple[str, pd.DataFrame]]


def composition_of(club_frame: ClubFrame, sessions: Sessions, lines: pd.DataFrame) -> dict[str, Any]:
    """`columns`, `rows`, `told_columns` and `told`: rows by water and for the club (an empty name)."""
    returns = returns_with_lines(club_frame, sessions, lines)
    located = locate_lines(club_frame.return_halves(), lines)
    of_line = located.join(returns[["water", "year", "angler"]], on="of_return")
    caught = returns[returns["caught"]]
    return {
        "columns": list(SPECIES_COLUMNS),
        "rows": {name: _species_rows(part) for name, part in _scopes(of_line)},
        "told_columns": list(TOLD_COLUMNS),
        "told": {name: _told_rows(part) for name, part in _scopes(caught)},
    }


def returns_with_lines(club_frame: ClubFrame, sessions: Sessions, lines: pd.DataFrame) -> pd.DataFrame:
    """One row a return, by its place: water, year, angler, `total_g` (NaN when not known), `caught` (it
    caught something), `named` (it has catch lines) and `whole` (they account for the total)."""
    first = np.flatnonzero(np.diff(sessions.of_return, prepend=-1))
    count = len(first)
    # A return whose parts were each weighed is several sessions, which add up to its total.
    summed = np.bincount(sessions.of_return, sessions.weight_g, minlength=count)
    weighed = np.isin(sessions.outcome[first], ("weighed", "estimated"))
    located = locate_lines(club_frame.return_halves(), lines)
    place = located["of_return"].to_numpy(np.int64)
    # A line that was not weighed makes the sum unknown.
    sums = np.bincount(place, located["weight_g"].to_numpy(), minlength=count)
    named = np.bincount(place, minlength=count) > 0
    lines_g = np.where(named, sums, np.nan)
    total = np.where(weighed, summed, np.nan)
    years = sessions.by["year"]
    fished = sessions.fished[first] & (sessions.outcome[first] != "blank")
    return pd.DataFrame(
        {
            "water": np.array(sessions.water.keys, dtype=object)[sessions.water.codes[first]],
            "year": np.array(years.keys, dtype=object)[years.codes[first]],
            "angler": sessions.angler.codes[first],
            "total_g": total,
            "caught": fished & (sessions.outcome[first] != "did_not_weigh") | (fished & named),
            "named": named,
            "whole": tells_the_whole(total_g=total, lines_g=lines_g),
        }
    )


def _scopes(frame: pd.DataFrame) -> Scopes:
    return [("", frame), *((str(water), part) for water, part in frame.groupby("water"))]


def _years(frame: pd.DataFrame) -> Scopes:
    return [("", frame), *((str(year), part) for year, part in frame.groupby("year"))]


def _species_rows(lines: pd.DataFrame) -> list[list[Any]]:
    return [
        [year, str(species), str(group), *figures]
        for year, of_year in _years(lines)
        for (species, group), part in of_year.groupby(["species", "group"])
        for figures in [_species_figures(part)]
    ]


def _species_figures(part: pd.DataFrame) -> list[Any]:
    anglers = int(part["angler"].nunique())
    return [
        len(part),
        anglers,
        float(part["weight_g"].sum()),
        int(part["fish_count"].sum()),
        anglers < LEAST_ANGLERS,
    ]


def _told_rows(returns: pd.DataFrame) -> list[list[Any]]:
    return [
        [year, len(part), int(part["named"].sum()), int(part["whole"].sum())]
        for year, part in _years(returns)
    ]
