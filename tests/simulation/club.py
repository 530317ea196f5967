"""An invented club whose truth is known, so that a fit can be held against it.

Half the returns are matches of one water, with a drawn peg for each angler; in pleasure sessions the
better anglers find the better pegs, each by habit too, and bait follows habit, skill and season.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.simulation.harder import Harder
from tests.simulation.recording import as_recorded
from tests.simulation.truth import (
    BAITS,
    BASE_KG_PER_HOUR,
    DISPERSION_KG,
    MATCH,
    MATCH_DAY_SD,
    RIGS,
    Codes,
    Floats,
    Truth,
    conditions_effect,
    draw_truth,
    draw_tweedie,
    usual_temperature_c,
)

FIRST_DAY = np.datetime64("2019-01-01")
MATCH_SIZE = 15
MATCH_HOURS = 5.0
NO_MATCH = -1
#: How much more a good peg appeals to an angler one standard deviation above the others.
PEG_APPEAL = 0.25
#: How unlike anglers are in the pegs they go back to.
PEG_HABIT_SD = 2.0
#: How much what is known of baits counts against habit.
BAIT_APPEAL = 2.0


@dataclass(frozen=True, eq=False)
class SimulatedClub:
    """Returns as the fit takes them, and the truth they came from."""

    frame: pd.DataFrame
    truth: Truth


@dataclass(frozen=True, eq=False)
class _Sessions:
    """Who fished where and when, (n,) each; `match` is NO_MATCH in a pleasure session."""

    day: Codes
    match: Codes
    peg: Codes
    angler: Codes
    hours: Floats

    @property
    def year(self) -> Codes:
        dates = pd.DatetimeIndex(FIRST_DAY + self.day)
        return (dates.year - dates.year.min()).to_numpy(np.int64)


def simulate_club(
    seed: int,
    returns: int = 3000,
    *,
    pegs: int = 60,
    anglers: int = 50,
    waters: int = 2,
    years: int = 4,
    harder: Harder | None = None,
) -> SimulatedClub:
    """A club of the given size; the same seed gives the same club.

    `frame` has the columns of `analytics.catchrate.fit.fit_catch`, one row a return; where `harder` asks
    for it also `bound_g`, and `session`, which the rows of one session's parts share with its total.
    """
    harder = harder or Harder()
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng, pegs=pegs, anglers=anglers, waters=waters, years=years, harder=harder)
    sessions = _draw_sessions(rng, truth, returns, 365 * years)
    rows = _draw_rows(rng, truth, sessions, harder)
    frame = as_recorded(rng, rows, harder)
    return SimulatedClub(frame.sample(frac=1, random_state=seed, ignore_index=True), truth)


def _draw_sessions(rng: np.random.Generator, truth: Truth, returns: int, days: int) -> _Sessions:
    match, match_peg, match_angler = _draw_matches(rng, truth, returns // 2)
    others = returns - len(match)
    angler = rng.integers(0, len(truth.angler), others)
    peg = _choose(rng, angler, _appeal_of_pegs(rng, truth))
    match_day = rng.integers(0, days, match.max(initial=0) + 1)
    return _Sessions(
        day=np.concatenate([match_day[match], rng.integers(0, days, others)]),
        match=np.concatenate([match, np.full(others, NO_MATCH)]),
        peg=np.concatenate([match_peg, peg]),
        angler=np.concatenate([match_angler, angler]),
        hours=np.concatenate(
            [np.full(len(match), MATCH_HOURS), np.round(rng.uniform(1.5, 12, others) * 2) / 2]
        ),
    )


def _draw_matches(rng: np.random.Generator, truth: Truth, returns: int) -> tuple[Codes, Codes, Codes]:
    """Match, peg and angler of so many returns: in a match each peg is drawn once, and each angler."""
    waters = [np.flatnonzero(truth.water_of_peg == code) for code in range(len(truth.water))]
    match: list[Codes] = []
    pegs: list[Codes] = []
    anglers: list[Codes] = []
    left = returns
    while left > 0:
        bank = waters[rng.integers(len(waters))]
        size = min(MATCH_SIZE, len(bank), len(truth.angler), left)
        match.append(np.full(size, len(match)))
        pegs.append(rng.permutation(bank)[:size])
        anglers.append(rng.permutation(len(truth.angler))[:size])
        left -= size
    nothing = np.empty(0, dtype=np.int64)
    joined = [np.concatenate([nothing, *part]) for part in (match, pegs, anglers)]
    return joined[0], joined[1], joined[2]


def _draw_rows(rng: np.random.Generator, truth: Truth, sessions: _Sessions, harder: Harder) -> pd.DataFrame:
    """One row a part of a session, with its codes, conditions and the session's true weight in grams."""
    count = len(sessions.day)
    pleasure = sessions.match == NO_MATCH
    in_two = pleasure & (rng.random(count) < harder.two_part_share)
    estimated = pleasure & (rng.random(count) < harder.estimated_share)
    session = np.concatenate([np.arange(count), np.flatnonzero(in_two)])
    first_share = np.where(in_two, rng.uniform(0.3, 0.7, count), 1.0)
    share = np.concatenate([first_share, 1 - first_share[in_two]])
    hours = sessions.hours[session] * share
    date = pd.DatetimeIndex(FIRST_DAY + sessions.day[session])
    # One day's weather for all who fished it.
    days = sessions.day.max() + 1
    wind = rng.integers(0, 8, days)[sessions.day]
    warmth = rng.normal(0, 2, days)[sessions.day]
    temperature = np.round(usual_temperature_c(date.day_of_year.to_numpy()) + warmth[session], 1)
    month = date.month.to_numpy(np.int64)
    rows = pd.DataFrame(
        {
            "session": session,
            "date": date,
            "month": month,
            "match": sessions.match[session],
            "peg": sessions.peg[session],
            "water": truth.water_of_peg[sessions.peg[session]],
            "angler": sessions.angler[session],
            "bait": _choose_baits(rng, truth, sessions.angler[session], month),
            "rig": rng.integers(0, len(RIGS), len(session)),
            "distance_m": np.round(np.clip(rng.normal(9, 3, len(session)), 3, 14.5) * 2) / 2,
            "temperature_c": temperature,
            "wind": wind[session].astype(float),
            "hours": hours,
            "estimated": estimated[session],
        }
    )
    mean_kg = hours * np.exp(_log_rate(rng, truth, rows, sessions.year[session]))
    total_kg = np.bincount(session, weights=mean_kg, minlength=count)
    ratio = np.where(estimated, harder.estimated_dispersion_ratio, 1.0)
    weight_kg = draw_tweedie(rng, total_kg, DISPERSION_KG * ratio)
    return rows.assign(weight_g=1000 * weight_kg[session])


