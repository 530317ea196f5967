"""Erasure: a member becomes a pseudonym without a login, and nothing that was typed of or by them is kept.

The figures stay: which day, water and peg, what was caught. They belong to the club's statistics and name
nobody; fits know anglers by the public id of their line in the book, which stays, so no fit changes. What
goes, what stays and why is in docs/erasure.md.
"""

import logging
import secrets
import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Case, F, PositiveIntegerField, QuerySet, TextChoices, When

from clubdata.errors import Conflict
from clubdata.models import (
    Account,
    Amendment,
    AmendmentState,
    Club,
    Doubt,
    Invitation,
    Job,
    JobKind,
    Member,
    MemberRole,
    Protection,
    Return,
    Role,
    StagedReturn,
)
from clubdata.models.clubs import still_a_member
from clubdata.models.jobs import ENDED
from clubdata.services import traces
from clubdata.services.member_book import KEEPS_THE_BOOK, find_member
from clubdata.services.members import Membership
from clubdata.services.reports import ended_imports, rewrite

logger = logging.getLogger(__name__)

#: Stands where a sentence was.
ERASED: Final = "erased"
#: Fields of an amendment that hold what somebody typed, or whose return it is.
_PERSONAL: Final = frozenset({"notes", "member"})
_AT_ONCE: Final = 500


class Ground(TextChoices):
    """Why a member is erased. Codes, not a sentence: that would say something of the member again.

    They are those of Article 17(1) of the General Data Protection Regulation, (EU) 2016/679.
    """

    ASKED = "asked", "the member asked for it"
    NOT_NEEDED = "no_longer_needed", "the records are no longer needed"
    UNLAWFUL = "recorded_unlawfully", "they should not have been recorded"
    LAW = "required_by_law", "the law asks for it"


@dataclass(frozen=True, slots=True)
class Erased:
    """What is left: a line of the book under a number that says nothing, so many returns without notes."""

    uid: uuid.UUID
    number: str
    erased_at: datetime
    returns_kept: int


def erase(*, who: Membership, uid: uuid.UUID, now: datetime, ground: Ground) -> Erased:
    """Erase a member: the secretary anybody, a member only themselves. There is no way back.

    Raises `NotFound`, `NotAllowed`, and `Conflict` for a member who is erased already, for the last
    secretary, and while an import of the club is under way, whose report may still name the member.
    """
    found = find_member(who, uid)
    if found.pk != who.member.pk:
        who.require(KEEPS_THE_BOOK, "erase another member")
    with transaction.atomic():
        # Every write of a return ends with the club's row: none comes in between.
        club = Club.objects.select_for_update().get(pk=who.club.pk)
        member = Member.objects.select_for_update().get(pk=found.pk)
        _require_possible(club, member)
        account: Account | None = member.account
        number = f"erased-{secrets.token_hex(6)}"
        returns_kept = _forget_what_was_typed(member, account, now)
        _forget_sheets(club)
        traces.forget_replies(club, account)
        _become(member, number, now)
        if account is not None:
            _let_go(account, club)
        traces.rewrite_member_log(member, shown=number)
        transaction.on_commit(traces.wipe_freed_pages)
    logger.info("member erased: %s", ground.value, extra={"club": club.slug})
    return Erased(uid=member.uid, number=number, erased_at=now, returns_kept=returns_kept)


def _require_possible(club: Club, member: Member) -> None:
    if member.erased_at is not None:
        raise Conflict("This member was erased already.", code="already_erased")
    keepers = Member.objects.filter(still_a_member(), club=club, roles__role=Role.SECRETARY)
    if keepers.filter(pk=member.pk).exists() and not keepers.exclude(pk=member.pk).exists():
        raise Conflict("The club would have no secretary: give somebody else the role first.", field="roles")
    if Job.objects.filter(club=club, kind=JobKind.IMPORT).exclude(state__in=ENDED).exists():
        raise Conflict("An import is under way: wait until it has ended.", code="import_under_way")


