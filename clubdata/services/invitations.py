"""Invitations: a link that opens one login for one member, once, within a week."""

import secrets
import uuid
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import QuerySet

from clubdata.errors import Conflict, NotFound
from clubdata.models import AccessToken, Account, Invitation, Member
from clubdata.models.clubs import still_a_member
from clubdata.services.accounts import KEY_BYTES, open_account
from clubdata.services.member_book import KEEPS_THE_BOOK, find_member
from clubdata.services.members import Membership

LIFETIME: Final = timedelta(days=7)


def invite(*, who: Membership, member_uid: uuid.UUID, now: datetime) -> tuple[Invitation, str]:
    """An invitation and its key, which is in the answer and nowhere else. An earlier one no longer opens.

    Raises `NotFound`, and `Conflict` for a member who has a login or who has left.
    """
    who.require(KEEPS_THE_BOOK, "invite a member")
    member = find_member(who, member_uid)
    if member.account_id is not None:
        raise Conflict("This member has a login already.", field="member")
    if not Member.objects.filter(still_a_member(), pk=member.pk).exists():
        raise Conflict("This member has left.", field="member")
    key = secrets.token_urlsafe(KEY_BYTES)
    with transaction.atomic():
        _open_ones(member).update(withdrawn_at=now)
        made = Invitation.objects.create(
            club=who.club,
            member=member,
            digest=AccessToken.digest_of(key),
            created_by=who.account,
            created_at=now,
            expires_at=now + LIFETIME,
        )
    return made, key


def invitations_to(*, who: Membership, member_uid: uuid.UUID) -> QuerySet[Invitation]:
    """A member's invitations, for whoever keeps the book."""
    who.require(KEEPS_THE_BOOK, "look into invitations")
    return Invitation.objects.filter(club=who.club, member=find_member(who, member_uid))


def withdraw(*, who: Membership, uid: uuid.UUID, now: datetime) -> None:
    """Its key opens nothing from now on. Raises `NotFound`."""
    who.require(KEEPS_THE_BOOK, "withdraw an invitation")
    found = Invitation.objects.visible_to(who.account).filter(club=who.club, uid=uid).first()
    if found is None:
        raise NotFound("There is no such invitation.")
    Invitation.objects.filter(pk=found.pk, used_at__isnull=True, withdrawn_at__isnull=True).update(
        withdrawn_at=now
    )


def accept(*, key: str, username: str, password: str, now: datetime) -> Account:
    """Open the invited member's login.

    Raises `NotFound` for a key that opens nothing, whyever; `Conflict` for a name that is taken and
    `InvalidInput` for a password that will not do, and the key can be used again.
    """
    with transaction.atomic():
        member = _taken(key, now)
        return open_account(member=member, username=username, password=password, actor=None, now=now)


def join(*, account: Account, key: str, now: datetime) -> Member:
    """Let a login that exists, as of a member of another club, be the invited member's too."""
    with transaction.atomic():
        member = _taken(key, now)
        if Member.objects.filter(club=member.club, account=account).exists():
            raise Conflict("This login is another member of the club already.")
        Member.objects.filter(pk=member.pk).update(account=account)
        return member


def _taken(key: str, now: datetime) -> Member:
    """The member of an open invitation, which is used up by this: of two at once one finds it used."""
    digest = AccessToken.digest_of(key)
    found = Invitation.objects.select_related("member__club").filter(digest=digest).first()
    if found is None or not found.opens_at(now):
        raise NotFound("This invitation opens nothing.")
    used = Invitation.objects.filter(pk=found.pk, used_at__isnull=True, withdrawn_at__isnull=True)
    locked = Member.objects.select_for_update().filter(still_a_member(), pk=found.member_id)
    if used.update(used_at=now) != 1 or not locked.filter(account__isnull=True).exists():
        raise NotFound("This invitation opens nothing.")
    member: Member = found.member
    return member


def _open_ones(member: Member) -> QuerySet[Invitation]:
    return Invitation.objects.filter(member=member, used_at__isnull=True, withdrawn_at__isnull=True)