def _log_rate(rng: np.random.Generator, truth: Truth, rows: pd.DataFrame, year: Codes) -> Floats:
    """Log expected kg an hour of each row, its match day's luck included."""
    match = rows["match"].to_numpy()
    luck = np.append(rng.normal(0, MATCH_DAY_SD, match.max(initial=0) + 1), 0.0)
    return (
        np.log(BASE_KG_PER_HOUR)
        + truth.water[rows["water"]]
        + truth.peg_by_year[year, rows["peg"]]
        + truth.angler_by_year[year, rows["angler"]]
        + truth.bait_month[rows["bait"], rows["month"] - 1]
        + truth.rig[rows["rig"]]
        + luck[match]
        + MATCH * (match != NO_MATCH)
        + conditions_effect(
            rows["date"].dt.day_of_year.to_numpy(),
            rows["distance_m"].to_numpy(),
            rows["temperature_c"].to_numpy(),
            rows["wind"].to_numpy(),
        )
    )


def _appeal_of_pegs(rng: np.random.Generator, truth: Truth) -> Floats:
    """To each angler (anglers, pegs): the better the angler, the better the pegs; and by habit."""
    skill, form = (_standardised(values[0]) for values in (truth.angler_by_year, truth.peg_by_year))
    habit = rng.normal(0, PEG_HABIT_SD, (len(skill), len(form)))
    return PEG_APPEAL * skill[:, None] * form + habit


def _choose_baits(rng: np.random.Generator, truth: Truth, angler: Codes, month: Codes) -> Codes:
    """By habit, by skill, and by what is known of the season."""
    habit = rng.normal(0, 1, (len(truth.angler), 1, len(BAITS)))
    skill = 1 + truth.angler_by_year[0][:, None, None]
    appeal = habit + BAIT_APPEAL * skill * truth.bait_month.T
    return _choose(rng, angler * 12 + month - 1, appeal.reshape(-1, len(BAITS)))


def _choose(rng: np.random.Generator, group: Codes, appeal: Floats) -> Codes:
    """One option for each member of a group, the likelier the more it appeals: (n,) of (groups, options)."""
    odds = np.exp(appeal - appeal.max(axis=1, keepdims=True))
    chances = odds / odds.sum(axis=1, keepdims=True)
    chosen = np.empty(len(group), dtype=np.int64)
    order = np.argsort(group, kind="stable")
    ends = np.cumsum(np.bincount(group, minlength=len(appeal)))
    for code, part in enumerate(np.split(order, ends[:-1])):
        if len(part):
            chosen[part] = rng.choice(appeal.shape[1], len(part), p=chances[code])
    return chosen


def _standardised(values: Floats) -> Floats:
    return (values - values.mean()) / values.std()
