"""What a member asks and what they have to fish with, turned into the codes of the fit."""

import math
from dataclasses import dataclass
from typing import Any

from analytics.answers.choices import Allowed, Tackle
from clubdata.errors import InvalidInput
from clubdata.models import Club, HookBait, Method, RigType, SessionKind
from clubdata.models.returns import MOST_DISTANCE_M, MOST_HOURS
from clubdata.services.lexicon import read_lexicon


@dataclass(frozen=True, slots=True)
class AdviceQuestion:
    """What a member asks. Water, peg, baits, rig types and methods by name, spelling, label or uid.

    None means no limit; `longest_pole_m` excludes every distance beyond it. Without `session_kind` the
    answer is for a match when the club records matches.
    """

    water: str
    month: int
    peg: str | None = None
    hours: float = 5.0
    baits: tuple[str, ...] | None = None
    rig_types: tuple[str, ...] | None = None
    methods: tuple[str, ...] | None = None
    longest_pole_m: float | None = None
    session_kind: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """The question's limits as codes, the club's names for them, and the baits that were asked about."""

    allowed: Allowed
    methods: frozenset[str] | None
    tackle: dict[str, Tackle]
    baits: frozenset[str]


def check_question(question: AdviceQuestion) -> None:
    """Refuse what cannot be answered.

    :raises InvalidInput: month, hours, pole or session kind out of range; `field` names it.
    """
    if not 1 <= question.month <= 12:
        raise InvalidInput("A month goes from 1 to 12.", field="month")
    if not (math.isfinite(question.hours) and 0 < question.hours <= MOST_HOURS):
        raise InvalidInput(f"Hours lie above 0 and up to {MOST_HOURS}.", field="hours")
    pole = question.longest_pole_m
    if pole is not None and not (math.isfinite(pole) and 0 < pole <= MOST_DISTANCE_M):
        raise InvalidInput(
            f"A longest pole lies above 0 m and up to {MOST_DISTANCE_M} m.", field="longest_pole_m"
        )
    if question.session_kind is not None and question.session_kind not in SessionKind.values:
        raise InvalidInput("A session is a match or a pleasure session.", field="session_kind")


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
    known = {} if question.methods is None else _tackle(Method, club)
    methods = _codes(club, "method", question.methods, "methods", known)
    asked = frozenset(item.uid.hex for item in baits.values()) if allowed.baits is None else allowed.baits
    tackle = {item.uid.hex: item for item in (*baits.values(), *rigs.values())}
    return Limits(allowed=allowed, methods=methods, tackle=tackle, baits=asked)


def _tackle(kind: Any, club: Club) -> dict[int, Tackle]:
    """The club's entries of a kind by their key."""
    rows = kind.objects.filter(club=club).values_list("id", "uid", "name")
    return {key: Tackle(uid, name) for key, uid, name in rows}


def _codes(
    club: Club, kind: str, words: tuple[str, ...] | None, field: str, entries: dict[int, Tackle]
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
