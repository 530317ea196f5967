"""Setting up a club from its description, and bringing it up to date from a later one.

What the description names is made or updated; what it no longer names is left as it is (a peg, a word, a
member, the conventions, and above all a hazard: it stands until a description clears it by its day). The
roles of a member whom it names with roles become exactly those.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from django.db import models, transaction

from clubdata.errors import NotAllowed
from clubdata.models import (
    Account,
    Club,
    Feed,
    FeedSpelling,
    HookBait,
    HookBaitSpelling,
    Member,
    MemberRole,
    Method,
    MethodSpelling,
    Peg,
    PegDepth,
    PegHazard,
    RigType,
    RigTypeSpelling,
    Role,
    Species,
    SpeciesSpelling,
    Water,
    WaterEvent,
)
from clubdata.rules.described import Described
from clubdata.rules.water_rules import WORDS
from clubdata.rules.words import fold
from clubdata.services.club_description import (
    ClubDescription,
    EntryDescription,
    EventDescription,
    MemberDescription,
    PegDescription,
    read_description,
    read_vocabulary,
)
from clubdata.services.standard_vocabulary import STANDARD_VOCABULARY

_VOCABULARY: Final[dict[str, tuple[Any, Any]]] = {
    "methods": (Method, MethodSpelling),
    "rig_types": (RigType, RigTypeSpelling),
    "hook_baits": (HookBait, HookBaitSpelling),
    "feeds": (Feed, FeedSpelling),
    "species": (Species, SpeciesSpelling),
}


@dataclass(frozen=True, slots=True)
class SetupReport:
    """How many records of each kind the description made and how many it found already."""

    club: Club
    created: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)

    def count(self, kind: str, *, created: bool) -> None:
        (self.created if created else self.found)[kind] += 1


@transaction.atomic
def setup_club(*, description: Any, actor: Account | None, now: datetime) -> SetupReport:
    """Make or update the club that `description` (JSON) describes; all of it or nothing.

    `actor` is None for the operator at the machine; an account must be a superuser's. Raises
    `InvalidInput`, its field the place at fault such as `waters[1].pegs[3].depth_cm`, and `NotAllowed`.
    """
    if actor is not None and not actor.is_superuser:
        raise NotAllowed("Only the operator sets up clubs.")
    described = read_description(description, now=now)
    own = {"name": described.name, "time_zone": described.time_zone, "conventions": described.conventions}
    named = {column: value for column, value in own.items() if value is not None}
    club, created = Club.objects.update_or_create(slug=described.slug, defaults=named)
    report = SetupReport(club)
    report.count("clubs", created=created)
    _write(described, club, report)
    club.raise_places_revision()
    return report


def _write(described: ClubDescription, club: Club, report: SetupReport) -> None:
    for kind, entries in {**_standard(club, described), **described.vocabulary}.items():
        _write_vocabulary(kind, entries, club, report)
    waters = _by_name(Water.objects.filter(club=club), "name")
    for number, water in enumerate(described.waters):
        if "rules" in water.values:
            water.values["rules"] = _with_known_words(water.values["rules"], club, f"waters[{number}].rules")
        values = {"club": club, "name": water.name, **water.values}
        row = _put(Water, waters, water.name, values, report)
        _write_pegs(water.pegs, row, report)
        _write_events(water.events, row, report)
    members = _by_name(Member.objects.filter(club=club), "number")
    for member in described.members:
        _write_member(member, members, club, report)


def _with_known_words(rules: dict[str, Any], club: Club, place: str) -> dict[str, Any]:
    """The rules with the club's own names for what is not allowed: another word would never be met."""
    known = dict(rules)
    for name, kind in WORDS.items():
        spellings = _VOCABULARY[kind][1].objects.filter(club=club).values_list("folded", "entry__name")
        names = dict(spellings) if rules[name] else {}
        for number, word in enumerate(rules[name]):
            if fold(word) not in names:
                raise Described(word, f"{place}.{name}[{number}]").refusal("a word of the club is wanted")
        known[name] = list(dict.fromkeys(names[fold(word)] for word in rules[name]))
    return known


def _by_name(rows: models.QuerySet[Any], name: str) -> dict[str, Any]:
    return {fold(getattr(row, name)): row for row in rows}


def _put(
    model: type[models.Model], known: dict[str, Any], name: str, values: dict[str, Any], report: SetupReport
) -> Any:
    """The row under this (folded) name: the known one, changed where its values differ, or a new one."""
    row = known.get(fold(name))
    report.count(str(model._meta.verbose_name_plural), created=row is None)
    if row is None:
        return model._default_manager.create(**values)
    changed = [column for column, value in values.items() if getattr(row, column) != value]
    for column in changed:
        setattr(row, column, values[column])
    if changed:
        row.save(update_fields=changed)
    return row


