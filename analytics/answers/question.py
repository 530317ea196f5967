"""What a member asks and what they have to fish with, turned into the codes of the fit."""

import math
from calendar import month_name
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from analytics.held import HELD
from clubdata.errors import InvalidInput
from clubdata.models import Club, HookBait, Method, RigType, SessionKind, Species
from clubdata.models.returns import MOST_DISTANCE_M, MOST_HOURS, Tow
from clubdata.rules.conventions import read_conventions
from clubdata.rules.wind import BEAUFORT_SCALE, read_force
from clubdata.services.lexicon import read_lexicon

COLDEST_C, WARMEST_C = -2.0, 40.0
#: Lists of words that stay known, as long as the club's records stay as they are.
KEPT_KINDS = 64
STRONGEST_FORCE = len(BEAUFORT_SCALE) - 1


@dataclass(frozen=True, slots=True)
class AdviceQuestion:
    """What a member asks. Water, peg, baits, rig types and methods by name, spelling, label or uid.

    Either a month or a day. None means no limit, or that the condition of the day was not asked about;
    `longest_pole_m` excludes every distance beyond it. `wind_force` is a Beaufort force or a word for one.
    `target` is a group of the club's species, empty for everything caught. Without `session_kind` the answer
    is for a match when the club records matches.
    """

    water: str
    month: int | None = None
    on: date | None = None
    peg: str | None = None
    hours: float = 5.0
    baits: tuple[str, ...] | None = None
    rig_types: tuple[str, ...] | None = None
    methods: tuple[str, ...] | None = None
    longest_pole_m: float | None = None
    target: str = ""
    session_kind: str | None = None
    water_temperature_c: float | None = None
    wind_force: str | None = None
    tow: str | None = None


@dataclass(frozen=True, slots=True)
class When:
    """The month (1 to 12) and, where a day was asked about, the day."""

    month: int
    on: date | None

    @property
    def day_of_year(self) -> int | None:
        return None if self.on is None else self.on.timetuple().tm_yday

    @property
    def words(self) -> str:
        """'in March' or 'on 12 March'."""
        if self.on is None:
            return f"in {month_name[self.month]}"
        return f"on {self.on.day} {month_name[self.month]}"


@dataclass(frozen=True, slots=True)
class Day:
    """The conditions of the day as far as they were asked about."""

    water_temperature_c: float | None = None
    wind_force: int | None = None
    tow: str = ""


ANY_DAY = Day()


