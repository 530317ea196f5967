"""What was caught of each species, as far as the catch lines tell, and how many returns tell it."""

from typing import Any

import numpy as np
import pandas as pd

from analytics.catches import locate_lines, tells_the_whole
from analytics.frames import ClubFrame
from analytics.observed.privacy import codes_of, withheld
from analytics.observed.sessions import Sessions
from analytics.rows import WAITS

#: Of a species in a year (empty: all years): its group, returns that name it and their anglers, the weight
#: of the lines that were weighed, the fish of those that were counted, None where none was.
SPECIES_COLUMNS = ("year", "species", "group", "returns", "anglers", "weight_g", "fish_count", "withheld")
#: Of a year: returns with something to tell, those that name a species, and those whose lines account for
#: the whole of their weight (`analytics.catches.tells_the_whole`).
TOLD_COLUMNS = ("year", "returns", "name_species", "tell_the_whole", "withheld")


def composition_of(club_frame: ClubFrame, sessions: Sessions, lines: pd.DataFrame) -> dict[str, Any]:
    """`columns`, `rows`, `told_columns` and `told`: rows by water and for the club (an empty name)."""
    returns = returns_with_lines(club_frame, sessions, lines)
    located = locate_lines(club_frame.return_halves(), lines)
    of_line = located.join(returns[["water", "year", "angler"]], on="of_return")
    waters = ("", *sessions.water.keys)
    return {
        "columns": list(SPECIES_COLUMNS),
        "rows": _species_rows(of_line, waters),
        "told_columns": list(TOLD_COLUMNS),
        "told": _told_rows(returns[returns["caught"]], waters),
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
            "caught": fished & ~np.isin(sessions.outcome[first], ("did_not_weigh", WAITS)) | (fished & named),
            "named": named,
            "whole": tells_the_whole(total_g=total, lines_g=lines_g),
        }
    )


def _in_every_scope(frame: pd.DataFrame) -> pd.DataFrame:
    """Each row four times: of its water and of the club, in its year and in all years (an empty name)."""
    both = pd.concat([frame, frame.assign(water="")])
    return pd.concat([both, both.assign(year="")])


def _species_rows(lines: pd.DataFrame, waters: tuple[str, ...]) -> dict[str, list[list[Any]]]:
    by = ["water", "year", "species", "group"]
    counted = (
        _in_every_scope(lines)
        .groupby(by)
        .agg(
            returns=("angler", "size"),
            anglers=("angler", "nunique"),
            weight_g=("weight_g", "sum"),
            fish_count=("fish_count", _sum_of_known),
        )
    )
    hidden = _hidden(counted.reset_index(), waters, ["year", "species"])
    rows: dict[str, list[list[Any]]] = {water: [] for water in waters}
    for (water, year, species, group), returns, anglers, weight_g, fish_count in counted.itertuples():
        figures = [int(returns), int(anglers), float(weight_g), _whole(fish_count)]
        rows[water].append([year, species, group, *figures, (water, year, species) in hidden])
    return rows


def _sum_of_known(counts: pd.Series) -> float:
    """Of the lines that were counted, not a number where none was: fish not counted are not no fish."""
    return float(counts.sum(min_count=1))


def _whole(number: float) -> int | None:
    return None if np.isnan(number) else int(number)


def _told_rows(returns: pd.DataFrame, waters: tuple[str, ...]) -> dict[str, list[list[Any]]]:
    counted = (
        _in_every_scope(returns)
        .groupby(["water", "year"])
        .agg(
            returns=("named", "size"),
            named=("named", "sum"),
            whole=("whole", "sum"),
            anglers=("angler", "nunique"),
        )
    )
    hidden = _hidden(counted.reset_index(), waters, ["year"])
    rows: dict[str, list[list[Any]]] = {water: [] for water in waters}
    for (water, year), count, named, whole, _ in counted.itertuples():
        rows[water].append([year, int(count), int(named), int(whole), (water, year) in hidden])
    return rows


def _hidden(counted: pd.DataFrame, waters: tuple[str, ...], by: list[str]) -> set[tuple[str, ...]]:
    """Water and key of the figures to withhold: all years are of one family, and so are the waters."""
    if counted.empty:
        return set()
    keys = sorted({tuple(key) for key in counted[by].itertuples(index=False)})
    place = {key: at for at, key in enumerate(keys)}
    anglers = np.zeros((len(waters), len(keys)), dtype=np.int64)
    for row in counted.to_dict("records"):
        anglers[waters.index(row["water"]), place[tuple(row[name] for name in by)]] = row["anglers"]
    # What is shown of all years is the total of its family, and no part of it.
    family = codes_of([key[-1] if len(by) > 1 else "" for key in keys])
    family[[key[0] == "" for key in keys]] = -1
    found = withheld(anglers, family)
    return {(waters[water], *keys[at]) for water, at in np.argwhere(found).tolist()}
