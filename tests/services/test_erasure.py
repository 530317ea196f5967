"""After an erasure a search of the whole database, its freed pages, the uploads and the log finds nobody."""

import logging
import shutil
import subprocess
import threading
import time
import uuid
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.admin.models import CHANGE, LogEntry
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.backends.db import SessionStore
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.utils import timezone
from rest_framework.test import APIClient

from analytics.frames import load_frame
from analytics.worker.work import run_job
from clubdata.errors import Conflict
from clubdata.intake.vocabulary import load_vocabulary
from clubdata.models import (
    Account,
    Attendance,
    Doubt,
    Invitation,
    Job,
    Member,
    Return,
    SignIn,
    StoredReply,
)
from clubdata.rules.words import fold
from clubdata.services.accounts import open_account
from clubdata.services.doubts import look
from clubdata.services.replies import Keyed, Reply, answer_once
from tests.factories import NOW, SmallClub

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
CLUB = "/api/v1/clubs/heron-small/"
ON_POSTGRESQL = pytest.mark.skipif(
    connection.vendor != "postgresql", reason="SQLite writes one after another"
)
# None of it is written anywhere else.
NAME, NUMBER, LOGIN = "Quillon Xanthevry", "ZQ-7781", "quillonx"
DEVICE, CONTACT = "the xylotelephone of Quillon", "quillon@xanthevry.example"
NOTES, REASON = "beside uncle Bartizan's willow", "my cousin Ocarina misread it"
SETTLED, TYPED = "as Quillon's wife Zephirine says", "weighed by Farthingale"
PERSONAL = (
    NAME, NUMBER, LOGIN, DEVICE, CONTACT, NOTES, REASON, SETTLED, TYPED,
    "Xanthevry", "Quillon", "Bartizan", "Ocarina", "Zephirine", "Farthingale", "xylotelephone",
)  # fmt: skip