def _become(member: Member, number: str, now: datetime) -> None:
    """The line of the book: the days of joining and leaving stay, whom they were is gone."""
    today = now.astimezone(ZoneInfo(member.club.time_zone)).date()
    MemberRole.objects.filter(member=member).delete()
    Invitation.objects.filter(member=member).delete()
    member.number, member.name, member.account = number, "", None
    member.contact = member.responsible_adult = member.access_needs = ""
    member.protection = Protection.NONE
    member.left_on = today if member.left_on is None else min(member.left_on, today)
    member.erased_at = now
    member.save()


def _let_go(account: Account, club: Club) -> None:
    """The login says nothing in this club any more, and goes unless somebody else's line has it.

    An operator's login is not the club's to delete.
    """
    traces.unlink_account(account, club)
    if not account.is_superuser and not Member.objects.filter(account=account).exists():
        traces.delete_account(account)


# --- What was typed --------------------------------------------------------------------------------------


def _forget_what_was_typed(member: Member, account: Account | None, now: datetime) -> int:
    """Notes, reasons and what amendments quote of them; how many returns stand."""
    of_member: QuerySet[Return] = Return.with_removed.filter(member=member)
    _forget_amendments(Amendment.objects.filter(session__member=member), now)
    doubts = Doubt.objects.filter(session__member=member)
    doubts.update(settled_reason="")
    # A version later, so that no amendment on its way lands on what it read; doubts go along.
    doubts.filter(version=F("session__version")).update(version=F("version") + 1)
    looked_at = Case(
        When(looked_at_version=F("version"), then=F("version") + 1),
        default=F("looked_at_version"),
        output_field=PositiveIntegerField(),
    )
    of_member.update(notes="", looked_at_version=looked_at, version=F("version") + 1)
    _change_sheet_keys(of_member)
    if account is not None:
        by_them: dict[str, Any] = {"club": member.club}
        Amendment.objects.filter(asked_by=account, **by_them).update(reason=ERASED)
        Amendment.objects.filter(settled_by=account, **by_them).update(settled_reason=ERASED)
        Doubt.objects.filter(settled_by=account, **by_them).update(settled_reason="")
    return of_member.filter(removed_at__isnull=True).count()


def _forget_amendments(rows: QuerySet[Amendment], now: datetime) -> None:
    """That a return was changed, when, and in which figures stays. What still waits is declined."""
    changed = []
    for row in rows.iterator(chunk_size=_AT_ONCE):
        row.reason, row.wanted = ERASED, None
        row.settled_reason = ERASED if row.settled_reason else ""
        row.changes = [_without_words(change) for change in row.changes]
        if row.state == AmendmentState.AWAITING:
            row.state, row.settled_at = AmendmentState.DECLINED, now
        changed.append(row)
    fields = ["reason", "wanted", "settled_reason", "changes", "state", "settled_at"]
    Amendment.objects.bulk_update(changed, fields, batch_size=_AT_ONCE)


def _without_words(change: dict[str, Any]) -> dict[str, Any]:
    return {**change, "from": None, "to": None} if change.get("field") in _PERSONAL else change


def _change_sheet_keys(returns: QuerySet[Return]) -> None:
    """A key at random for each return from a sheet: from no sheet's row can it be worked out again."""
    rows = list(returns.filter(sheet_key__isnull=False).only("pk"))
    for row in rows:
        row.sheet_key = secrets.token_hex(16)
    Return.with_removed.bulk_update(rows, ["sheet_key"], batch_size=_AT_ONCE)


def _forget_sheets(club: Club) -> None:
    """Sheets name members in any cell: their rows, files and quotes go, of all the club's ended imports."""
    imports = ended_imports(club)
    StagedReturn.objects.filter(job__in=imports).delete()
    names = traces.upload_names(imports)
    transaction.on_commit(lambda: traces.remove_uploads(names))
    rewrite(imports, whole=False)
