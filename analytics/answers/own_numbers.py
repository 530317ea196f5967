"""A member's own numbers: seasons, bests, and the catch beside what the club's returns lead one to expect.

What is expected is of the club's average angler on the same pegs and days, with the same baits, distances
and hours, from the fit that serves. Its range is of luck: the same sessions drawn again from the predictive
distribution, match days and sessions with luck of their own. The member's own returns are among those that
the fit has seen, which draws the two a little together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from django.db.models import QuerySet

from analytics.answers.choices import lb_oz
from analytics.answers.footing import NoAnswer
from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.features import wind_class
from analytics.catchrate.predict import Questions, expectation, log_mean_draws
from analytics.catchrate.questions import ask
from analytics.catchrate.spec import MATCH, MISSING, PLEASURE, RECORDED
from analytics.store import DamagedFit, load_fit, served_run
from clubdata.models import CatchLine, Club, Outcome, Return, SessionKind, SessionPart

DRAWS: Final = 1000
#: Only so many of the latest sessions are held against the fit.
MOST_SESSIONS: Final = 1000
KNOWN: Final = (Outcome.WEIGHED, Outcome.ESTIMATED, Outcome.BLANK)
_ENDS: Final = (0.05, 0.25, 0.75, 0.95)


@dataclass(frozen=True, slots=True)
class Beside:
    """The catch of some sessions beside what was to be expected of the club's average angler.

    The 50 % and 90 % ranges are of luck alone. `chance_of_less` is the share of draws below what was caught.
    """

    sessions: int
    caught_g: int
    expected_g: float
    lower_90_g: float
    lower_50_g: float
    upper_50_g: float
    upper_90_g: float
    chance_of_less: float
    in_words: str


@dataclass(frozen=True, slots=True)
class Season:
    """A year: sessions fished, rod-hours, what was weighed, blanks, and the catch beside expectation."""

    year: int
    sessions: int
    rod_hours: float
    weight_g: int
    blanks: int
    did_not_weigh: int
    beside: Beside | None


@dataclass(frozen=True, slots=True)
class Best:
    """The heaviest, and when and where: of a species a single fish and a catch, of sessions the whole."""

    of: str
    weight_g: int
    lb_oz: str
    fished_on: date
    water: str


@dataclass(frozen=True, slots=True)
class OwnNumbers:
    """What only the member is shown."""

    seasons: tuple[Season, ...]
    best_session: Best | None
    biggest_fish: tuple[Best, ...]
    best_catches: tuple[Best, ...]
    no_answer: NoAnswer | None
    notes: tuple[str, ...]


_NOTES: Final = (
    "Expected is what the club's average angler would have caught on the same pegs and days, with the same "
    "baits, distances and hours. Above it may be skill, or what the returns do not record.",
    "The range is of luck alone: nine times in ten the same sessions, fished again, would bring a total in "
    "it. Your own returns are among those that the fit has seen, which draws the two a little together.",
    "Nobody else is shown this.",
)


def own_numbers(*, club: Club, returns: QuerySet[Return]) -> OwnNumbers:
    """The numbers of the returns given, which are one member's own, in ten queries at most."""
    sessions = list(
        returns.filter(guest=False)
        .exclude(outcome=Outcome.DID_NOT_FISH)
        .select_related("water", "peg", "conditions")
        .prefetch_related("parts__hook_bait", "parts__rig_type")
        .order_by("-fished_on", "-pk")
    )
    by_year, no_answer = _beside_the_fit(club, sessions)
    years = sorted({session.fished_on.year for session in sessions}, reverse=True)
    lines = CatchLine.objects.filter(session__in=[session.pk for session in sessions])
    return OwnNumbers(
        seasons=tuple(_season(year, sessions, by_year.get(year)) for year in years),
        best_session=_best_session(sessions),
        biggest_fish=_bests(lines, "biggest_g"),
        best_catches=_bests(lines, "weight_g"),
        no_answer=no_answer,
        notes=_NOTES,
    )


def _season(year: int, sessions: Sequence[Return], beside: Beside | None) -> Season:
    of_year = [session for session in sessions if session.fished_on.year == year]
    return Season(
        year=year,
        sessions=len(of_year),
        rod_hours=float(sum((session.hours or 0) * session.rods for session in of_year)),
        weight_g=sum(session.weight_g or 0 for session in of_year),
        blanks=sum(session.outcome == Outcome.BLANK for session in of_year),
        did_not_weigh=sum(session.outcome == Outcome.DID_NOT_WEIGH for session in of_year),
        beside=beside,
    )


def _best_session(sessions: Sequence[Return]) -> Best | None:
    heaviest = max(sessions, key=lambda session: session.weight_g or 0, default=None)
    if heaviest is None or not heaviest.weight_g:
        return None
    return Best(
        "session", heaviest.weight_g, lb_oz(heaviest.weight_g), heaviest.fished_on, heaviest.water.name
    )


def _bests(lines: QuerySet[CatchLine], column: str) -> tuple[Best, ...]:
    """By species, the heaviest first."""
    known = lines.filter(**{f"{column}__gt": 0}).select_related("species", "session__water")
    best: dict[str, Best] = {}
    for line in known.order_by(f"-{column}", "session__fished_on"):
        weight = int(getattr(line, column))
        session = line.session
        found = Best(line.species.name, weight, lb_oz(weight), session.fished_on, session.water.name)
        best.setdefault(line.species.name, found)
    return tuple(best.values())