@pytest.fixture
def uploads(tmp_path: Path, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    settings.UPLOAD_DIR = tmp_path / "uploads"
    monkeypatch.setattr("api.views.jobs.ring_after_commit", lambda *, job_id: None)
    return tmp_path / "uploads"


@pytest.fixture
def secretary(heron_small: SmallClub, client_for: Callable[..., APIClient]) -> APIClient:
    return client_for(heron_small.account("secretary"))


def dump() -> str:
    """Every table as text; on SQLite every page of the file as well, freed ones too."""
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        text = "\n".join(connection.connection.iterdump())
        return text + connection.connection.serialize().decode("latin-1")
    at = connection.settings_dict
    address = f"postgresql://{at['USER']}@{at['HOST']}:{at['PORT'] or 5432}/{at['NAME']}"
    return subprocess.run(["pg_dump", address], check=True, capture_output=True, text=True).stdout


def found_in(text: str) -> set[str]:
    lower = text.casefold()
    return {one for one in PERSONAL if one.casefold() in lower}


def ended(response: Any, *statuses: int) -> Any:
    assert response.status_code in statuses, response.content
    return response.json() if response.content else None


def live_a_year(small: SmallClub, secretary: APIClient, client_for: Callable[..., APIClient]) -> Member:
    """A member who leaves a trace in every record that there is."""
    line = {"number": NUMBER, "name": NAME, "contact": CONTACT, "access_needs": "Quillon sits near the path"}
    uid = ended(secretary.post(f"{CLUB}members/", line), 201)["uid"]
    key = ended(secretary.post(f"{CLUB}members/{uid}/invitations/"), 201)["key"]
    opened = {"key": key, "username": LOGIN, "password": "a willow by the water", "device": DEVICE}
    ended(APIClient().post("/api/v1/invitations/accept/", opened), 201)
    member = Member.objects.get(uid=uid)
    for password in ("wrong", "a willow by the water"):
        body = {"username": LOGIN, "password": password, "device": DEVICE}
        APIClient().post("/api/v1/sign-in/", body)
    browser = SessionStore()
    browser["_auth_user_id"] = str(member.account.pk)
    browser["seen"] = NAME
    browser.save()

    client = client_for(member.account)
    said = {"water": str(small.mere.uid), "peg": "3", "fished_on": "2024-06-16", "hours": 5}
    said |= {"outcome": "weighed", "weight": "12lb 8oz", "notes": NOTES, "main_line": None}
    said.pop("main_line")
    said["parts"] = [{"hook_bait": "caster", "distance_m": 11, "main_line_mm": 0.1, "hooklength_mm": 0.18}]
    sent = client.post(f"{CLUB}returns/", said, headers={"Idempotency-Key": f"key-of-{LOGIN}"})
    path = f"{CLUB}returns/{ended(sent, 201)['uid']}/"
    changed = {"reason": REASON, "notes": NOTES + ", late"}
    ended(client.patch(path, changed, headers={"If-Match": client.get(path)["ETag"]}), 200, 202)
    (doubt,) = Doubt.objects.filter(session__member=member, state="waiting")
    ended(secretary.post(f"{CLUB}doubts/{doubt.uid}/hold/", {"reason": SETTLED}), 200)

    sheet = f"Date,Water,Peg,Member,Session,Hours,Weight,Notes,{NAME}\n"
    sheet += f"17/06/2024,{small.mere.name},4,{NUMBER},Pleasure,5,3-2-0,{NOTES},\n"
    sheet += f"17/06/2024,{small.mere.name},{NAME},{NUMBER},Pleasure,5,{TYPED},,\n"
    file = SimpleUploadedFile(f"{LOGIN}.csv", sheet.encode())
    ended(secretary.post(f"{CLUB}imports/", {"file": file}, format="multipart"), 202)
    kept = Path(settings.UPLOAD_DIR) / Job.objects.get(kind="import").payload["path"]
    assert NAME in kept.read_text()
    shutil.copyfile(kept, kept.with_name("stays.csv"))
    run_job(job_id=Job.objects.get(kind="import").pk, clock=timezone.now)

    seen = {"member": NUMBER, "water": str(small.mere.uid), "fished_on": "2024-06-16", "source": "bailiff"}
    ended(secretary.post(f"{CLUB}attendance/", {"seen": [seen]}), 201)
    LogEntry.objects.create(
        user=small.account("secretary"),
        content_type=ContentType.objects.get_for_model(Member),
        object_id=str(member.pk),
        object_repr=NAME,
        action_flag=CHANGE,
        change_message=f"Contact {CONTACT}",
    )
    # As a worker that was killed would have left it.
    shutil.move(kept.with_name("stays.csv"), kept)
    return member


def test_an_erased_member_is_found_nowhere_and_the_figures_stay(
    heron_small: SmallClub,
    secretary: APIClient,
    client_for: Callable[..., APIClient],
    uploads: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.DEBUG)
    member = live_a_year(heron_small, secretary, client_for)
    account = member.account
    before = load_frame(club=heron_small.club).frame
    figures = list(Return.objects.filter(member=member).order_by("pk").values("fished_on", "peg", "weight_g"))
    assert len(figures) == 2
    assert found_in(dump()) == set(PERSONAL), "all of it was there to be found"

    erased = ended(secretary.post(f"{CLUB}members/{member.uid}/erase/", {"ground": "asked"}), 200)

    assert erased["returns_kept"] == 2
    assert found_in(dump()) == set()
    assert found_in("".join(path.read_text() + path.name for path in uploads.iterdir())) == set()
    assert found_in("\n".join(str(vars(record)) for record in caplog.records)) == set()
    assert (
        list(Return.objects.filter(member=member).order_by("pk").values("fished_on", "peg", "weight_g"))
        == figures
    )
    after = load_frame(club=heron_small.club).frame
    assert before.equals(after), "no fit changes"
    assert not Account.objects.filter(pk=account.pk).exists()
    line = Member.objects.get(pk=member.pk)
    assert (line.number, line.name, line.erased_at is not None) == (erased["number"], "", True)
    assert Attendance.objects.filter(member=member).count() == 1, "that somebody was seen stays"


def test_an_erased_member_is_erased_once(heron_small: SmallClub, secretary: APIClient) -> None:
    path = f"{CLUB}members/{heron_small.member.uid}/erase/"
    ended(secretary.post(path, {"ground": "asked"}), 200)
    assert (
        ended(secretary.post(path, {"ground": "asked"}), 409)["detail"] == "This member was erased already."
    )


def test_a_member_erases_themselves_and_nobody_else(
    heron_small: SmallClub, client_for: Callable[..., APIClient]
) -> None:
    client = client_for(heron_small.account())
    other = client.post(f"{CLUB}members/{heron_small.other_member.uid}/erase/", {"ground": "asked"})
    assert other.status_code == 404
    organiser = client_for(heron_small.account("organiser"))
    assert (
        organiser.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": "asked"}).status_code
        == 403
    )
    own = client.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": "asked"})
    assert own.status_code == 200
    assert client.get(CLUB).status_code == 401, "the login went, and its keys with it"


def test_the_last_secretary_stays(heron_small: SmallClub, secretary: APIClient) -> None:
    path = f"{CLUB}members/{heron_small.secretary.uid}/erase/"
    assert secretary.post(path, {"ground": "asked"}).status_code == 409
    assert Member.objects.get(pk=heron_small.secretary.pk).erased_at is None


def test_a_login_that_another_club_knows_stays_there(
    heron_small: SmallClub, other_club: SmallClub, secretary: APIClient
) -> None:
    account = heron_small.account()
    Member.objects.create(club=other_club.club, number="G9", name="One of two clubs", account=account)
    ended(secretary.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": "asked"}), 200)
    assert Account.objects.filter(pk=account.pk).exists()
    assert Member.objects.get(club=other_club.club, account=account).name == "One of two clubs"


def test_another_club_s_member_is_not_there(
    other_club: SmallClub, heron_small: SmallClub, secretary: APIClient
) -> None:
    path = f"{CLUB}members/{other_club.member.uid}/erase/"
    assert secretary.post(path, {"ground": "asked"}).status_code == 404


@pytest.mark.parametrize("ground", ["", "he annoys me", None])
def test_a_ground_is_one_of_the_law_s(ground: Any, heron_small: SmallClub, secretary: APIClient) -> None:
    refused = secretary.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": ground})
    assert refused.status_code == 400 and refused.json()["errors"][0]["field"] == "ground"


def test_while_an_import_runs_nobody_is_erased(heron_small: SmallClub, secretary: APIClient) -> None:
    Job.objects.create(club=heron_small.club, kind="import", created_at=NOW)
    refused = secretary.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": "asked"})
    assert ended(refused, 409)["detail"].startswith("An import is under way")


def test_invitations_sign_ins_and_replies_of_others_stand(
    heron_small: SmallClub, secretary: APIClient
) -> None:
    other = heron_small.other_member
    Invitation.objects.create(
        club=heron_small.club, member=other, digest=uuid.uuid4().hex * 2, created_at=NOW,
        expires_at=NOW + timedelta(days=7),
    )  # fmt: skip
    SignIn.objects.create(
        account=other.account, name_digest="0" * 64, address_digest="", outcome="opened", at=NOW
    )
    StoredReply.objects.create(
        account=other.account, club=heron_small.club, key="k", fingerprint="f" * 64, created_at=NOW,
        status=201, body='{"of": "another"}',
    )  # fmt: skip
    ended(secretary.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": "asked"}), 200)
    assert Invitation.objects.filter(member=other).exists()
    assert SignIn.objects.filter(account=other.account).exists()
    assert StoredReply.objects.get(account=other.account).status == 201, "sent again, it is not done twice"


def test_a_day_of_leaving_in_the_past_stays(heron_small: SmallClub, secretary: APIClient) -> None:
    Member.objects.filter(pk=heron_small.member.pk).update(left_on=date(2023, 1, 31))
    ended(
        secretary.post(f"{CLUB}members/{heron_small.member.uid}/erase/", {"ground": "no_longer_needed"}), 200
    )
    assert Member.objects.get(pk=heron_small.member.pk).left_on == date(2023, 1, 31)


# --- Nobody from then on ---------------------------------------------------------------------------------


SESSION = {"peg": "3", "fished_on": "2024-06-16", "hours": 5, "weight": "12lb 8oz"}


def erased_number(small: SmallClub, secretary: APIClient) -> str:
    path = f"{CLUB}members/{small.member.uid}/erase/"
    number: str = ended(secretary.post(path, {"ground": "asked"}), 200)["number"]
    return number


def test_nothing_is_handed_in_noted_or_opened_for_an_erased_member(
    heron_small: SmallClub, secretary: APIClient
) -> None:
    number = erased_number(heron_small, secretary)
    for called in (number, str(heron_small.member.uid)):
        said = {**SESSION, "water": str(heron_small.mere.uid), "member": called}
        refused = ended(secretary.post(f"{CLUB}returns/", said), 400)
        assert [one["field"] for one in refused["errors"]] == ["member"]
    seen = {"member": number, "water": heron_small.mere.name, "fished_on": "2024-06-16", "source": "gate"}
    assert secretary.post(f"{CLUB}attendance/", {"seen": [seen]}).status_code == 400
    assert secretary.post(f"{CLUB}members/{heron_small.member.uid}/invitations/").status_code == 409
    member = Member.objects.get(pk=heron_small.member.pk)
    with pytest.raises(Conflict):
        open_account(member=member, username="again", password=None, actor=None, now=NOW)
    assert fold(number) not in load_vocabulary(heron_small.club).members.ids


def test_the_figures_of_an_erased_member_s_return_can_be_corrected(
    heron_small: SmallClub, secretary: APIClient
) -> None:
    said = {**SESSION, "water": str(heron_small.mere.uid), "member": heron_small.member.number}
    path = f"{CLUB}returns/{ended(secretary.post(f'{CLUB}returns/', said), 201)['uid']}/"
    erased_number(heron_small, secretary)
    changed = {"reason": "misread", "weight": "2lb 8oz"}
    ended(secretary.patch(path, changed, headers={"If-Match": secretary.get(path)["ETag"]}), 200)
    assert Return.objects.get().weight_typed == "2lb 8oz"
    assert Return.objects.get().member == heron_small.member


def test_no_reminder_goes_to_an_erased_member(heron_small: SmallClub, secretary: APIClient) -> None:
    for member in (heron_small.member, heron_small.other_member):
        Attendance.objects.create(
            club=heron_small.club, member=member, water=heron_small.mere, fished_on=date(2024, 5, 1),
            source="bailiff", noted_at=NOW,
        )  # fmt: skip
    assert len(ended(secretary.get(f"{CLUB}outstanding/"), 200)["results"]) == 2
    erased_number(heron_small, secretary)
    (left,) = ended(secretary.get(f"{CLUB}outstanding/"), 200)["results"]
    assert left["member"]["number"] == heron_small.other_member.number
    assert "erased-" not in str(ended(secretary.get(f"{CLUB}reminders/"), 200))


def test_freed_pages_are_wiped_when_it_is_done(
    heron_small: SmallClub, secretary: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    wiped: list[bool] = []
    monkeypatch.setattr(
        "clubdata.services.traces.wipe_freed_pages",
        lambda: wiped.append(Member.objects.filter(name="").exists()),
    )
    erased_number(heron_small, secretary)
    assert wiped == [True]


@ON_POSTGRESQL
def test_an_answer_under_way_is_kept_without_the_name_or_the_erasure_waits_for_it(
    heron_small: SmallClub, secretary: APIClient
) -> None:
    """The answer says the member's number; the erasure may not miss it."""
    begun, ended_ = threading.Event(), threading.Event()
    keyed = Keyed(heron_small.account("secretary"), heron_small.club, "k-1", "f" * 64)

    def answer() -> None:
        def work() -> Reply:
            begun.set()
            ended_.wait(1)
            return Reply(201, f'{{"member": "{heron_small.member.number}"}}')

        try:
            answer_once(keyed=keyed, now=NOW, work=work)
        finally:
            connection.close()

    answering = threading.Thread(target=answer)
    answering.start()
    assert begun.wait(10)
    erased_number(heron_small, secretary)
    ended_.set()
    answering.join()
    assert StoredReply.objects.get(key="k-1").body == "null"


@ON_POSTGRESQL
def test_an_amendment_and_an_erasure_at_once_do_not_wait_for_each_other(
    heron_small: SmallClub,
    secretary: APIClient,
    client_for: Callable[..., APIClient],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The amendment has changed its return and is about to raise the club's revision."""
    said = {**SESSION, "water": str(heron_small.mere.uid), "member": heron_small.member.number}
    path = f"{CLUB}returns/{ended(secretary.post(f'{CLUB}returns/', said), 201)['uid']}/"
    changed, statuses = threading.Event(), list[int]()

    def look_slowly(**given: Any) -> Any:
        changed.set()
        time.sleep(1)
        return look(**given)

    monkeypatch.setattr("clubdata.services.amendments.look", look_slowly)

    def amend() -> None:
        client = client_for(heron_small.account("secretary"))
        try:
            body, tag = {"reason": "misread", "weight": "3lb"}, client.get(path)["ETag"]
            statuses.append(client.patch(path, body, headers={"If-Match": tag}).status_code)
        finally:
            connection.close()

    amending = threading.Thread(target=amend)
    amending.start()
    assert changed.wait(10)
    erased_number(heron_small, secretary)
    amending.join()
    assert statuses == [200]
