"""What has been kept long enough is forgotten, what has not stays, and nothing is forgotten twice."""

import os
import uuid
from dataclasses import asdict
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdata.models import (
    AccessToken,
    Amendment,
    Invitation,
    Job,
    Return,
    SessionPart,
    SignIn,
    StoredReply,
)
from clubdata.services.retention import Forgotten, forget_old
from tests.factories import NOW, SmallClub, make_return

pytestmark = pytest.mark.django_db
NOTHING = Forgotten(**dict.fromkeys(Forgotten.__dataclass_fields__, 0))


@pytest.fixture(autouse=True)
def uploads(tmp_path: Path, settings: Any) -> Path:
    settings.UPLOAD_DIR = tmp_path / "uploads"
    (tmp_path / "uploads").mkdir()
    folder: Path = settings.UPLOAD_DIR
    return folder


def leave_traces(small: SmallClub, uploads: Path, *, days_ago: float) -> None:
    """One of everything that is kept for a time, so many days old."""
    then = NOW - timedelta(days=days_ago)
    account, member = small.account(), small.member
    one = uuid.uuid4().hex
    StoredReply.objects.create(
        account=account, key=one, fingerprint=one * 2, created_at=then, body="{}", status=201
    )
    SignIn.objects.create(account=account, name_digest=one * 2, address_digest="", outcome="opened", at=then)
    AccessToken.objects.create(
        account=account, device="phone", digest=one * 2, created_at=then, expires_at=then
    )
    Invitation.objects.create(
        club=small.club, member=member, digest=one * 2, created_at=then, expires_at=then, withdrawn_at=then
    )
    (uploads / f"{one}.csv").write_text("a sheet")
    os.utime(uploads / f"{one}.csv", (then.timestamp(), then.timestamp()))
    Job.objects.create(
        club=small.club, kind="import", state="finished", created_at=then, finished_at=then,
        payload={"path": f"{one}.csv", "file_name": "book.csv"},
        result={"rows_read": 1, "problems": [{"line": 2, "value": "J. Doe"}]},
    )  # fmt: skip
    removed = make_return(member, small.pegs["1"], part={"hook_bait": small.caster})
    Amendment.objects.create(
        club=small.club,
        session=removed,
        kind="removal",
        state="made",
        reason="twice",
        version_before=1,
        asked_at=then,
    )
    Return.objects.filter(pk=removed.pk).update(removed_at=then)


KEPT_FOR = {
    "replies": 2, "sheets": 30, "reports": 400, "sign_ins": 180, "tokens": 90, "invitations": 30,
    "removed_returns": 400,
}  # fmt: skip


@pytest.mark.parametrize(("kind", "days"), KEPT_FOR.items())
def test_each_is_kept_for_its_days_and_no_longer(
    kind: str, days: int, heron_small: SmallClub, uploads: Path
) -> None:
    leave_traces(heron_small, uploads, days_ago=days - 0.01)
    assert getattr(forget_old(now=NOW), kind) == 0
    leave_traces(heron_small, uploads, days_ago=days + 0.01)
    assert getattr(forget_old(now=NOW), kind) == 1
    assert forget_old(now=NOW) == NOTHING


def test_what_stands_is_kept_for_good(heron_small: SmallClub, uploads: Path) -> None:
    long_ago = NOW - timedelta(days=4000)
    stands = make_return(
        heron_small.member, heron_small.pegs["1"], part={}, entered_at=long_ago, notes="kept"
    )
    leave_traces(heron_small, uploads, days_ago=4000)
    forget_old(now=NOW)
    assert list(Return.with_removed.all()) == [stands]
    assert SessionPart.objects.count() == 1, "the removed one's parts went along"
    (job,) = Job.objects.all()
    assert job.result == {"rows_read": 1, "problems": []}, "its counts stay"


def test_a_sheet_that_still_waits_is_kept(heron_small: SmallClub, uploads: Path) -> None:
    then = NOW - timedelta(days=99)
    (uploads / "waits.csv").write_text("a sheet")
    os.utime(uploads / "waits.csv", (then.timestamp(), then.timestamp()))
    Job.objects.create(club=heron_small.club, kind="import", created_at=then, payload={"path": "waits.csv"})
    assert forget_old(now=NOW).sheets == 0
    assert (uploads / "waits.csv").exists()


def test_a_stray_file_goes_with_its_time(uploads: Path) -> None:
    then = NOW - timedelta(days=31)
    (uploads / "stray.csv").write_text("nobody's")
    os.utime(uploads / "stray.csv", (then.timestamp(), then.timestamp()))
    assert forget_old(now=NOW).sheets == 1
    assert not (uploads / "stray.csv").exists()


def test_ended_browser_sessions_go(heron_small: SmallClub) -> None:
    Session.objects.create(session_key="a", session_data="", expire_date=NOW - timedelta(seconds=1))
    Session.objects.create(session_key="b", session_data="", expire_date=NOW + timedelta(days=1))
    assert forget_old(now=NOW).sessions == 1
    assert Session.objects.get().session_key == "b"


@given(
    days=st.dictionaries(st.sampled_from(sorted(KEPT_FOR)), st.integers(1, 3000)), age=st.integers(0, 3000)
)
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_by_the_settings_whatever_they_say(
    days: dict[str, int], age: int, heron_small: SmallClub, uploads: Path
) -> None:
    from django.test import override_settings

    forget_old(now=NOW + timedelta(days=9999))
    leave_traces(heron_small, uploads, days_ago=age + 0.5)
    with override_settings(KEEP_DAYS={**KEPT_FOR, **days}):
        forgotten = asdict(forget_old(now=NOW))
    for kind, kept_for in {**KEPT_FOR, **days}.items():
        assert forgotten[kind] == (age + 0.5 > kept_for), kind


def test_the_command_says_how_many_of_each(heron_small: SmallClub) -> None:
    said = StringIO()
    call_command("forget_old", stdout=said)
    lines = said.getvalue().splitlines()
    assert "sign ins: 0" in lines and len(lines) == len(Forgotten.__dataclass_fields__)
