"""Amendments: what changes a return after it was handed in, by whom, and with whose consent.

Every change is kept. A member amends own returns, an organiser those of matches, the secretary all. Once a
match's result is final only an organiser amends its returns, and what touches the organiser's own waits for
a second person.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, QuerySet

from clubdata.errors import Conflict, InvalidInput, NotAllowed, NotFound
from clubdata.models import (
    Amendment,
    AmendmentKind,
    AmendmentState,
    CatchLine,
    Conditions,
    Return,
    Role,
    SessionKind,
    SessionPart,
)
from clubdata.services.doubts import look, with_figures
from clubdata.services.drafts import Draft, draft
from clubdata.services.faults import VersionMoved
from clubdata.services.hand_ins import HandIn, PartInput
from clubdata.services.handed import as_hand_in, differences, from_plain, to_plain
from clubdata.services.matches import require_open
from clubdata.services.members import Membership
from clubdata.services.returns import find_return, sees_in_full, with_children
from clubdata.services.said_weights import with_outcome
from clubdata.services.weather import conditions_after

AMENDS_ALL = frozenset({Role.SECRETARY})
AMENDS_MATCHES = frozenset({Role.ORGANISER})
CONSENTS = frozenset({Role.ORGANISER, Role.SECRETARY})
# A total's columns, which only a new weight or outcome rewrites: a sheet's words need not parse again.
_TOTAL = ("weight_g", "weight_typed", "weight_unit", "weight_step")
_OF_THE_WEIGHT = frozenset({"weight", "outcome"})


@dataclass(frozen=True, slots=True)
class Wish:
    """What an actor wants of a return at a version, and why. `given` are fields of a hand-in."""

    kind: AmendmentKind
    version: int
    reason: str
    given: Mapping[str, Any]
    part: PartInput | None = None


def ask(*, who: Membership, uid: uuid.UUID, now: datetime, wish: Wish) -> Amendment:
    """Amend or remove a return, or leave the wish for a second person; the amendment says which.

    Raises `NotFound`, `NotAllowed`, `Conflict` (`result_is_final`), `VersionMoved`, and `ManyInvalid` for
    what could not be handed in either. Nothing has changed then.
    """
    session = find_return(who, uid)
    _require(who, session)
    stored = as_hand_in(session)
    wanted = _merged(stored, wish)
    if session.version != wish.version:
        raise _moved(stored, with_outcome(wanted, who.club))
    made = None if wish.kind == AmendmentKind.REMOVAL else _drafted(who, session, now, wanted, wish)
    if made is not None:
        require_open(who, made.session["match_id"])
    row = Amendment(
        club=who.club,
        session=session,
        kind=wish.kind,
        reason=wish.reason,
        version_before=session.version,
        asked_by=who.account,
        asked_at=now,
    )
    try:
        with transaction.atomic():
            who.club.in_turn()
            if _needs_a_second(who, session):
                row.state, row.wanted = AmendmentState.AWAITING, to_plain(wanted)
                row.changes = differences(to_plain(stored), to_plain(wanted))
                row.save(force_insert=True)
            else:
                _carry_out(row, session, stored, made, now)
                row.state = AmendmentState.MADE
                row.save(force_insert=True)
    except IntegrityError:
        raise Conflict("Another amendment of this return waits for a second person.", field="uid") from None
    return row


def settle(*, who: Membership, uid: uuid.UUID, now: datetime, agrees: bool, reason: str) -> Amendment:
    """A second person's word on an amendment that waits for one. Raises `NotFound`, `Conflict`."""
    who.require(CONSENTS, "settle an amendment")
    with transaction.atomic():
        who.club.in_turn()
        waiting = Amendment.objects.visible_to(who.account).filter(club=who.club, uid=uid)
        row: Amendment | None = waiting.select_for_update().first()
        if row is None:
            raise NotFound("There is no such amendment.")
        if row.state != AmendmentState.AWAITING:
            raise Conflict("This amendment is settled already.", field="state")
        session = with_children(Return.objects.filter(pk=row.session_id)).first()
        if session is None:
            raise Conflict("The return was removed meanwhile.", field="session")
        if who.account.pk == row.asked_by_id or who.member.pk == session.member_id:
            raise Conflict("It takes a second person, whose own result it is not.", code="second_person")
        if agrees:
            _carry_out_awaiting(who, row, session, now)
        row.state = AmendmentState.MADE if agrees else AmendmentState.DECLINED
        row.wanted = None
        row.settled_by, row.settled_at, row.settled_reason = who.account, now, reason
        row.save()
    return row