# --- Beside the fit ---------------------------------------------------------------------------------------


def _beside_the_fit(club: Club, sessions: Sequence[Return]) -> tuple[dict[int, Beside], NoAnswer | None]:
    known = [session for session in sessions if session.outcome in KNOWN and session.hours]
    run = served_run(club=club)
    if run is None:
        return {}, NoAnswer("no_fit_yet", "No fit of the club's returns has come out yet.")
    try:
        stored = load_fit(run)
    except DamagedFit as damage:
        return {}, NoAnswer(damage.code, damage.message)
    known = known[:MOST_SESSIONS]
    if not known:
        return {}, NoAnswer("nothing_weighed", "None of your returns says what a session weighed.")
    expected, drawn = _drawn(stored.estimates, known, stored.seed)
    years = np.array([session.fished_on.year for session in known])
    caught = np.array([session.weight_g or 0 for session in known])
    return {
        int(year): _compared(caught[years == year], expected[years == year], drawn[years == year])
        for year in np.unique(years)
    }, None


def _drawn(estimates: Estimates, known: Sequence[Return], seed: int) -> tuple[FloatArray, FloatArray]:
    """Expected grams (s,) and draws (s, d) of sessions, of the average angler."""
    questions, starts, is_match = questions_of(known)
    asked = ask(estimates, questions)
    generator = np.random.default_rng([seed, 3])
    means = np.exp(log_mean_draws(estimates, asked, DRAWS, seed))
    expected = np.add.reduceat(expectation(estimates, asked).mean_g, starts)
    of_sessions = np.add.reduceat(means, starts)
    item = estimates.term("match_day")
    if item is not None:
        # The expectation holds half the variance of match days already.
        luck = generator.standard_normal(of_sessions.shape) * item.prior_sd - item.prior_sd**2 / 2.0
        of_sessions *= np.exp(luck * is_match[:, None])
    return expected, draw(generator, of_sessions, estimates.dispersion, estimates.power)


def questions_of(known: Sequence[Return]) -> tuple[Questions, IntArray, FloatArray]:
    """A question a part, where each session's begin (s,), and which sessions are matches (s,)."""
    asked: list[dict[str, Any]] = []
    starts = []
    for session in known:
        starts.append(len(asked))
        parts: list[SessionPart | None] = [*session.parts.all()] or [None]
        asked += [_question(session, part, len(parts)) for part in parts]
    columns = {name: [one[name] for one in asked] for name in asked[0]}
    matches = np.array([float(session.session_kind == SessionKind.MATCH) for session in known])
    return Questions(**columns), np.array(starts), matches


def _question(session: Return, part: SessionPart | None, parts: int) -> dict[str, Any]:
    day = getattr(session, "conditions", None)
    hours = float(session.hours or 0) / parts if part is None or part.hours is None else float(part.hours)
    return {
        "month": session.fished_on.month,
        "day_of_year": float(session.fished_on.timetuple().tm_yday),
        "year": str(session.fished_on.year),
        "water": session.water.uid.hex,
        "peg": None if session.peg is None else session.peg.uid.hex,
        "session_kind": MATCH if session.session_kind == SessionKind.MATCH else PLEASURE,
        "hours": hours * session.rods,
        "hook_bait": None if part is None or part.hook_bait is None else part.hook_bait.uid.hex,
        "rig_type": None if part is None or part.rig_type is None else part.rig_type.uid.hex,
        "distance_m": _number(part, "distance_m"),
        "distance_missing": _missing(part, "distance_m"),
        "wind": wind_class(_number(day, "wind_force")),
        "water_temperature_c": _number(day, "water_temperature_c"),
        "water_temperature_missing": _missing(day, "water_temperature_c"),
    }


def _missing(row: Any, name: str) -> str:
    return MISSING if _number(row, name) is None else RECORDED


def _number(row: Any, name: str) -> float | None:
    value = None if row is None else getattr(row, name)
    return None if value is None else float(value)


def _compared(caught: IntArray, expected: FloatArray, drawn: FloatArray) -> Beside:
    totals = drawn.sum(axis=0)
    lower_90, lower_50, upper_50, upper_90 = (float(end) for end in np.quantile(totals, _ENDS))
    total, mean = int(caught.sum()), float(expected.sum())
    less = float(np.mean(totals < total))
    return Beside(
        sessions=len(caught),
        caught_g=total,
        expected_g=mean,
        lower_90_g=lower_90,
        lower_50_g=lower_50,
        upper_50_g=upper_50,
        upper_90_g=upper_90,
        chance_of_less=less,
        in_words=_in_words(total, mean, lower_90, upper_90),
    )


def _in_words(total: int, mean: float, lower: float, upper: float) -> str:
    if total > upper:
        where = "more than luck alone would bring nine times in ten"
    elif total < lower:
        where = "less than luck alone would bring nine times in ten"
    else:
        where = "within what luck alone does"
    return (
        f"{lb_oz(total)} beside {lb_oz(mean)} expected; luck alone takes that from {lb_oz(lower)} to "
        f"{lb_oz(upper)}: {where}."
    )
