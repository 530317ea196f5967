"""What is kept of people beside the club's own records: uploads, sessions, copies of answers, log lines."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db import connection, models

from clubdata.models import Account, Club, Job, Member, SignIn, StoredReply
from clubdata.services.sign_ins import Attempt

#: How long freed pages are waited for: what a reader still holds goes with the next call.
_PATIENCE_MS = 1_000


def upload_names(jobs: models.QuerySet[Job]) -> list[str]:
    """The names under which the sheets of these imports lie, as far as they still do."""
    payloads = jobs.filter(payload__has_key="path").values_list("payload", flat=True)
    return [str(payload["path"]) for payload in payloads.iterator()]


def remove_uploads(names: Iterable[str]) -> int:
    """Remove these files of the upload directory; how many there were."""
    paths = [Path(settings.UPLOAD_DIR) / name for name in names if name and Path(name).name == name]
    there = [path for path in paths if path.is_file()]
    for path in there:
        path.unlink(missing_ok=True)
    return len(there)


def unlink_account(account: Account, club: Club) -> None:
    """Let no record of the club say that this login made it; also not that it is a member's."""
    for model, field in _account_fields():
        model._base_manager.filter(club=club, **{field: account}).update(**{field: None})


def _account_fields() -> Iterable[tuple[Any, str]]:
    """The nullable keys of a login in records of a club, of whatever application."""
    for model in apps.get_models():
        fields = {field.name: field for field in model._meta.concrete_fields}
        if "club" in fields and fields["club"].related_model is Club:
            for name, field in fields.items():
                if field.related_model is Account and field.null:
                    yield model, name


def delete_account(account: Account) -> None:
    """A login with its keys, sessions, attempts to sign in and stored answers."""
    end_sessions(account)
    named = Attempt(username=account.username, address="", device="", at=account.date_joined)
    # Also attempts from before the login was there: their devices' names are this person's.
    SignIn.objects.filter(account__isnull=True, name_digest=named.name_digest).delete()
    rewrite_log(Account, account.pk, shown="erased")
    account.delete()


def end_sessions(account: Account) -> None:
    """Close the browser sessions of a login."""
    sessions_of(account).delete()


def sessions_of(account: Account) -> models.QuerySet[Session]:
    """The browser sessions of a login: their rows are signed texts that name nobody in a column."""
    keys = [
        session.pk
        for session in Session.objects.iterator(chunk_size=500)
        if session.get_decoded().get("_auth_user_id") == str(account.pk)
    ]
    return Session.objects.filter(pk__in=keys)


def member_log(member: Member) -> models.QuerySet[LogEntry]:
    """What the books' own log says of a line of the book of members."""
    of = Member._meta
    return LogEntry.objects.filter(
        content_type__app_label=of.app_label, content_type__model=of.model_name, object_id=str(member.pk)
    )


def rewrite_log(model: type[models.Model], pk: int, *, shown: str) -> None:
    """The books' own log shows a record as it was then: let it show `shown`, and nothing of the change."""
    kind = ContentType.objects.get_for_model(model)
    LogEntry.objects.filter(content_type=kind, object_id=str(pk)).update(object_repr=shown, change_message="")


def forget_replies(club: Club, account: Account | None) -> None:
    """Stored answers: a login's own go, of the club's others only what they said.

    Their keys stay, so that a request that is sent again does its work no second time.
    """
    if account is not None:
        StoredReply.objects.filter(account=account, club=club).delete()
    StoredReply.objects.filter(club=club).update(body="null", headers={})


def rewrite_member_log(member: Member, *, shown: str) -> None:
    """The same for a line of the book of members."""
    rewrite_log(Member, member.pk, shown=shown)


def wipe_freed_pages() -> None:
    """On SQLite, put the write-ahead log into the database file and empty it.

    With `secure_delete`, which the settings switch on, pages that were freed hold zeros then. On PostgreSQL
    dead rows go with the server's own vacuum.
    """
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        (before,) = cursor.execute("PRAGMA busy_timeout").fetchone()
        cursor.execute(f"PRAGMA busy_timeout = {_PATIENCE_MS}")
        try:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {int(before)}")