def restore(*, who: Membership, uid: uuid.UUID, now: datetime, reason: str) -> Amendment:
    """Bring a removed return back. Raises `NotFound` for one that is not removed."""
    who.require(AMENDS_ALL, "restore a removed return")
    with transaction.atomic():
        who.club.in_turn()
        removed = Return.with_removed.visible_to(who.account).filter(club=who.club, removed_at__isnull=False)
        session: Return | None = removed.select_for_update().filter(uid=uid).first()
        if session is None:
            raise NotFound("There is no such return.")
        Return.with_removed.filter(pk=session.pk).update(
            removed_at=None, removed_by=None, changed_at=now, version=F("version") + 1
        )
        again = with_figures(Return.objects.filter(pk=session.pk)).get()
        look(session=again, now=now, by=who.account, figures_changed=False)
        who.club.raise_revision()
        return Amendment.objects.create(
            club=who.club,
            session=session,
            kind=AmendmentKind.RESTORATION,
            state=AmendmentState.MADE,
            reason=reason,
            version_before=session.version,
            asked_by=who.account,
            asked_at=now,
        )


# --- Reading ------------------------------------------------------------------------------------------


def removed_returns(who: Membership) -> QuerySet[Return]:
    """What was removed, for the secretary."""
    who.require(AMENDS_ALL, "look into removed returns")
    removed: QuerySet[Return] = Return.with_removed.visible_to(who.account)
    return removed.filter(club=who.club, removed_at__isnull=False)


def history_of(who: Membership, uid: uuid.UUID) -> QuerySet[Amendment]:
    """The amendments of a return, for who reads the return in full. Raises `NotFound`, `NotAllowed`."""
    session = find_return(who, uid)
    if not sees_in_full(who, session):
        raise NotAllowed("Only who reads a return in full may read how it changed.")
    return _with_people(Amendment.objects.visible_to(who.account).filter(session=session))


def awaiting_amendments(who: Membership) -> QuerySet[Amendment]:
    """What waits for a second person, for those who may be one."""
    who.require(CONSENTS, "look into amendments that wait")
    waiting = Amendment.objects.visible_to(who.account).filter(club=who.club)
    return _with_people(waiting.filter(state=AmendmentState.AWAITING))


def _with_people(rows: QuerySet[Amendment]) -> QuerySet[Amendment]:
    return rows.select_related("session", "asked_by", "settled_by").prefetch_related(
        "asked_by__memberships", "settled_by__memberships"
    )


# --- Who may ------------------------------------------------------------------------------------------


def _require(who: Membership, session: Return) -> None:
    require_open(who, session.match_id)
    is_match = session.session_kind == SessionKind.MATCH
    own = session.member_id == who.member.pk
    if not (own or who.may(AMENDS_ALL) or (is_match and who.may(AMENDS_MATCHES))):
        raise NotAllowed("You may amend your own returns only.")


def _needs_a_second(who: Membership, session: Return) -> bool:
    final = session.match is not None and session.match.final_at is not None
    return final and session.member_id == who.member.pk


# --- From a wish to rows ------------------------------------------------------------------------------


