"""A stored return as the hand-in that would make it, and a hand-in as plain JSON and back."""

import uuid
from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date, time
from decimal import Decimal
from typing import Any

from clubdata.models import CatchLine, Conditions, Return, SessionPart, Source
from clubdata.services.hand_ins import CatchInput, ConditionsInput, HandIn, PartInput

_WORDS = ("method", "hook_bait", "feed", "rig_type")
_DECIMALS = frozenset(
    item.name for kind in (HandIn, PartInput, CatchInput, ConditionsInput) for item in fields(kind)
    if "Decimal" in str(item.type)
)  # fmt: skip


def as_hand_in(session: Return) -> HandIn:
    """The return, read with its children, in the words of a hand-in; weights of its parts in grams."""
    conditions: Conditions | None = getattr(session, "conditions", None)
    return HandIn(
        uid=session.uid,
        water=session.water.name,
        peg="" if session.peg is None else session.peg.label,
        member=session.member.number,
        match="" if session.match is None else session.match.code,
        session_kind=session.session_kind,
        fished_on=session.fished_on,
        started_at=session.started_at,
        hours=session.hours,
        rods=session.rods,
        roved=session.roved,
        guest=session.guest,
        outcome=session.outcome,
        weight=session.weight_typed,
        fish_count=session.fish_count,
        notes=session.notes,
        from_memory=session.source == Source.MEMORY,
        parts=tuple(_part(part) for part in session.parts.all()),
        catch=tuple(_line(line) for line in session.catch_lines.all()),
        conditions=None if conditions is None else _conditions(conditions),
    )


def _part(part: SessionPart) -> PartInput:
    words: dict[str, Any] = {
        name: "" if getattr(part, name) is None else getattr(part, name).name for name in _WORDS
    }
    others = [item.name for item in fields(PartInput) if item.name not in {*_WORDS, "weight"}]
    return PartInput(**words, **{name: getattr(part, name) for name in others}, weight=_grams(part.weight_g))


def _line(line: CatchLine) -> CatchInput:
    return CatchInput(
        species=line.species.name,
        fish_count=line.fish_count,
        weight=_grams(line.weight_g),
        biggest=_grams(line.biggest_g),
        biggest_length_cm=line.biggest_length_cm,
        lost_count=line.lost_count,
    )


def _conditions(row: Conditions) -> ConditionsInput:
    return ConditionsInput(**{item.name: getattr(row, item.name) for item in fields(ConditionsInput)})


def _grams(weight_g: int | None) -> str:
    return "" if weight_g is None else f"{weight_g} g"


def to_plain(data: HandIn) -> dict[str, Any]:
    """As JSON: days and times in ISO 8601, numbers with decimals as text, so that none changes on the way."""
    return {name: _plain(value) for name, value in asdict(data).items()}


def _plain(value: Any) -> Any:
    match value:
        case dict():
            return {name: _plain(inner) for name, inner in value.items()}
        case list() | tuple():
            return [_plain(inner) for inner in value]
        case date() | time():
            return value.isoformat()
        case Decimal():
            return f"{value.normalize():f}"
        case uuid.UUID():
            return str(value)
        case _:
            return value


def from_plain(plain: Mapping[str, Any]) -> HandIn:
    """The inverse of `to_plain`."""
    given = _numbers(plain)
    conditions = plain["conditions"]
    given |= {
        "uid": None if plain["uid"] is None else uuid.UUID(plain["uid"]),
        "fished_on": date.fromisoformat(plain["fished_on"]),
        "started_at": None if plain["started_at"] is None else time.fromisoformat(plain["started_at"]),
        "parts": tuple(PartInput(**_numbers(part)) for part in plain["parts"]),
        "catch": tuple(CatchInput(**_numbers(line)) for line in plain["catch"]),
        "conditions": None if conditions is None else ConditionsInput(**_numbers(conditions)),
    }
    return HandIn(**given)


def _numbers(plain: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: Decimal(value) if name in _DECIMALS and value is not None else value
        for name, value in plain.items()
    }


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What differs between two hand-ins as plain JSON: `{"field", "from", "to"}`, dotted, in their order."""
    old, new = _flat(before), _flat(after)
    names = [*old, *(name for name in new if name not in old)]
    return [
        {"field": name, "from": old.get(name), "to": new.get(name)}
        for name in names
        if old.get(name) != new.get(name)
    ]


def _flat(value: Any, path: str = "") -> dict[str, Any]:
    if isinstance(value, Mapping):
        pairs = [(str(name), inner) for name, inner in value.items()]
    elif isinstance(value, list):
        pairs = [(str(index), inner) for index, inner in enumerate(value)]
    else:
        return {path: value}
    found: dict[str, Any] = {}
    for name, inner in pairs:
        found |= _flat(inner, f"{path}.{name}" if path else name)
    return found
