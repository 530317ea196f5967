"""A simulated club in the database: its returns as rows through the models, and its fit by a job."""

from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pandas as pd

from analytics.models import FitRun
from analytics.requests import request_fit
from analytics.runs import run_fit
from clubdata.models import (
    Club,
    Conditions,
    HookBait,
    Match,
    Member,
    Outcome,
    Peg,
    Return,
    RigType,
    SessionKind,
    SessionPart,
    Water,
)
from clubdata.models.returns import MOST_WEIGHT_G
from clubdata.services import jobs
from tests.factories import make_club, make_match, make_member, make_pegs, make_water, make_word

NOW = datetime(2024, 6, 1, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class StoredClub:
    """A club with its records by the simulation's names."""

    club: Club
    waters: dict[str, Water]
    pegs: dict[str, Peg]
    baits: dict[str, HookBait]
    rigs: dict[str, RigType]
    members: dict[str, Member]
    frame: pd.DataFrame

    def peg_of(self, water: Water, place: int = 0) -> Peg:
        return list(water.pegs.order_by("bank_order"))[place]


def clock() -> datetime:
    return NOW


def store_club(slug: str, frame: pd.DataFrame) -> StoredClub:
    """A frame of `simulate_club` as a club's rows."""
    club = make_club(slug, revision=1)
    waters = {name: make_water(club, name) for name in sorted(set(frame["water"]))}
    pegs: dict[str, Peg] = {}
    for name, water in waters.items():
        pegs |= make_pegs(water, *sorted(set(frame.loc[frame["water"] == name, "peg"])))
    words = {
        kind: {name: make_word(kind, club, name, f"{name}s") for name in sorted(set(frame[column].dropna()))}
        for kind, column in ((HookBait, "hook_bait"), (RigType, "rig_type"))
    }
    members = {name: make_member(club, name[-2:]) for name in sorted(set(frame["angler"]))}
    stored = StoredClub(club, waters, pegs, words[HookBait], words[RigType], members, frame)
    _store_returns(stored)
    return stored


def _store_returns(stored: StoredClub) -> None:
    rows = stored.frame.to_dict("records")
    matches: dict[tuple[str, str], Match] = {}
    returns, parts, conditions = [], [], []
    for row in rows:
        match = _match(stored, row, matches)
        session = _session(stored, row, match)
        returns.append(session)
        distance = None if pd.isna(row["distance_m"]) else Decimal(str(row["distance_m"]))
        parts.append(
            SessionPart(
                club=stored.club,
                session=session,
                hook_bait=stored.baits.get(row["hook_bait"]),
                rig_type=stored.rigs.get(row["rig_type"]),
                distance_m=distance,
            )
        )
        temperature = row["water_temperature_c"]
        conditions.append(
            Conditions(
                club=stored.club,
                session=session,
                wind_force=None if pd.isna(row["wind_force"]) else int(row["wind_force"]),
                # The invented winters are colder than water can be.
                water_temperature_c=None if pd.isna(temperature) else Decimal(f"{max(temperature, 0.0):.1f}"),
            )
        )
    Return.objects.bulk_create(returns)
    SessionPart.objects.bulk_create(parts)
    Conditions.objects.bulk_create(conditions)


def _match(stored: StoredClub, row: dict[str, Any], matches: dict[tuple[str, str], Match]) -> Match | None:
    """One match a match day: a match is of one water."""
    if row["match_day"] is None or pd.isna(row["match_day"]):
        return None
    key = (row["match_day"], row["water"])
    if key not in matches:
        matches[key] = make_match(stored.waters[row["water"]], " ".join(key), held_on=row["fished_on"].date())
    return matches[key]


def _session(stored: StoredClub, row: dict[str, Any], match: Match | None) -> Return:
    blank = row["weight_g"] == 0
    return Return(
        club=stored.club,
        member=stored.members[row["angler"]],
        water=stored.waters[row["water"]],
        peg=stored.pegs[row["peg"]],
        match=match,
        session_kind=SessionKind.PLEASURE if match is None else SessionKind.MATCH,
        fished_on=row["fished_on"].date(),
        hours=Decimal(str(row["hours"])),
        outcome=Outcome.BLANK if blank else Outcome.WEIGHED,
        # The invented luck knows no limit, the record does.
        weight_g=min(int(row["weight_g"]), MOST_WEIGHT_G),
        weight_unit="" if blank else "gram",
        weight_step=None if blank else Decimal(10),
        entered_at=NOW,
    )


def fit_now(club: Club) -> FitRun:
    """The club's fit through its job, as a worker would do it."""
    job = request_fit(club=club, actor=None, now=NOW)
    claim = jobs.claim(job_id=job.pk, now=NOW)
    assert claim is not None
    run_fit(claim=claim, clock=clock)
    return FitRun.objects.get(job=job)
