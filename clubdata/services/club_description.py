"""A club's description (JSON), read and checked in full before anything is written.

Every refusal names its place, such as `waters[1].pegs[3].depth_cm`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.core.validators import slug_re

from clubdata.models import Role, WaterEventKind, WaterKind
from clubdata.rules.conventions import read_conventions
from clubdata.rules.described import Described
from clubdata.rules.water_rules import read_water_rules
from clubdata.rules.words import fold

VOCABULARY_KINDS: Final = ("methods", "rig_types", "hook_baits", "feeds", "species")
_OWN_TEXTS: Final[dict[str, dict[str, int]]] = {
    "hook_baits": {"colour": 30, "state": 30, "size": 30},
    "species": {"scientific_name": 80, "fao_code": 3, "group": 30},
}
_HEAVIEST_FISH_G: Final = 500_000
_HIGHEST_ORDER: Final = 1_000_000
# As `Club.time_zone`.
_USUAL_TIME_ZONE: Final = "Europe/London"


@dataclass(frozen=True, slots=True)
class HazardDescription:
    kind: str
    noted_on: date
    cleared_on: date | None
    note: str


@dataclass(frozen=True, slots=True)
class EventDescription:
    kind: str
    started_on: date
    ended_on: date | None
    note: str


@dataclass(frozen=True, slots=True)
class PegDescription:
    """`values` are the peg's own columns beside its label and place along the bank."""

    label: str
    bank: str
    bank_order: int
    values: dict[str, Any]
    depths: dict[Decimal, int]
    hazards: tuple[HazardDescription, ...]


@dataclass(frozen=True, slots=True)
class WaterDescription:
    name: str
    values: dict[str, Any]
    pegs: tuple[PegDescription, ...]
    events: tuple[EventDescription, ...]


@dataclass(frozen=True, slots=True)
class EntryDescription:
    """A word of the club: its name, its folded spellings (the name's own among them), its own columns."""

    name: str
    spellings: tuple[str, ...]
    values: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MemberDescription:
    number: str
    name: str | None
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClubDescription:
    """A time zone or conventions of None are not named."""

    slug: str
    name: str
    time_zone: str | None
    conventions: dict[str, Any] | None
    waters: tuple[WaterDescription, ...]
    vocabulary: dict[str, tuple[EntryDescription, ...]]
    members: tuple[MemberDescription, ...]


def read_description(raw: Any, *, now: datetime) -> ClubDescription:
    """Raises `InvalidInput` (`bad_description`), its field the place at fault."""
    entries = Described(raw).fields(
        required=("slug", "name"),
        optional=("time_zone", "waters", *VOCABULARY_KINDS, "members", "conventions"),
    )
    slug = entries["slug"].text(most=40)
    if not slug_re.fullmatch(slug):
        raise entries["slug"].refusal("letters, digits, hyphens and underscores are wanted")
    conventions = entries["conventions"].value if "conventions" in entries else None
    read_conventions({} if conventions is None else conventions)
    time_zone = _time_zone(entries["time_zone"]) if "time_zone" in entries else None
    today = now.astimezone(ZoneInfo(time_zone or _USUAL_TIME_ZONE)).date()
    return ClubDescription(
        slug=slug,
        name=entries["name"].text(most=120),
        time_zone=time_zone,
        conventions=conventions,
        waters=_waters(entries, today),
        vocabulary={
            kind: read_vocabulary(entries[kind], kind) for kind in VOCABULARY_KINDS if kind in entries
        },
        members=_members(entries),
    )


def _time_zone(entry: Described) -> str:
    name = entry.text(most=60)
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise entry.refusal("a time zone such as Europe/London is wanted") from None
    return name


def _items(entries: dict[str, Described], name: str) -> list[Described]:
    return entries[name].items() if name in entries else []


def _refuse_repeats(places: Iterable[tuple[Described, object]], what: str) -> None:
    seen: set[object] = set()
    for place, value in places:
        if value in seen:
            raise place.refusal(f"this {what} is there twice")
        seen.add(value)


def _waters(entries: dict[str, Described], today: date) -> tuple[WaterDescription, ...]:
    items = _items(entries, "waters")
    waters = tuple(_water(item, today) for item in items)
    _refuse_repeats(zip(items, (fold(water.name) for water in waters), strict=True), "water")
    return waters


def _water(item: Described, today: date) -> WaterDescription:
    entries = item.fields(
        required=("name", "kind", "latitude", "longitude"), optional=("time_zone", "pegs", "events", "rules")
    )
    values = {
        "kind": entries["kind"].one_of(tuple(WaterKind.values)),
        "latitude": entries["latitude"].number(lowest=-90, highest=90, places=5),
        "longitude": entries["longitude"].number(lowest=-180, highest=180, places=5),
    }
    if "time_zone" in entries:
        values["time_zone"] = _time_zone(entries["time_zone"])
    if "rules" in entries:
        values["rules"] = read_water_rules(entries["rules"].value, entries["rules"].place).plain()
    items = _items(entries, "pegs")
    pegs = tuple(_peg(peg, today) for peg in items)
    _refuse_repeats(zip(items, (fold(peg.label) for peg in pegs), strict=True), "peg")
    _refuse_repeats(
        zip(items, ((peg.bank, peg.bank_order) for peg in pegs), strict=True), "place along the bank"
    )
    happened = _items(entries, "events")
    events = tuple(_event(event, today) for event in happened)
    _refuse_repeats(zip(happened, ((one.kind, one.started_on) for one in events), strict=True), "event")
    return WaterDescription(entries["name"].text(most=80), values, pegs, events)


