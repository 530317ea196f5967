"""Logins and the keys of their devices: opened, issued, revoked."""

import secrets
import uuid
from datetime import datetime, timedelta

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from clubdata.errors import Conflict, InvalidInput, NotFound
from clubdata.models import AccessToken, Account, Member, Role
from clubdata.services.members import membership

KEY_BYTES = 32
LONGEST_LIFETIME = timedelta(days=400)


@transaction.atomic
def open_account(
    *, member: Member, username: str, password: str | None, actor: Account | None, now: datetime
) -> Account:
    """Give a member a login; without a password the account opens by token alone.

    `actor` is a secretary of the club, or None from the command line. Raises `Conflict` when the member
    has a login or the name is taken, `InvalidInput` for a name or a password that will not do.
    """
    if actor is not None:
        who = membership(actor=actor, slug=member.club.slug)
        who.require(frozenset({Role.SECRETARY}), "open a login for a member")
    locked = Member.objects.select_for_update().get(pk=member.pk)
    if locked.erased_at is not None:
        raise Conflict("This member was erased: there is nobody to sign in.", code="already_erased")
    if locked.account_id is not None:
        raise Conflict("This member has a login already.", field="member")
    account = Account(username=username, date_joined=now)
    try:
        account.clean_fields(exclude=["password"])
        if password is not None:
            validate_password(password, account)
    except ValidationError as wrong:
        field = "username" if hasattr(wrong, "error_dict") else "password"
        raise InvalidInput(" ".join(wrong.messages), field=field) from None
    if password is None:
        account.set_unusable_password()
    else:
        account.set_password(password)
    try:
        with transaction.atomic():
            account.save(force_insert=True)
    except IntegrityError:
        raise Conflict("This login name is taken.", field="username") from None
    Member.objects.filter(pk=locked.pk).update(account=account)
    member.account = account
    return account


def issue_token(
    *, account: Account, device: str, now: datetime, lifetime: timedelta
) -> tuple[AccessToken, str]:
    """A key for one device. The key is in the answer and nowhere else: only its digest is stored."""
    if not timedelta() < lifetime <= LONGEST_LIFETIME:
        raise InvalidInput(
            f"A token lives for more than no time and at most {LONGEST_LIFETIME.days} days.", field="lifetime"
        )
    key = secrets.token_urlsafe(KEY_BYTES)
    token = AccessToken.objects.create(
        account=account,
        device=device[:80],
        digest=AccessToken.digest_of(key),
        created_at=now,
        expires_at=now + lifetime,
    )
    return token, key


def own_tokens(account: Account) -> QuerySet[AccessToken]:
    """The keys of the account's devices."""
    return AccessToken.objects.filter(account=account)


def revoke_own_token(*, account: Account, uid: uuid.UUID, now: datetime) -> None:
    """Close one of the account's own keys. Raises `NotFound` for anybody else's."""
    token = own_tokens(account).filter(uid=uid).first()
    if token is None:
        raise NotFound("There is no such device.")
    revoke_token(token=token, now=now)


def revoke_token(*, token: AccessToken, now: datetime) -> None:
    """Close a key for good; a second time changes nothing."""
    AccessToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=now)
    token.refresh_from_db()
