"""Returns handed in one at a time, and who may read which.

A club publishes its match results, so members read one another's match returns, but without notes and
without who typed them in; where and how a member fishes for pleasure stays their own. The organiser
reads all match returns in full, the analyst and the secretary all returns; and who handed in a return
for somebody else reads that one. Of a junior or an adult at risk members read nothing before the day is over.
A club's returns are nothing to anybody outside it, and to a member who has left.
"""

import uuid
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import product
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Prefetch, Q, QuerySet

from clubdata.errors import Conflict, NotFound
from clubdata.models import (
    CatchLine,
    Conditions,
    Protection,
    Return,
    Role,
    SessionKind,
    SessionPart,
    Source,
)
from clubdata.models.base import remember
from clubdata.models.clubs import LocalToday
from clubdata.models.writing import insert_all
from clubdata.rules.cautions import Caution
from clubdata.rules.sky import Sky, sky_for
from clubdata.services.doubts import look_at_new
from clubdata.services.draft_parts import PART_WORDS
from clubdata.services.drafts import Draft, draft
from clubdata.services.grounds import known_grounds
from clubdata.services.hand_ins import CatchInput, ConditionsInput, HandIn, PartInput
from clubdata.services.lexicon import known_entries
from clubdata.services.matches import require_open
from clubdata.services.members import Membership
from clubdata.services.waters import hazard_cautions, zone_of

__all__ = [
    "CatchInput",
    "ConditionsInput",
    "HandIn",
    "PartInput",
    "cautions_of",
    "find_return",
    "hand_in",
    "keep",
    "of_peg",
    "own_returns",
    "sees_in_full",
    "sky_of",
    "visible_returns",
    "with_children",
]

SEES_ALL = frozenset({Role.ANALYST, Role.SECRETARY})
SEES_MATCHES = frozenset({Role.ORGANISER})


def hand_in(*, who: Membership, now: datetime, data: HandIn) -> Return:
    """Keep a member's return: all of it or nothing, and the club's revision with it. It has its children.

    The same `uid` with the same content gives back the return that is stored (its `entered_at` is not
    `now`). Raises `ManyInvalid` for what cannot be true, `Conflict` for a uid that stands for something
    else.
    """
    made = draft(who=who, now=now, data=data)
    require_open(who, made.session["match_id"])
    if data.uid is not None and _is_kept(data.uid):
        return _replay(who, data.uid, made)
    try:
        # Without a uid of the sender's nothing can be there already, to be read after a failure.
        with transaction.atomic(savepoint=data.uid is not None):
            return keep(who=who, now=now, drafted=[(data, made)])[0]
    except IntegrityError:
        # The same return sent twice at once: the other request was first.
        if data.uid is None or not _is_kept(data.uid):
            raise
        return _replay(who, data.uid, made)


def _is_kept(uid: uuid.UUID) -> bool:
    """Whether the uid is taken: by a removed return too, and in whichever club, which no refusal says."""
    return Return.with_removed.filter(uid=uid).exists()


def keep(*, who: Membership, now: datetime, drafted: Sequence[tuple[HandIn, Draft]]) -> list[Return]:
    """Write returns that were drafted and ask the rules about them, within the caller's transaction.

    As they are kept, in their order, in a constant number of queries. Raises `IntegrityError` where a uid
    is taken.
    """
    fixed = {"club": who.club, "entered_by": who.account, "entered_at": now}
    rows = insert_all(
        Return(**fixed, **({"uid": data.uid} if data.uid else {}), **made.session) for data, made in drafted
    )
    for row, (_, made) in zip(rows, drafted, strict=True):
        for name, place in made.place.items():
            setattr(row, name, place)
    _keep_children(who, list(zip(rows, (made for _, made in drafted), strict=True)))
    _remember_all(rows, "doubts", look_at_new(sessions=rows, now=now))
    # Last: until the end of the transaction the club's other hand-ins wait here.
    who.club.raise_revision()
    return rows


def _keep_children(who: Membership, whole: Sequence[tuple[Return, Draft]]) -> None:
    """Write them, and let each return have them as if it had been read with them."""
    parts = [
        SessionPart(club=who.club, session=row, **columns) for row, made in whole for columns in made.parts
    ]
    catch = [
        CatchLine(club=who.club, session=row, **columns) for row, made in whole for columns in made.catch
    ]
    days = [
        Conditions(club=who.club, session=row, **made.conditions)
        for row, made in whole
        if made.conditions is not None
    ]
    insert_all([*parts, *catch, *days])
    for part, (name, kind) in product(parts, PART_WORDS.items()):
        _remember_entry(who, part, name, kind)
    for line in catch:
        _remember_entry(who, line, "species", "species")
    for row, made in whole:
        if made.conditions is None:
            Return._meta.get_field("conditions").set_cached_value(row, None)
    rows = [row for row, _ in whole]
    _remember_all(rows, "parts", parts)
    _remember_all(rows, "catch_lines", catch)


