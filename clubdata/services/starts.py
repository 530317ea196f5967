"""A return begun: all that is known before a line has been wet, so that little is left to type."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Prefetch

from clubdata.errors import InvalidInput, NotFound
from clubdata.models import Match, Outcome, Peg, PegDepth, Return, SessionKind, SessionPart, Water
from clubdata.rules.cautions import Caution
from clubdata.rules.sky import Sky, sky_for
from clubdata.services.members import Membership
from clubdata.services.returns import own_returns
from clubdata.services.waters import find_water, hazard_cautions, local_date, standing_hazards, zone_of

# A word of fewer anglers would tell on them. Common practice, no source.
LEAST_ANGLERS = 5
EARLIEST_YEAR = 1900
MOST_WORDS = 8
_HABITS = ("method", "hook_bait", "feed", "rig_type")


@dataclass(frozen=True, slots=True)
class UsualWord:
    """A bait or a rig of this water in this month of all years, and how many returns name it."""

    name: str
    returns: int


@dataclass(frozen=True, slots=True)
class Start:
    """The blank of a return. `draft` is a hand-in without its weight."""

    water: Water
    peg: Peg | None
    on: date
    lines: list[PegDepth]
    cautions: list[Caution]
    sky: Sky
    usual_baits: list[UsualWord]
    usual_rig_types: list[UsualWord]
    draft: Mapping[str, Any]


def start_return(
    *, who: Membership, water_uid: uuid.UUID, label: str | None, on: date | None, now: datetime
) -> Start:
    """Begin a return at a water and, where it is known yet, a peg.

    Raises `NotFound` for either, and `InvalidInput` for a day of which no return could tell.

    The habits are those of the member's last return from this water, whatever the peg.
    """
    water = find_water(who, water_uid)
    day = on or local_date(water, now)
    if not EARLIEST_YEAR <= day.year <= now.year + 1:
        message = f"Give a day from {EARLIEST_YEAR} to the end of next year."
        raise InvalidInput(message, field="on", code="day_out_of_range")
    peg = None if not label else Peg.objects.filter(club=who.club, water=water, label__iexact=label).first()
    if label and peg is None:
        raise NotFound("There is no such peg on this water.", field="peg")
    hazards = (
        [] if peg is None else list(standing_hazards(day).filter(peg=peg).values_list("kind", flat=True))
    )
    return Start(
        water=water,
        peg=peg,
        on=day,
        lines=[] if peg is None else list(PegDepth.objects.filter(peg=peg).order_by("distance_m")),
        cautions=hazard_cautions(water=water, hazards=hazards, on=day) if hazards else [],
        sky=sky_for(
            latitude=float(water.latitude),
            longitude=float(water.longitude),
            on=day,
            time_zone=zone_of(water),
        ),
        usual_baits=_usual(water, day, "hook_bait"),
        usual_rig_types=_usual(water, day, "rig_type"),
        draft=_draft(who, water, peg, day),
    )


def _usual(water: Water, day: date, kind: str) -> list[UsualWord]:
    parts = SessionPart.objects.filter(
        club_id=water.club_id,
        session__water=water,
        session__removed_at__isnull=True,
        session__fished_on__month=day.month,
        **{f"{kind}__isnull": False},
    )
    counted = parts.values(f"{kind}__name").annotate(
        returns=Count("session", distinct=True), anglers=Count("session__member", distinct=True)
    )
    told = counted.filter(anglers__gte=LEAST_ANGLERS).order_by("-returns", f"{kind}__name")
    return [UsualWord(row[f"{kind}__name"], row["returns"]) for row in told[:MOST_WORDS]]


def _draft(who: Membership, water: Water, peg: Peg | None, day: date) -> dict[str, Any]:
    match = Match.objects.filter(club=who.club, water=water, held_on=day).order_by("pk").first()
    habits = own_returns(who).filter(water=water, guest=False).exclude(outcome=Outcome.DID_NOT_FISH)
    parts = SessionPart.objects.select_related(*_HABITS).order_by("part_order")
    last: Return | None = (
        habits.prefetch_related(Prefetch("parts", parts)).order_by("-fished_on", "-pk").first()
    )
    drawn = {"session_kind": SessionKind.PLEASURE} if match is None else {
        "session_kind": SessionKind.MATCH,
        "match": match.code,
    }  # fmt: skip
    known: dict[str, Any] = {
        "water": water.name,
        "peg": None if peg is None else peg.label,
        "fished_on": day.isoformat(),
        **drawn,
        **({} if last is None else _habits(last)),
    }
    return {name: value for name, value in known.items() if value is not None}


def _habits(last: Return) -> dict[str, Any]:
    part = next(iter(last.parts.all()), None)
    words = {name: getattr(part, name, None) for name in _HABITS}
    return {
        "hours": None if last.hours is None else float(last.hours),
        "rods": last.rods,
        **{name: None if word is None else word.name for name, word in words.items()},
        "distance_m": None if part is None or part.distance_m is None else float(part.distance_m),
    }
