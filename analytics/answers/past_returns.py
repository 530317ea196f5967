"""A check by eye: what past returns most like a question made, pooled so that nobody stands out.

The pool begins at the peg and its neighbours and is widened step by step until it holds returns of at least
five different anglers; of fewer nothing is said. Everybody knows who had that weight off that peg last week,
so the latest four weeks are left out, the asker's own among them: a pool is the same for every reader. By
peg only match returns are pooled, which the club publishes; where somebody fishes for pleasure stays
their own. Weights are rounded to a tenth of a kilogram of five hours and scaled to the hours asked
about.
"""

from calendar import month_name
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, NamedTuple

import numpy as np
from django.db.models import Exists, F, FloatField, OuterRef
from django.db.models.functions import Cast

from analytics.answers.choices import Choice, lb_oz
from analytics.answers.places import Place
from analytics.observed.privacy import LEAST_ANGLERS
from clubdata.models import Outcome, Return, SessionKind, SessionPart
from clubdata.services.doubts import doubted_returns

DELAY_DAYS = 28
WITHIN_M = 2.0
#: Weights and quartiles are shown to this many grams of a session of the usual hours.
ROUNDED_TO_G = 100
USUAL_HOURS = 5.0
#: Only so many of the latest sessions are looked at.
MOST_SESSIONS = 2000
#: Whose weight is known as a whole.
KNOWN = (Outcome.WEIGHED, Outcome.ESTIMATED, Outcome.BLANK)

PAST_RETURNS_RULE = (
    f"Pooled over at least {LEAST_ANGLERS} anglers, without the latest {DELAY_DAYS} days; by peg match "
    f"returns alone. Weights are shown to {ROUNDED_TO_G / 1000:g} kg of {USUAL_HOURS:g} hours, scaled to "
    "the hours asked about. They are raw: not adjusted for who fished, or on what day."
)


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight for the hours asked about."""

    grams: float
    lb_oz: str


@dataclass(frozen=True, slots=True)
class PastReturns:
    """Returns like the first choice: how many, of how many anglers, their mean and quartiles, and
    how many blanks.

    `like` says what they have in common with it, `widened` what was tried before and held too few anglers.
    Without `returns` even the widest pool did. `quartiles` are the lower, the median and the upper.
    """

    like: str
    widened: tuple[str, ...]
    returns: int | None
    anglers: int | None
    blanks: int | None
    mean: Weight | None
    quartiles: tuple[Weight, ...]
    first_year: int | None
    last_year: int | None
    rule: str


@dataclass(slots=True)
class _Session:
    """A return, with the distance of each of its parts."""

    peg: int | None
    month: int
    year: int
    angler: int
    is_match: bool
    g_per_rod_hour: float
    distances_m: list[float | None] = field(default_factory=list)


class _Pool(NamedTuple):
    """What the sessions of a pool have in common besides the bait: None stands for any."""

    pegs: frozenset[int] | None
    months: frozenset[int]
    distance_m: float | None
    words: str

    def holds(self, session: _Session) -> bool:
        at_peg = self.pegs is None or (session.is_match and session.peg in self.pegs)
        metres = self.distance_m
        if not at_peg or session.month not in self.months:
            return False
        return metres is None or all(_near(distance, metres) for distance in session.distances_m)


def past_returns(
    *, place: Place, choice: Choice, bait: int, month: int, hours: float, today: date
) -> PastReturns:
    """The narrowest pool of returns like the choice that holds at least five anglers, in two queries at most.

    `bait` is the key of the choice's hook bait.
    """
    around = ((month - 2) % 12 + 1, month, month % 12 + 1)
    until = today - timedelta(days=DELAY_DAYS)
    sessions = _read(bait, place, around, until)
    tried: list[str] = []
    for pool in _pools(place, choice, month, around):
        held = [session for session in sessions if pool.holds(session)]
        if _are_enough(held):
            return _told(pool.words, held, tried, hours)
        tried.append(pool.words)
    words = f"{place.water.name}, {_season(around)}, with any bait"
    held = _read(None, place, around, until)
    if _are_enough(held):
        return _told(words, held, tried, hours)
    nothing = (None, None, None, None, (), None, None)
    return PastReturns("", (*tried, words), *nothing, PAST_RETURNS_RULE)


def _are_enough(sessions: Sequence[_Session]) -> bool:
    return len({session.angler for session in sessions}) >= LEAST_ANGLERS


def _pools(place: Place, choice: Choice, month: int, around: tuple[int, int, int]) -> Iterator[_Pool]:
    """Those of the choice's bait, from the narrowest to the widest."""
    in_month, in_season = frozenset({month}), frozenset(around)
    named, season = f"in {month_name[month]}", _season(around)
    metres, name = choice.distance_m, choice.hook_bait.name
    line = "" if metres is None else f", within {WITHIN_M:g} m of {metres:g} m"
    if place.asked is not None:
        pegs = frozenset(peg.pk for peg in place.beside())
        here = f"peg {place.asked.peg.label} and its neighbours"
        yield _Pool(pegs, in_month, metres, f"{here}, {named}, {name}{line}")
        yield _Pool(pegs, in_season, metres, f"{here}, {season}, {name}{line}")
    water = place.water.name
    yield _Pool(None, in_month, metres, f"{water}, {named}, {name}{line}")
    yield _Pool(None, in_season, metres, f"{water}, {season}, {name}{line}")
    if metres is not None:
        yield _Pool(None, in_season, None, f"{water}, {season}, {name}, at any distance")