@dataclass(frozen=True, slots=True)
class Tackle:
    """A bait or a rig type by its public id and the club's name for it."""

    uid: UUID
    name: str


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the member can do: codes of baits and rig types (None for any), pole in metres."""

    baits: frozenset[str] | None
    rigs: frozenset[str] | None
    longest_pole_m: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """The question's limits as codes, the club's names for them, and the baits that were asked about.

    `bait_codes` are those of the club's baits by their keys in the records.
    """

    allowed: Allowed
    methods: frozenset[str] | None
    tackle: dict[str, Tackle]
    baits: frozenset[str]
    bait_codes: dict[int, str]


class Checked(NamedTuple):
    """A question that can be answered: when, and what the day is like."""

    when: When
    day: Day


def check_question(*, club: Club, question: AdviceQuestion) -> Checked:
    """What the question says of the day.

    :raises InvalidInput: month, day, hours, pole, session kind or a condition out of range or unknown;
        `field` names it.
    """
    when = _when(question)
    if not (math.isfinite(question.hours) and 0 < question.hours <= MOST_HOURS):
        raise InvalidInput(f"Hours lie above 0 and up to {MOST_HOURS}.", field="hours")
    pole = question.longest_pole_m
    if pole is not None and not (math.isfinite(pole) and 0 < pole <= MOST_DISTANCE_M):
        raise InvalidInput(
            f"A longest pole lies above 0 m and up to {MOST_DISTANCE_M} m.", field="longest_pole_m"
        )
    if question.session_kind is not None and question.session_kind not in SessionKind.values:
        raise InvalidInput("A session is a match or a pleasure session.", field="session_kind")
    return Checked(when, _day(club, question))


def check_target(*, club: Club, target: str) -> None:
    """Refuse a group that none of the club's species belongs to.

    :raises InvalidInput: there is no such group; `field` is `target`.
    """
    groups = set(Species.objects.filter(club=club).exclude(group="").values_list("group", flat=True))
    if target not in groups:
        known = ", ".join(sorted(groups)) or "none"
        raise InvalidInput(f"The club counts no such group of species; known: {known}.", field="target")


def _when(question: AdviceQuestion) -> When:
    if (question.month is None) == (question.on is None):
        raise InvalidInput("Ask about a month or about a day, one of the two.", field="month")
    if question.on is not None:
        return When(question.on.month, question.on)
    if question.month is None or not 1 <= question.month <= 12:
        raise InvalidInput("A month goes from 1 to 12.", field="month")
    return When(question.month, None)


def _day(club: Club, question: AdviceQuestion) -> Day:
    celsius = question.water_temperature_c
    if celsius is not None and not (math.isfinite(celsius) and COLDEST_C <= celsius <= WARMEST_C):
        raise InvalidInput(
            f"A water temperature lies between {COLDEST_C:g} and {WARMEST_C:g} degrees Celsius.",
            field="water_temperature_c",
        )
    if question.tow is not None and question.tow not in Tow.values:
        raise InvalidInput(f"A tow is one of {', '.join(Tow.values)}.", field="tow")
    return Day(celsius, _force(club, question.wind_force), question.tow or "")


def _force(club: Club, text: str | None) -> int | None:
    if text is None:
        return None
    words = read_conventions(club.conventions).wind_words
    try:
        return read_force(text, words)
    except ValueError:
        own = f", or one of the club's words: {', '.join(words)}" if words else ""
        raise InvalidInput(
            f"Write a Beaufort force from 0 to {STRONGEST_FORCE} or its name, such as 4 or gale{own}.",
            field="wind_force",
        ) from None


def limits_of(*, club: Club, question: AdviceQuestion) -> Limits:
    """The limits of a question.

    :raises InvalidInput: a word that the club does not know; `field` names the list it stands in.
    """
    baits, rigs = _tackle(HookBait, club), _tackle(RigType, club)
    allowed = Allowed(
        baits=_codes(club, "hook bait", question.baits, "baits", baits),
        rigs=_codes(club, "rig type", question.rig_types, "rig_types", rigs),
        longest_pole_m=question.longest_pole_m,
    )
    known: Mapping[int, Tackle] = {} if question.methods is None else _tackle(Method, club)
    methods = _codes(club, "method", question.methods, "methods", known)
    tackle = {item.uid.hex: item for item in (*baits.values(), *rigs.values())}
    codes = {key: item.uid.hex for key, item in baits.items()}
    asked = frozenset(codes.values()) if allowed.baits is None else allowed.baits
    return Limits(allowed=allowed, methods=methods, tackle=tackle, baits=asked, bait_codes=codes)


def _tackle(kind: Any, club: Club) -> Mapping[int, Tackle]:
    """The club's entries of a kind by their key."""
    read = _read if HELD.of(club.pk) is None else _kept
    return read(kind, club.uid, (club.revision, club.places_revision))


def _read(
    kind: Any,
    club_uid: UUID,
    revisions: tuple[int, int],  # noqa: ARG001 - what is known ends with them
) -> Mapping[int, Tackle]:
    rows = kind.objects.filter(club__uid=club_uid).values_list("id", "uid", "name")
    return {key: Tackle(uid, name) for key, uid, name in rows}


#: For a process that keeps answers as well, under the same revisions.
_kept = lru_cache(maxsize=KEPT_KINDS)(_read)


def _codes(
    club: Club, kind: str, words: tuple[str, ...] | None, field: str, entries: Mapping[int, Tackle]
) -> frozenset[str] | None:
    """The codes of what the member named.

    :raises InvalidInput: a word that the club does not know.
    """
    if words is None:
        return None
    lexicon = read_lexicon(club=club, kind=kind)
    try:
        return frozenset(entries[lexicon.find(word)].uid.hex for word in words)
    except InvalidInput as unknown:
        raise InvalidInput(unknown.message, field=field, code=unknown.code) from None