def _merged(stored: HandIn, wish: Wish) -> HandIn:
    given = dict(wish.given)
    if wish.part is not None:
        if len(stored.parts) > 1:
            raise InvalidInput("It has several parts: say which by sending 'parts'.", field="parts")
        old = stored.parts[0] if stored.parts else PartInput()
        said = {name: value for name in SHORT_NAMES if (value := getattr(wish.part, name)) not in {"", None}}
        given["parts"] = (replace(old, **said),)
    if "weight" in given and "outcome" not in given:
        given["outcome"] = ""
    return replace(stored, **given)


SHORT_NAMES = ("method", "hook_bait", "feed", "rig_type", "distance_m")


def _moved(stored: HandIn, wanted: HandIn) -> VersionMoved:
    now_stands = differences(to_plain(wanted), to_plain(stored))
    return VersionMoved(
        tuple(
            InvalidInput(
                f"You sent {item['from']!r}; {item['to']!r} stands.", field=item["field"], code="differs"
            )
            for item in now_stands
        )
    )


def _drafted(who: Membership, session: Return, now: datetime, wanted: HandIn, wish: Wish) -> Draft:
    weighed_anew = bool(_OF_THE_WEIGHT & set(wish.given))
    if not weighed_anew and session.weight_g:
        wanted = replace(wanted, weight=f"{session.weight_g} g")
    made = draft(who=who, now=now, data=wanted, of=session.member)
    made.session.pop("source")
    if not weighed_anew:
        for column in _TOTAL:
            made.session.pop(column)
    return made


def _carry_out_awaiting(who: Membership, row: Amendment, session: Return, now: datetime) -> None:
    stored = as_hand_in(session)
    if session.version != row.version_before or row.wanted is None:
        raise Conflict("The return has changed since this was asked for.", field="version")
    made = None
    if row.kind != AmendmentKind.REMOVAL:
        wanted = from_plain(row.wanted)
        changed = {item["field"] for item in row.changes}
        if "member" not in changed:
            # Whose it is stays, whatever their number is by now.
            wanted = replace(wanted, member=session.member.number)
        given = {name: getattr(wanted, name) for name in _OF_THE_WEIGHT & changed}
        wish = Wish(AmendmentKind.CHANGE, session.version, row.reason, given)
        made = _drafted(who, session, now, wanted, wish)
    _carry_out(row, session, stored, made, now)


def _carry_out(row: Amendment, session: Return, stored: HandIn, made: Draft | None, now: datetime) -> None:
    """Write the change on the version that was read; `changes` become what came of it."""
    mine = Return.objects.filter(pk=session.pk, version=row.version_before)
    if made is None:
        columns: dict[str, Any] = {"removed_at": now, "removed_by": row.asked_by}
    else:
        columns = made.session
    if mine.update(**columns, changed_at=now, version=F("version") + 1) != 1:
        raise VersionMoved(())
    if made is not None:
        _replace_children(session, made)
        again = with_children(Return.objects.filter(pk=session.pk)).get()
        row.changes = differences(to_plain(stored), to_plain(as_hand_in(again)))
        figures_changed = any(change["field"] != "notes" for change in row.changes)
        look(session=again, now=now, by=row.asked_by, figures_changed=figures_changed)
    row.club.raise_revision()


def _replace_children(session: Return, made: Draft) -> None:
    """The parts, catch and conditions anew: they are few, and have no identity of their own outside."""
    of = {"club_id": session.club_id, "session": session}
    SessionPart.objects.filter(session=session).delete()
    SessionPart.objects.bulk_create(SessionPart(**of, **columns) for columns in made.parts)
    CatchLine.objects.filter(session=session).delete()
    CatchLine.objects.bulk_create(CatchLine(**of, **columns) for columns in made.catch)
    before = Conditions.objects.filter(session=session).first()
    Conditions.objects.filter(session=session).delete()
    columns = conditions_after(session, before, made)
    if columns is not None:
        Conditions.objects.create(club_id=session.club_id, session=session, **columns)
