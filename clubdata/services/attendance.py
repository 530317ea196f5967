"""Who was seen to fish, and who of them has handed in: the denominator of everything that is said of returns.

Permits, bailiffs' checks, the gate book and match entries say that a member was at a water on a day. A return
of that member from that water and day discharges it, 'did not fish' as well; a permit is for a month, and any
return of that month discharges it.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import BooleanField, Case, Exists, OuterRef, QuerySet, When
from django.db.models.functions import ExtractMonth, ExtractYear

from clubdata.errors import InvalidInput
from clubdata.models import Attendance, AttendanceSource, Match, Member, Protection, Return, Role, Water
from clubdata.services.faults import Faults
from clubdata.services.members import Membership

NOTES_ATTENDANCE: Final = frozenset({Role.ORGANISER, Role.SECRETARY})
SEES_HANDED_IN: Final = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
SEES_OUTSTANDING: Final = frozenset({Role.SECRETARY})
MOST_AT_ONCE: Final = 200


@dataclass(frozen=True, slots=True)
class Seen:
    """A member at a water on a day, in the words of whoever noted it: number, water's name or uid, code."""

    member: str
    water: str
    fished_on: date
    source: AttendanceSource
    match: str = ""


@dataclass(frozen=True, slots=True)
class Tally:
    """How many were seen and how many of those have handed in."""

    seen: int = 0
    handed_in: int = 0

    @property
    def outstanding(self) -> int:
        return self.seen - self.handed_in

    @property
    def share(self) -> float | None:
        return self.handed_in / self.seen if self.seen else None


@dataclass(frozen=True, slots=True)
class HandedIn:
    """A month ('2024-05') or a match (its code): everyone seen, each once, and the same by source."""

    key: str
    total: Tally
    by_source: dict[str, Tally]


@dataclass(slots=True)
class Reminder:
    """What one member has still to hand in, and whom to write to."""

    member: Member
    outstanding: list[Attendance] = field(default_factory=list)

    @property
    def write_to(self) -> str:
        """A junior's or an adult at risk's reminder goes to the responsible adult."""
        guarded = self.member.protection != Protection.NONE
        return self.member.responsible_adult if guarded else self.member.contact


def note_attendance(*, who: Membership, seen: Sequence[Seen], now: datetime) -> int:
    """Write down who was seen, all or none; how many of them were new. Raises `ManyInvalid`."""
    who.require(NOTES_ATTENDANCE, "note who was there")
    faults = Faults()
    book = _Book(who)
    rows = [_row(book, one, f"seen.{place}", faults, now) for place, one in enumerate(seen)]
    faults.check()
    with transaction.atomic():
        mine = Attendance.objects.filter(club=who.club)
        before = mine.count()
        Attendance.objects.bulk_create([row for row in rows if row is not None], ignore_conflicts=True)
        return mine.count() - before


class _Book:
    """The club's members, waters and matches by what people call them."""

    def __init__(self, who: Membership) -> None:
        self.who = who
        members = Member.objects.filter(club=who.club, erased_at__isnull=True)
        self.members = {one.number: one for one in members}
        waters = list(Water.objects.filter(club=who.club))
        self.waters = {one.name.casefold(): one for one in waters} | {str(one.uid): one for one in waters}
        self.matches = {one.code.casefold(): one for one in Match.objects.filter(club=who.club)}


def _row(book: _Book, one: Seen, at: str, faults: Faults, now: datetime) -> Attendance | None:
    member, water = book.members.get(one.member), book.waters.get(one.water.casefold())
    match = book.matches.get(one.match.casefold()) if one.match else None
    if member is None:
        faults.add(f"{at}.member", "unknown_member", "The club has no such member.")
    if water is None:
        faults.add(f"{at}.water", "unknown_water", "The club has no such water.")
    if one.match and (
        match is None or match.held_on != one.fished_on or match.water_id != (water and water.pk)
    ):
        faults.add(f"{at}.match", "unknown_match", "The club has no such match there on that day.")
    if one.source == AttendanceSource.ENTRY and not one.match:
        faults.add(f"{at}.match", "match_missing", "An entry is to a match: say which.")
    if one.fished_on > now.date():
        faults.add(f"{at}.fished_on", "in_the_future", "Nobody has been seen there yet.")
    if member is None or water is None:
        return None
    return Attendance(
        club=book.who.club,
        member=member,
        water=water,
        match=match,
        fished_on=one.fished_on,
        source=one.source,
        noted_by=book.who.account,
        noted_at=now,
    )