def _remember_entry(who: Membership, row: Any, name: str, kind: str) -> None:
    entry_id = getattr(row, f"{name}_id")
    # One that came in a moment ago is read when it is shown.
    if entry_id is not None and (entry := known_entries(club=who.club, kind=kind).get(entry_id)):
        setattr(row, name, entry)


def _remember_all(sessions: Iterable[Return], related: str, rows: Iterable[Any]) -> None:
    of: dict[int, list[Any]] = {}
    for row in rows:
        of.setdefault(row.session_id, []).append(row)
    for session in sessions:
        remember(session, related, of.get(session.pk, []))


def _replay(who: Membership, uid: uuid.UUID, made: Draft) -> Return:
    stored: Return | None = with_children(Return.objects.filter(club=who.club, uid=uid)).first()
    if stored is None or not _is_same(stored, made):
        raise Conflict("This uid stands for another return already: choose a new one.", field="uid")
    return stored


def _is_same(stored: Return, made: Draft) -> bool:
    conditions = getattr(stored, "conditions", None)
    return (
        _holds(stored, made.session)
        and _hold_in_order(list(stored.parts.all()), made.parts)
        and _hold_in_order(
            sorted(stored.catch_lines.all(), key=lambda line: line.species_id),
            sorted(made.catch, key=lambda columns: int(columns["species_id"])),
        )
        and (conditions is None if made.conditions is None else _holds(conditions, made.conditions))
    )


def _holds(row: Any, columns: dict[str, Any]) -> bool:
    return row is not None and all(getattr(row, name) == value for name, value in columns.items())


def _hold_in_order(rows: list[Any], wanted: list[dict[str, Any]]) -> bool:
    return len(rows) == len(wanted) and all(map(_holds, rows, wanted))


# --- Reading ------------------------------------------------------------------------------------------


def visible_returns(who: Membership) -> QuerySet[Return]:
    """The returns that the actor may read, at least in part; see `sees_in_full`."""
    returns = Return.objects.visible_to(who.account).filter(club=who.club)
    if who.may(SEES_ALL):
        return returns
    handed_in = Q(entered_by=who.account) & ~Q(source=Source.SHEET)
    own = Q(member=who.member)
    returns = returns.filter(own | Q(session_kind=SessionKind.MATCH) | handed_in)
    if who.may(SEES_MATCHES):
        return returns
    return returns.exclude(_of_the_guarded_today() & ~own)


def _of_the_guarded_today() -> Q:
    """Where a junior or an adult at risk is today is nobody's to read from a return."""
    return Q(fished_on__gte=LocalToday("club__time_zone")) & ~Q(member__protection=Protection.NONE)


def own_returns(who: Membership) -> QuerySet[Return]:
    """The actor's own returns of the club."""
    return visible_returns(who).filter(member=who.member)


def sees_in_full(who: Membership, session: Return) -> bool:
    """Whether the actor may also read the notes, and who entered it."""
    return (
        session.member_id == who.member.pk
        or who.may(SEES_ALL)
        or (who.may(SEES_MATCHES) and session.session_kind == SessionKind.MATCH)
        or (session.entered_by_id == who.account.pk and session.source != Source.SHEET)
    )


def with_children(returns: QuerySet[Return]) -> QuerySet[Return]:
    """With everything that a return shows, in a constant number of queries."""
    whole = returns.select_related(
        "club", "member", "water__club", "peg", "match", "conditions", "entered_by"
    )
    return with_spells_and_catch(whole).prefetch_related("entered_by__memberships")


def with_spells_and_catch(returns: QuerySet[Return]) -> QuerySet[Return]:
    parts = SessionPart.objects.select_related("method", "hook_bait", "feed", "rig_type")
    catch = CatchLine.objects.select_related("species").order_by("pk")
    return returns.prefetch_related(
        Prefetch("parts", parts.order_by("part_order")), Prefetch("catch_lines", catch)
    )


def of_peg(returns: QuerySet[Return], wanted: str) -> QuerySet[Return]:
    """The returns from a peg, by its uid or by its label as painted (which several waters may share)."""
    try:
        return returns.filter(peg__uid=uuid.UUID(wanted))
    except ValueError:
        return returns.filter(peg__label__iexact=wanted)


def find_return(who: Membership, uid: uuid.UUID) -> Return:
    """One return with its children. Raises `NotFound`."""
    found = with_children(visible_returns(who).filter(uid=uid)).first()
    if found is None:
        raise NotFound("There is no such return.")
    return found


def cautions_of(session: Return) -> list[Caution]:
    """What the hazards that stood at the return's peg on its day call for."""
    if session.peg_id is None:
        return []
    kinds = known_grounds(session.club).hazards_at(session.peg_id, session.fished_on)
    return hazard_cautions(water=session.water, hazards=kinds, on=session.fished_on) if kinds else []


def sky_of(session: Return) -> Sky:
    """Sun and Moon of the return's day at its water."""
    water = session.water
    return sky_for(
        latitude=float(water.latitude),
        longitude=float(water.longitude),
        on=session.fished_on,
        time_zone=zone_of(water),
    )
