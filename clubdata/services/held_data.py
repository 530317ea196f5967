"""Everything that a club holds on a member, as tables of plain values: what a member may ask to be told.

The right of access is Article 15 of the General Data Protection Regulation, (EU) 2016/679. Keys' digests and
passwords are withheld, as they open doors; of other people there is no more than their number in the book.
"""

import logging
import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import models

from clubdata.models import (
    AccessToken,
    Account,
    Amendment,
    Attendance,
    CatchLine,
    Club,
    ClubRule,
    Conditions,
    Doubt,
    Invitation,
    Job,
    Member,
    MemberRole,
    Return,
    SessionPart,
    SignIn,
    StoredReply,
)
from clubdata.services import traces
from clubdata.services.member_book import KEEPS_THE_BOOK, find_member
from clubdata.services.members import Membership

logger = logging.getLogger(__name__)

#: Columns that open doors, or are keys of this service alone.
_WITHHELD: Final = frozenset(
    {"id", "club", "digest", "name_digest", "address_digest", "fingerprint", "sheet_key", "body", "headers"}
)
#: How a record that another one names is told, the first that it has.
_TOLD_BY: Final = ("number", "label", "code", "name")


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of as many plain values as there are columns."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True)
class Held:
    """Tables by name; without rows where nothing is held."""

    member: uuid.UUID
    told_at: datetime
    tables: dict[str, Table]


def held_on(*, who: Membership, uid: uuid.UUID, now: datetime) -> Held:
    """What the club holds on a member: theirs to ask, and the secretary's. Raises `NotFound`, `NotAllowed`.

    A login's devices, sign-ins and kept answers are its owner's alone: they may be of other clubs too.
    """
    member = find_member(who, uid)
    if member.pk != who.member.pk:
        who.require(KEEPS_THE_BOOK, "be told what the club holds on another member")
    logger.info("told what is held on a member", extra={"club": who.club.slug})
    numbers = _Numbers(who.club)
    tables = {name: _table(*found, numbers) for name, found in _of_the_club(member).items()}
    if member.pk == who.member.pk:
        tables |= {name: _table(*found, numbers) for name, found in _of_the_login(who.account).items()}
    return Held(member.uid, now, tables)


#: Rows, and the columns that are told of them: all but what is withheld where none are named.
_Found = tuple[models.QuerySet[Any], tuple[str, ...]]


def _of_the_club(member: Member) -> dict[str, _Found]:
    returns: models.QuerySet[Return] = Return.with_removed.filter(member=member)
    found: dict[str, _Found] = {
        "member": (Member.objects.filter(pk=member.pk), ()),
        "roles": (MemberRole.objects.filter(member=member), ()),
        "invitations": (Invitation.objects.filter(member=member), ()),
        "attendance": (Attendance.objects.filter(member=member), ()),
        "returns": (returns, ()),
        "book_log": (traces.member_log(member), ("action_time", "object_repr", "change_message")),
    }
    for name, of_a_return in _OF_A_RETURN.items():
        found[name] = (of_a_return._base_manager.filter(session__in=returns), ())
    if member.account is None:
        return found
    # What they did in the club's records of others: that they did it, and what they wrote.
    club, by_them = member.club, member.account
    others = Amendment.objects.filter(club=club).exclude(session__member=member)
    return found | {
        "returns_entered_for_others": (
            Return.with_removed.filter(club=club, entered_by=by_them).exclude(member=member),
            ("uid", "entered_at"),
        ),
        "amendments_asked_of_others": (others.filter(asked_by=by_them), ("uid", "asked_at", "reason")),
        "amendments_settled": (
            Amendment.objects.filter(club=club, settled_by=by_them),
            ("uid", "settled_at", "settled_reason"),
        ),
        "doubts_settled": (
            Doubt.objects.filter(club=club, settled_by=by_them),
            ("uid", "settled_at", "settled_reason"),
        ),
        "attendance_noted": (Attendance.objects.filter(club=club, noted_by=by_them), ("uid", "noted_at")),
        "rules_worded": (ClubRule.objects.filter(club=club, edited_by=by_them), ("name", "edited_at")),
        "jobs": (Job.objects.filter(club=club, requested_by=by_them), ("uid", "kind", "state", "created_at")),
    }


_OF_A_RETURN: Final[dict[str, type[models.Model]]] = {
    "parts": SessionPart,
    "catch": CatchLine,
    "conditions": Conditions,
    "amendments": Amendment,
    "doubts": Doubt,
}


def _of_the_login(account: Account) -> dict[str, _Found]:
    return {
        "login": (Account.objects.filter(pk=account.pk), ("username", "date_joined", "last_login")),
        "devices": (AccessToken.objects.filter(account=account), ()),
        "sign_ins": (SignIn.objects.filter(account=account), ()),
        "sessions": (traces.sessions_of(account), ("expire_date",)),
        "kept_answers": (StoredReply.objects.filter(account=account), ("key", "created_at", "status")),
    }


def _table(rows: models.QuerySet[Any], told: tuple[str, ...], numbers: "_Numbers") -> Table:
    """In the order in which the records came to be."""
    fields = {field.name: field for field in rows.model._meta.concrete_fields}
    columns = told or tuple(name for name in fields if name not in _WITHHELD)
    named = [name for name in columns if fields[name].is_relation]
    read = rows.select_related(*named).order_by("pk").iterator(chunk_size=500)
    return Table(
        columns, tuple(tuple(_told(getattr(row, name), numbers) for name in columns) for row in read)
    )


def _told(value: Any, numbers: "_Numbers") -> Any:
    if isinstance(value, Account):
        return numbers.of(value)
    if isinstance(value, models.Model):
        return str(getattr(value, next((name for name in _TOLD_BY if hasattr(value, name)), "uid")))
    return value


class _Numbers:
    """Numbers in the club's book by login."""

    def __init__(self, club: Club) -> None:
        lines = Member.objects.filter(club=club, account__isnull=False).values_list("account", "number")
        self._of: dict[int, str] = dict(lines)

    def of(self, account: Account) -> str | None:
        """None for an operator who is no member."""
        return self._of.get(account.pk)