def noted_attendance(who: Membership) -> QuerySet[Attendance]:
    """Who was noted, for whoever notes."""
    who.require(NOTES_ATTENDANCE, "look into who was there")
    return _attendances(who)


def handed_in(*, who: Membership, by: str, first: date | None, last: date | None) -> list[HandedIn]:
    """Returns handed in of everyone seen, by `month` or by `match`, the latest first."""
    who.require(SEES_HANDED_IN, "look into how many have handed in")
    rows = _between(_with_discharge(_attendances(who)), first, last)
    if by == "match":
        rows = rows.filter(match__isnull=False)
    elif by != "month":
        raise InvalidInput("Ask by month or by match.", field="by")
    grouped: defaultdict[tuple[date, str], list[Any]] = defaultdict(list)
    for row in rows.values_list(
        "fished_on", "match__code", "match__held_on", "member_id", "water_id", "source", "is_handed_in"
    ):
        month = row[0].replace(day=1)
        grouped[(row[2], row[1]) if by == "match" else (month, f"{month:%Y-%m}")].append(row)
    latest_first = sorted(grouped.items(), reverse=True)
    return [
        HandedIn(
            key=key,
            total=_tally((row[0], *row[3:5], row[6]) for row in of_it),
            by_source={
                source: _tally((row[0], *row[3:5], row[6]) for row in of_it if row[5] == source)
                for source in AttendanceSource.values
                if any(row[5] == source for row in of_it)
            },
        )
        for (_, key), of_it in latest_first
    ]


def _tally(rows: Iterable[tuple[Any, ...]]) -> Tally:
    """Somebody whom two sources saw on one day at one water counts once."""
    seen: dict[tuple[Any, ...], bool] = {}
    for *whom, is_handed_in in rows:
        seen[tuple(whom)] = seen.get(tuple(whom), False) or bool(is_handed_in)
    return Tally(len(seen), sum(seen.values()))


def outstanding(*, who: Membership, first: date | None, last: date | None) -> QuerySet[Attendance]:
    """Who was seen and has not handed in: for the secretary alone."""
    who.require(SEES_OUTSTANDING, "look into what is outstanding")
    rows: QuerySet[Attendance] = _between(_with_discharge(_attendances(who)), first, last).filter(
        # Who was erased is nobody to write to.
        is_handed_in=False,
        member__erased_at__isnull=True,
    )
    return rows


def reminders(*, who: Membership, first: date | None, last: date | None) -> list[Reminder]:
    """What is outstanding, one reminder a member, by number."""
    found: dict[int, Reminder] = {}
    for row in outstanding(who=who, first=first, last=last).order_by("member__number", "fished_on", "pk"):
        found.setdefault(row.member_id, Reminder(row.member)).outstanding.append(row)
    return list(_reachable_first(found.values()))


def _reachable_first(reminders_: Iterable[Reminder]) -> Iterator[Reminder]:
    yield from sorted(reminders_, key=lambda one: not one.write_to)


def _attendances(who: Membership) -> QuerySet[Attendance]:
    rows: QuerySet[Attendance] = Attendance.objects.visible_to(who.account).filter(club=who.club)
    return rows.select_related("member", "water", "match")


def _between(rows: Any, first: date | None, last: date | None) -> Any:
    if first is not None:
        rows = rows.filter(fished_on__gte=first)
    return rows if last is None else rows.filter(fished_on__lte=last)


def _with_discharge(rows: QuerySet[Attendance]) -> Any:
    theirs = Return.objects.filter(member=OuterRef("member"), water=OuterRef("water"), guest=False)
    on_the_day = theirs.filter(fished_on=OuterRef("fished_on"))
    in_the_month = theirs.annotate(year=ExtractYear("fished_on"), month=ExtractMonth("fished_on")).filter(
        year=ExtractYear(OuterRef("fished_on")), month=ExtractMonth(OuterRef("fished_on"))
    )
    return rows.annotate(
        is_handed_in=Case(
            When(source=AttendanceSource.PERMIT, then=Exists(in_the_month)),
            default=Exists(on_the_day),
            output_field=BooleanField(),
        )
    )