def _season(around: Sequence[int]) -> str:
    return f"from {month_name[around[0]]} to {month_name[around[-1]]}"


def _read(bait: int | None, place: Place, months: Sequence[int], until: date) -> list[_Session]:
    """The water's sessions of these months until a day whose weight is known, the latest first: all on the
    bait (key), or on any."""
    rows = Return.objects.filter(club_id=place.water.club_id, water=place.water, outcome__in=KNOWN)
    rows = rows.exclude(pk__in=doubted_returns(place.water.club_id))
    if bait is not None:
        others = SessionPart.objects.filter(session=OuterRef("pk")).exclude(hook_bait_id=bait)
        rows = rows.filter(~Exists(others), parts__hook_bait_id=bait)
    # The month last: it is the dearest to compare.
    found = (
        rows.filter(fished_on__month__in=months)
        .order_by("-fished_on", "-pk")
        .values_list(
            *("pk", "peg_id", "fished_on", "member_id", "session_kind", "weight_g"),
            Cast(F("hours") * F("rods"), FloatField()),
            Cast("parts__distance_m", FloatField()),
        )
    )
    # The day is compared here: a bound on it in the query makes SQLite walk through the whole club's days.
    return _sessions(row for row in found[:MOST_SESSIONS] if row[2] <= until)


def _sessions(rows: Any) -> list[_Session]:
    found: dict[int, _Session] = {}
    for pk, peg, on, angler, kind, weight_g, rod_hours, metres in rows:
        session = found.get(pk)
        if session is None:
            rate = weight_g / rod_hours
            session = _Session(peg, on.month, on.year, angler, kind == SessionKind.MATCH, rate)
            found[pk] = session
        session.distances_m.append(metres)
    return list(found.values())


def _told(words: str, held: Sequence[_Session], tried: list[str], hours: float) -> PastReturns:
    rates = [session.g_per_rod_hour for session in held]
    years = [session.year for session in held]
    return PastReturns(
        like=words,
        widened=tuple(tried),
        returns=len(held),
        anglers=len({session.angler for session in held}),
        blanks=sum(rate == 0 for rate in rates),
        mean=_rounded(float(np.mean(rates)), hours),
        quartiles=tuple(_rounded(float(rate), hours) for rate in np.quantile(rates, (0.25, 0.5, 0.75))),
        first_year=min(years),
        last_year=max(years),
        rule=PAST_RETURNS_RULE,
    )


def _rounded(rate_g: float, hours: float) -> Weight:
    """A rate (grams per rod-hour) as a weight for the hours, no finer than it would be for the usual ones:
    asking about many hours must not show more of a single return."""
    told = round(rate_g * USUAL_HOURS / ROUNDED_TO_G) * ROUNDED_TO_G / USUAL_HOURS
    shown = round(told * hours / ROUNDED_TO_G) * ROUNDED_TO_G
    return Weight(float(shown), lb_oz(shown))


def _near(metres: float | None, wanted: float) -> bool:
    return metres is not None and abs(metres - wanted) <= WITHIN_M