def _write_pegs(described: Sequence[PegDescription], water: Water, report: SetupReport) -> None:
    known = _by_name(Peg.objects.filter(water=water), "label")
    _make_room_along_the_banks(known, described)
    for one in described:
        values = {
            "club": water.club,
            "water": water,
            "label": one.label,
            "bank": one.bank,
            "bank_order": one.bank_order,
            **one.values,
        }
        _write_depths_and_hazards(one, _put(Peg, known, one.label, values, report), report)


def _make_room_along_the_banks(known: dict[str, Peg], described: Sequence[PegDescription]) -> None:
    """Move the pegs to be re-ordered out of the way first: a place along a bank is taken only once.

    A peg that the description leaves out keeps its place, or goes to the end of its bank when another
    peg is to have it.
    """
    wanted = {fold(peg.label): (peg.bank, peg.bank_order) for peg in described}
    places = set(wanted.values())
    moving = [
        peg
        for folded, peg in known.items()
        if (folded in wanted) != ((peg.bank, peg.bank_order) in places)
        or (peg.bank, peg.bank_order) != wanted.get(folded, (peg.bank, peg.bank_order))
    ]
    orders = [peg.bank_order for peg in known.values()] + [peg.bank_order for peg in described]
    beyond = max(orders, default=0) + 1
    for place, peg in enumerate(sorted(moving, key=lambda peg: peg.bank_order), beyond):
        peg.bank_order = place
        peg.save(update_fields=["bank_order"])


def _write_depths_and_hazards(described: PegDescription, peg: Peg, report: SetupReport) -> None:
    for distance_m, depth_cm in described.depths.items():
        PegDepth.objects.update_or_create(
            peg=peg, distance_m=distance_m, defaults={"club": peg.club, "depth_cm": depth_cm}
        )
    for hazard in described.hazards:
        cleared = {"cleared_on": hazard.cleared_on} if hazard.cleared_on else {}
        _, created = PegHazard.objects.update_or_create(
            peg=peg,
            kind=hazard.kind,
            noted_on=hazard.noted_on,
            defaults={"club": peg.club, "note": hazard.note, **cleared},
        )
        report.count("hazards", created=created)


def _write_events(described: Sequence[EventDescription], water: Water, report: SetupReport) -> None:
    """An event is known by its kind and the day it began; one without an end goes on as it was."""
    for event in described:
        ended = {"ended_on": event.ended_on} if event.ended_on else {}
        _, created = WaterEvent.objects.update_or_create(
            water=water,
            kind=event.kind,
            started_on=event.started_on,
            defaults={"club": water.club, "note": event.note, **ended},
        )
        report.count("events", created=created)


def _standard(club: Club, described: ClubDescription) -> dict[str, tuple[EntryDescription, ...]]:
    """The usual words of each kind that the club neither describes nor has."""
    return {
        kind: read_vocabulary(Described(entries, kind), kind)
        for kind, entries in STANDARD_VOCABULARY.items()
        if kind not in described.vocabulary and not _VOCABULARY[kind][0].objects.filter(club=club).exists()
    }


def _write_vocabulary(
    kind: str, described: Sequence[EntryDescription], club: Club, report: SetupReport
) -> None:
    entry_model, spelling_model = _VOCABULARY[kind]
    known = _by_name(entry_model.objects.filter(club=club), "name")
    spellings = _by_name(spelling_model.objects.filter(club=club), "folded")
    for one in described:
        entry = _put(entry_model, known, one.name, {"club": club, "name": one.name, **one.values}, report)
        for folded in one.spellings:
            _put(spelling_model, spellings, folded, {"club": club, "folded": folded, "entry": entry}, report)


def _write_member(
    described: MemberDescription, known: dict[str, Any], club: Club, report: SetupReport
) -> None:
    values = {"club": club, "number": described.number}
    if described.name is not None:
        values["name"] = described.name
    member = _put(Member, known, described.number, values, report)
    held = set(MemberRole.objects.filter(member=member).values_list("role", flat=True))
    roles = set(described.roles) or held or {Role.MEMBER.value}
    MemberRole.objects.filter(member=member, role__in=held - roles).delete()
    MemberRole.objects.bulk_create(
        MemberRole(club=club, member=member, role=role) for role in sorted(roles - held)
    )
