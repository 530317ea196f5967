"""A club's returns with the weight of one group of species in place of the whole.

Used are returns that tell of it: those whose catch lines account for the whole of a weighed or estimated
total (`analytics.catches.tells_the_whole`), and blanks, which caught none of any group. The others are left
out: a return that names one species of three says nothing of the other two.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analytics.catches import locate_lines, tells_the_whole
from analytics.enough import LEAST_ANGLERS, LEAST_CAUGHT, LEAST_RETURNS, MOST_GROUPS
from analytics.frames import ClubFrame

_WEIGHED = ("weighed", "estimated")


@dataclass(frozen=True, slots=True, eq=False)
class GroupReturns:
    """A group's own frame, or None where it has too few, with what was counted."""

    group: str
    returns: int
    anglers: int
    caught: int
    club_frame: ClubFrame | None


def groups_of(club_frame: ClubFrame, lines: pd.DataFrame) -> list[GroupReturns]:
    """The club's groups of species by weight, the most first; `lines` as `read_catch_lines` has them."""
    located = locate_lines(club_frame.return_halves(), lines)
    by_weight = (
        located[located["group"] != ""].groupby("group")["weight_g"].sum().sort_values(ascending=False)
    )
    if by_weight.empty:
        return []
    returns = _returns(club_frame, located)
    return [_of_group(club_frame, located, returns, str(group)) for group in by_weight.index[:MOST_GROUPS]]


def _returns(club_frame: ClubFrame, located: pd.DataFrame) -> pd.DataFrame:
    """One row a return: outcome, angler, and whether its catch is known by group."""
    of_session = club_frame.return_of_session()
    sessions = club_frame.frame.drop_duplicates("session")
    first = np.flatnonzero(np.diff(of_session, prepend=-1))
    # A return whose parts were each weighed is several sessions, which add up to its total.
    total_g = np.bincount(of_session, sessions["weight_g"].to_numpy(np.float64))
    place = located["of_return"].to_numpy(np.int64)
    sums = np.bincount(place, located["weight_g"].to_numpy(), minlength=len(first))
    named = np.bincount(place, minlength=len(first)) > 0
    outcome = np.asarray(sessions["outcome"], dtype=np.str_)[first]
    lines_g = np.where(named & np.isin(outcome, _WEIGHED), sums, np.nan)
    known = tells_the_whole(total_g=total_g.astype(np.float64), lines_g=lines_g) | (outcome == "blank")
    anglers = sessions["angler"].cat.codes.to_numpy()[first]
    return pd.DataFrame({"outcome": outcome, "angler": anglers, "known": known})


def _of_group(
    club_frame: ClubFrame, located: pd.DataFrame, returns: pd.DataFrame, group: str
) -> GroupReturns:
    of_group = located[located["group"] == group]
    place = of_group["of_return"].to_numpy(np.int64)
    weight_g = np.bincount(place, of_group["weight_g"].to_numpy(), minlength=len(returns))
    known = returns["known"].to_numpy()
    blank = returns["outcome"].to_numpy() == "blank"
    # A line that was not weighed makes the sum of its return unknown, and that return is left out.
    weight_g = np.where(blank, 0.0, np.where(known, weight_g, np.nan))
    anglers = int(returns.loc[known, "angler"].nunique())
    caught = int(np.sum(weight_g > 0))
    counted = int(known.sum())
    enough = counted >= LEAST_RETURNS and anglers >= LEAST_ANGLERS and caught >= LEAST_CAUGHT
    frame = _frame(club_frame, weight_g, returns["outcome"].to_numpy()) if enough else None
    return GroupReturns(group, counted, anglers, caught, frame)


def _frame(club_frame: ClubFrame, weight_g: Any, outcome: Any) -> ClubFrame:
    """The club's frame with one session a return, and the group's weight on each of its parts."""
    of_row = club_frame.return_of_session()[club_frame.frame["session"].to_numpy()]
    kept = ~np.isnan(weight_g)
    rows = kept[of_row]
    told = np.where(weight_g > 0, outcome, "blank")
    sessions = (np.cumsum(kept) - 1)[of_row[rows]]
    frame = club_frame.frame[rows].assign(
        session=sessions,
        weight_g=weight_g[of_row[rows]],
        bound_g=np.nan,
        outcome=pd.Categorical(told[of_row[rows]]),
    )
    words = frame.select_dtypes("category").columns
    frame = frame.assign(**{name: frame[name].cat.remove_unused_categories() for name in words})
    halves = club_frame.return_halves()[kept]
    return replace(club_frame, frame=frame.reset_index(drop=True), uid_halves=halves)
