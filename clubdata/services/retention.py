"""Retention: what is kept for a time only, and then forgotten, by the days in `settings.KEEP_DAYS`.

Weather readings, returns that stand and their amendments are kept for good.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from clubdata.models import AccessToken, Invitation, Job, JobKind, Return, SignIn, StagedReturn, StoredReply
from clubdata.models.jobs import ENDED
from clubdata.services import traces
from clubdata.services.reports import ended_imports, rewrite

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Forgotten:
    """How many of each were forgotten."""

    replies: int
    sheets: int
    staged_rows: int
    reports: int
    sign_ins: int
    tokens: int
    invitations: int
    removed_returns: int
    sessions: int


def forget_old(*, now: datetime) -> Forgotten:
    """Forget what has been kept long enough. A second time at the same moment forgets nothing more."""
    counts: dict[str, int] = {}
    for name, forget in _FORGET.items():
        with transaction.atomic():
            counts[name] = forget(now)
    transaction.on_commit(traces.wipe_freed_pages)
    forgotten = Forgotten(**counts)
    if any(counts.values()):
        logger.info("forgotten: %s", ", ".join(f"{one.name} {counts[one.name]}" for one in fields(forgotten)))
    return forgotten


def _before(now: datetime, kind: str) -> datetime:
    return now - timedelta(days=settings.KEEP_DAYS[kind])


def _replies(now: datetime) -> int:
    return StoredReply.objects.filter(created_at__lt=_before(now, "replies")).delete()[0]


def _sheets(now: datetime) -> int:
    """The files of imports that ended long ago, and old ones that no import of today names."""
    long_ago = _before(now, "sheets")
    ended = traces.upload_names(ended_imports().filter(finished_at__lt=long_ago))
    named = set(traces.upload_names(Job.objects.filter(kind=JobKind.IMPORT)))
    strays = [
        path.name
        for path in Path(settings.UPLOAD_DIR).glob("*")
        if path.name not in named and path.is_file() and path.stat().st_mtime < long_ago.timestamp()
    ]
    return traces.remove_uploads([*ended, *strays])


def _staged_rows(now: datetime) -> int:
    ended = Job.objects.filter(state__in=ENDED, finished_at__lt=_before(now, "sheets"))
    return StagedReturn.objects.filter(job__in=ended).delete()[0]


def _reports(now: datetime) -> int:
    """An import's counts stay; what it quoted goes."""
    return rewrite(ended_imports().filter(finished_at__lt=_before(now, "reports")), whole=True)


def _sign_ins(now: datetime) -> int:
    return SignIn.objects.filter(at__lt=_before(now, "sign_ins")).delete()[0]


def _tokens(now: datetime) -> int:
    long_ago = _before(now, "tokens")
    return AccessToken.objects.filter(Q(revoked_at__lt=long_ago) | Q(expires_at__lt=long_ago)).delete()[0]


def _invitations(now: datetime) -> int:
    """A used one stays while anything of its login is older: it says from when that is the club's to see."""
    long_ago = _before(now, "invitations")
    account = OuterRef("member__account")
    older = Exists(AccessToken.objects.filter(account=account, created_at__lt=OuterRef("used_at"))) | Exists(
        SignIn.objects.filter(account=account, at__lt=OuterRef("used_at"))
    )
    closed = Q(withdrawn_at__lt=long_ago) | Q(used_at__isnull=True, expires_at__lt=long_ago)
    forgotten = Invitation.objects.filter(closed | (Q(used_at__lt=long_ago) & ~older))
    return forgotten.delete()[0]


def _removed_returns(now: datetime) -> int:
    """With all that hangs on them. They counted nowhere, so no fit is stale."""
    removed = Return.with_removed.filter(removed_at__lt=_before(now, "removed_returns"))
    return removed.delete()[1].get(Return._meta.label, 0)


def _sessions(now: datetime) -> int:
    return Session.objects.filter(expire_date__lt=now).delete()[0]


_FORGET: dict[str, Callable[[datetime], int]] = {
    "replies": _replies,
    "sheets": _sheets,
    "staged_rows": _staged_rows,
    "reports": _reports,
    "sign_ins": _sign_ins,
    "tokens": _tokens,
    "invitations": _invitations,
    "removed_returns": _removed_returns,
    "sessions": _sessions,
}
