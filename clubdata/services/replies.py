"""Requests that a client may send again: the first answer is kept under its key, and given again.

As the IETF's draft has it (draft-ietf-httpapi-idempotency-key-header): the same key with another request is
refused, and so is one whose first request is still being worked on. Key, work and answer are one transaction:
a request that fails or is cut off leaves nothing, and its key is free again.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from django.db import IntegrityError, OperationalError, connection, transaction

from clubdata.errors import ClubdataError, Conflict
from clubdata.models import Account, Club, StoredReply

LONGEST_KEY = 255
#: How long a second request waits for the first to end, before it is told to come back.
LONGEST_WAIT_S = 5


class KeyReused(ClubdataError):
    """The key came with another request before."""

    code = "key_reused"


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer: HTTP status, the headers that are its own, and its body as text."""

    status: int
    body: str
    headers: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Keyed:
    """Who sends which key with what: `fingerprint` is a digest of method, address and content."""

    account: Account
    club: Club
    key: str
    fingerprint: str


def answer_once(*, keyed: Keyed, now: datetime, work: Callable[[], Reply]) -> Reply:
    """The answer to the first request with this key: `work`'s own, or the one that was kept.

    Raises `KeyReused` when the key stands for another request, `Conflict` while the first is worked on, and
    whatever `work` raises.
    """
    kept = _kept(keyed)
    if kept is not None:
        return kept
    try:
        with transaction.atomic():
            row = _take(keyed, now)
            reply = work()
            row.status, row.headers, row.body = reply.status, reply.headers, reply.body
            row.save(update_fields=["status", "headers", "body"])
            return reply
    except IntegrityError:
        # The other of two at once was first; or the fault is the work's own.
        kept = _kept(keyed)
        if kept is None:
            raise
        return kept


def _kept(keyed: Keyed) -> Reply | None:
    row = StoredReply.objects.filter(account=keyed.account, key=keyed.key).first()
    if row is None:
        return None
    if row.fingerprint != keyed.fingerprint:
        raise KeyReused("This key came with another request before: make a new one.", field="Idempotency-Key")
    return Reply(status=row.status or 0, body=row.body, headers=row.headers)


def _take(keyed: Keyed, now: datetime) -> StoredReply:
    """The key's row. A second request waits here until the first has ended, but not for ever."""
    try:
        with _waiting_at_most(LONGEST_WAIT_S):
            _before_any_erasure(keyed.club)
            return StoredReply.objects.create(
                account=keyed.account,
                club=keyed.club,
                key=keyed.key,
                fingerprint=keyed.fingerprint,
                created_at=now,
            )
    except OperationalError:
        raise Conflict(
            "The first request with this key is still being worked on: send it again in a while.",
            field="Idempotency-Key",
        ) from None


def _before_any_erasure(club: Club) -> None:
    """Wait for an erasure that is under way, and let none begin before this answer is kept.

    It could keep the name of whom the erasure has just taken out of all answers that it saw. Anybody else's
    work goes on: of the club's row only the key is held. SQLite writes one after another anyway.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            table = connection.ops.quote_name(Club._meta.db_table)
            cursor.execute(f"SELECT 1 FROM {table} WHERE id = %s FOR KEY SHARE", [club.pk])  # noqa: S608


class _waiting_at_most:  # noqa: N801 - reads as a clause
    """Bounds the wait for another transaction's row; SQLite has a bound of its own."""

    def __init__(self, seconds: int) -> None:
        self.seconds = seconds

    def __enter__(self) -> None:
        self._set(f"{self.seconds}s")

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is None:  # else the transaction is over
            self._set("0")

    @staticmethod
    def _set(value: str) -> None:
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT set_config('lock_timeout', %s, true)", [value])