def _event(item: Described, today: date) -> EventDescription:
    entries = item.fields(required=("kind", "started"), optional=("ended", "note"))
    started_on = entries["started"].day()
    ended_on = entries["ended"].day() if "ended" in entries else None
    if started_on > today:
        raise entries["started"].refusal("an event has begun: a day that has come is wanted")
    if ended_on is not None and ended_on < started_on:
        raise entries["ended"].refusal("an event ends on the day it began or later")
    note = entries["note"].text(most=400, blank=True) if "note" in entries else ""
    kind = entries["kind"].one_of(tuple(WaterEventKind.values))
    return EventDescription(kind, started_on, ended_on, note)


def _peg(item: Described, today: date) -> PegDescription:
    entries = item.fields(
        required=("number", "order"),
        optional=(
            "bank", "depth_cm", "room_m", "accessible", "access_note", "in_use", "depths", "hazards",
        ),
    )  # fmt: skip
    values: dict[str, Any] = {}
    if "depth_cm" in entries:
        values["depth_cm"] = entries["depth_cm"].integer(lowest=0, highest=10_000)
    if "room_m" in entries:
        values["room_m"] = entries["room_m"].number(lowest=0, highest=1000, places=1)
    for name in ("accessible", "in_use"):
        if name in entries:
            values[name] = entries[name].truth()
    if "access_note" in entries:
        values["access_note"] = entries["access_note"].text(most=200, blank=True)
    hazards = _items(entries, "hazards")
    read = tuple(_hazard(hazard, today) for hazard in hazards)
    _refuse_repeats(zip(hazards, ((one.kind, one.noted_on) for one in read), strict=True), "hazard")
    return PegDescription(
        label=entries["number"].text(most=12),
        bank=entries["bank"].text(most=40, blank=True) if "bank" in entries else "",
        bank_order=entries["order"].integer(lowest=0, highest=_HIGHEST_ORDER),
        values=values,
        depths=dict(_depth(depth) for depth in _items(entries, "depths")),
        hazards=read,
    )


def _depth(item: Described) -> tuple[Decimal, int]:
    entries = item.fields(required=("distance_m", "depth_cm"))
    return (
        entries["distance_m"].number(lowest=0, highest=150, places=1),
        entries["depth_cm"].integer(lowest=0, highest=10_000),
    )


def _hazard(item: Described, today: date) -> HazardDescription:
    entries = item.fields(required=("kind", "noted"), optional=("cleared", "note"))
    noted_on = entries["noted"].day()
    cleared_on = entries["cleared"].day() if "cleared" in entries else None
    if noted_on > today:
        raise entries["noted"].refusal("a hazard is noted on a day that has come")
    if cleared_on is not None and not noted_on <= cleared_on <= today:
        raise entries["cleared"].refusal("a hazard is cleared after it was noted, on a day that has come")
    note = entries["note"].text(most=200, blank=True) if "note" in entries else ""
    return HazardDescription(entries["kind"].text(most=60), noted_on, cleared_on, note)


def read_vocabulary(described: Described, kind: str) -> tuple[EntryDescription, ...]:
    """The words of one kind; a spelling means one of them only. Raises `InvalidInput`."""
    owners: dict[str, str] = {}
    items = described.items()
    entries = tuple(_entry(item, kind, owners) for item in items)
    _refuse_repeats(zip(items, (fold(entry.name) for entry in entries), strict=True), "name")
    return entries


def _entry(item: Described, kind: str, owners: dict[str, str]) -> EntryDescription:
    own_texts = _OWN_TEXTS.get(kind, {})
    own_numbers = ("heaviest_g",) if kind == "species" else ()
    entries = item.fields(required=("name",), optional=("aliases", *own_texts, *own_numbers))
    name = entries["name"].text(most=60)
    spellings: dict[str, None] = {}
    for spelling in [entries["name"], *_items(entries, "aliases")]:
        folded = fold(spelling.text(most=60))
        if owners.setdefault(folded, name) != name or len(folded) > 60:
            raise spelling.refusal(f"this spelling already means {owners[folded]}")
        spellings[folded] = None
    values: dict[str, Any] = {
        text: entries[text].text(most=most, blank=True) for text, most in own_texts.items() if text in entries
    }
    for number in own_numbers:
        if number in entries:
            values[number] = entries[number].integer(lowest=1, highest=_HEAVIEST_FISH_G)
    return EntryDescription(name, tuple(spellings), values)


def _members(entries: dict[str, Described]) -> tuple[MemberDescription, ...]:
    items = _items(entries, "members")
    members = tuple(_member(item) for item in items)
    _refuse_repeats(zip(items, (fold(member.number) for member in members), strict=True), "member")
    return members


def _member(item: Described) -> MemberDescription:
    entries = item.fields(required=("number",), optional=("name", "role", "roles"))
    if "role" in entries and "roles" in entries:
        raise entries["role"].refusal("either role or roles is wanted")
    roles = [entries["role"]] if "role" in entries else _items(entries, "roles")
    return MemberDescription(
        number=entries["number"].text(most=20),
        name=entries["name"].text(most=120, blank=True) if "name" in entries else None,
        roles=tuple(dict.fromkeys(role.one_of(tuple(Role.values)) for role in roles)),
    )
