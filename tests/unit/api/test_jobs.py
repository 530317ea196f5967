"""Long work is asked for by those who may, answered at once, and watched."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from clubdata.models import Account, Job, JobKind
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
CLUB = "/api/v1/clubs/heron-small/"


@pytest.fixture(autouse=True)
def rung(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """The ids for which the bell rang, instead of a broker."""
    bells: list[int] = []
    monkeypatch.setattr("api.views.jobs.ring_after_commit", lambda *, job_id: bells.append(job_id))
    return bells


@pytest.fixture(autouse=True)
def upload_dir(tmp_path: Path, settings: Any) -> Path:
    settings.UPLOAD_DIR = tmp_path / "uploads"
    folder: Path = settings.UPLOAD_DIR
    return folder


def upload(client: APIClient, content: bytes = b"Date,Water\n", name: str = "book.csv", **more: str) -> Any:
    sheet = SimpleUploadedFile(name, content)
    return client.post(f"{CLUB}imports/", {"file": sheet, **more}, format="multipart")


@pytest.mark.parametrize("role", ["organiser", "analyst", "secretary"])
def test_a_sheet_becomes_a_job(
    role: str, heron_small: SmallClub, client_for: ClientFor, rung: list[int], upload_dir: Path
) -> None:
    client = client_for(heron_small.account(role))
    response = upload(client, dry_run="true")
    assert response.status_code == 202, response.content
    job = Job.objects.get()
    assert response.json()["state"] == "queued"
    assert rung == [job.pk]
    assert job.requested_by == heron_small.account(role)
    assert job.payload["dry_run"] is True
    assert (upload_dir / job.payload["path"]).read_bytes() == b"Date,Water\n"
    watched = client.get(response["Location"])
    assert watched.status_code == 200
    assert watched.json()["file_name"] == "book.csv"
    assert job.payload["path"] not in watched.content.decode()


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc/passwd", "..\\x.csv", "a" * 190 + ".csv"])
def test_a_file_lies_under_a_name_of_our_own(
    name: str, heron_small: SmallClub, client_for: ClientFor, upload_dir: Path
) -> None:
    assert upload(client_for(heron_small.account("secretary")), name=name).status_code == 202
    kept = Job.objects.get().payload["path"]
    assert [path.name for path in upload_dir.iterdir()] == [kept]
    assert "passwd" not in kept


def test_a_member_may_not_import_and_leaves_no_file(
    heron_small: SmallClub, client_for: ClientFor, upload_dir: Path
) -> None:
    response = upload(client_for(heron_small.account()))
    assert response.status_code == 403
    sentence = "Only the club's match organiser, analyst or secretary may import a sheet."
    assert response.json()["detail"] == sentence
    assert not upload_dir.exists()
    assert client_for(heron_small.account()).get(f"{CLUB}jobs/").status_code == 403


def test_a_sheet_has_a_largest_size(
    heron_small: SmallClub, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "UPLOAD_LIMIT_BYTES", 10)
    response = upload(client_for(heron_small.account("secretary")), b"x" * 11)
    assert response.status_code == 413
    assert not Job.objects.exists()


def test_an_announced_length_beyond_it_is_refused_unread(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account("secretary"))
    too_much = str(settings.UPLOAD_LIMIT_BYTES + 10**6)
    response = client.generic(
        "POST",
        f"{CLUB}imports/",
        b"",
        content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH=too_much,
    )
    assert response.status_code == 413


@pytest.mark.parametrize(
    ("body", "field"), [({}, "file"), ({"file": "text"}, "file"), ({"sheet": "text"}, "sheet")]
)
def test_an_upload_without_a_file_is_told(
    body: dict[str, str], field: str, heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account("secretary"))
    response = client.post(f"{CLUB}imports/", body, format="multipart")
    assert response.status_code == 400
    assert field in {fault["field"] for fault in response.json()["errors"]}


def test_a_fit_that_waits_is_the_answer_to_a_second_request(
    heron_small: SmallClub, client_for: ClientFor, rung: list[int]
) -> None:
    client = client_for(heron_small.account("analyst"))
    first, second = client.post(f"{CLUB}fits/"), client.post(f"{CLUB}fits/")
    assert (first.status_code, second.status_code) == (202, 202)
    assert first.json() == second.json()
    assert Job.objects.filter(kind=JobKind.FIT).count() == 1
    assert len(rung) == 2
    listed = client_for(heron_small.account()).get(f"{CLUB}fits/").json()["results"]
    assert [(fit["state"], fit["run"]) for fit in listed] == [("queued", None)]


def test_a_member_may_not_ask_for_a_fit(heron_small: SmallClub, client_for: ClientFor) -> None:
    assert client_for(heron_small.account()).post(f"{CLUB}fits/").status_code == 403


def test_jobs_narrow_by_kind_and_state(heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account("secretary"))
    upload(client)
    client.post(f"{CLUB}fits/")

    def kinds(**query: str) -> list[str]:
        return [job["kind"] for job in client.get(f"{CLUB}jobs/", query).json()["results"]]

    assert kinds() == ["fit", "import"]
    assert kinds(kind="import") == ["import"]
    assert kinds(state="finished") == []
