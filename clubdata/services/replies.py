"""Requests that a client may send again: the first answer is kept under its key, and given again.

As the IETF's draft has it (draft-ietf-httpapi-idempotency-key-header): the same key with another request is
refused, and so is one whose first request is still being worked on. Key, work and answer are one transaction:
a request that fails or is cut off leaves nothing, and its key is free again.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from django.db import IntegrityError, OperationalError, connection, transaction

from clubdata.errors import ClubdataError, Conflict
from clubdata.models import Account, Club, StoredReply
from clubdata.models.clubs import revisions_raised_at_the_end

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
    try:
        with transaction.atomic(), revisions_raised_at_the_end():
            taken = _take(keyed, now)
            reply = work()
            _keep(reply, taken)
            return reply
    except IntegrityError:
        # Another was first, long ago or just now; or the fault is the work's own.
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


def _take(keyed: Keyed, now: datetime) -> int:
    """The key of the row that is this key's. A second request waits here until the first has ended, but not
    for ever."""
    take = _taken_at_once if connection.vendor == "postgresql" else _taken
    try:
        return take(keyed, now)
    except OperationalError:
        raise Conflict(
            "The first request with this key is still being worked on: send it again in a while.",
            field="Idempotency-Key",
        ) from None


def _taken(keyed: Keyed, now: datetime) -> int:
    row = StoredReply.objects.create(
        account=keyed.account,
        club=keyed.club,
        key=keyed.key,
        fingerprint=keyed.fingerprint,
        created_at=now,
    )
    return int(row.pk)


# In plain SQL and one round trip each: every request with a key makes them. The wait is bounded before
# anything is waited for, since each step takes what the one before has found, and is not any more for the
# work that follows.
#
# An erasure that is under way is waited for, and none begins before this answer is kept: the answer could
# keep the name of whom the erasure has just taken out of all answers that it saw. Anybody else's work goes
# on: of the club's row only the key is held. (SQLite writes one after another, and bounds the wait itself.)
_TAKE = """
WITH bounded AS MATERIALIZED (SELECT set_config('lock_timeout', %s, true)),
held AS MATERIALIZED (
    SELECT club.id FROM clubdata_club club, bounded WHERE club.id = %s FOR KEY SHARE OF club
),
taken AS (
    INSERT INTO clubdata_storedreply (account_id, club_id, key, fingerprint, created_at, headers, body)
    SELECT %s, held.id, %s, %s, %s, '{}'::jsonb, '' FROM held RETURNING id
)
SELECT taken.id, set_config('lock_timeout', '0', true) FROM taken
"""
_KEEP = "UPDATE clubdata_storedreply SET status = %s, headers = %s, body = %s WHERE id = %s"


# Whether all that was written points at what is there is asked now: at the commit others would wait for the
# answer, since by then the club's row is held. (SQLite lets nobody else write anyway.)
_NOW = "SET CONSTRAINTS ALL IMMEDIATE; "


def _keep(reply: Reply, taken: int) -> None:
    statement = _NOW + _KEEP if connection.vendor == "postgresql" else _KEEP
    with connection.cursor() as cursor:
        cursor.execute(statement, (reply.status, json.dumps(reply.headers), reply.body, taken))


def _taken_at_once(keyed: Keyed, now: datetime) -> int:
    told = (f"{LONGEST_WAIT_S}s", keyed.club.pk, keyed.account.pk, keyed.key, keyed.fingerprint, now)
    with connection.cursor() as cursor:
        cursor.execute(_TAKE, told)
        return int(cursor.fetchone()[0])
