"""A request sent twice under one Idempotency-Key is done once, and answered the same."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from api.views.base import ClubView
from clubdata.models import Account, Job, Return, StoredReply
from tests.contract.routes import OPERATIONS
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
RETURNS = "/api/v1/clubs/heron-small/returns/"
BODY = {"water": "Heron-Small Mere", "peg": "3", "fished_on": "2024-06-01", "hours": 5, "weight": "3-2"}


@pytest.fixture
def send(heron_small: SmallClub, client_for: ClientFor) -> Callable[..., Any]:
    client = client_for(heron_small.account())

    def sent(body: Any = BODY, *, key: str | None = '"k-1"', path: str = RETURNS, **options: Any) -> Any:
        headers = {} if key is None else {"Idempotency-Key": key}
        return client.post(path, body, headers=headers, **options)

    return sent


def test_sent_twice_it_is_kept_once_and_answered_the_same(send: Callable[..., Any]) -> None:
    first, again = send(), send()
    assert first.status_code == again.status_code == 201
    assert first.content == again.content
    assert first["Location"] == again["Location"]
    assert Return.objects.count() == 1


def test_without_a_key_it_is_another_return(send: Callable[..., Any]) -> None:
    send(key=None)
    send(key=None)
    assert Return.objects.count() == 2
    assert not StoredReply.objects.exists()


def test_with_and_without_quotes_it_is_one_key(send: Callable[..., Any]) -> None:
    assert send(key='"k-1"').content == send(key="k-1").content


def test_the_same_key_with_another_request_is_refused(send: Callable[..., Any]) -> None:
    send()
    refused = send({**BODY, "weight": "3-3"})
    assert refused.status_code == 422
    assert refused.json()["type"] == "/problems/key-reused"
    assert refused.json()["errors"][0]["field"] == "Idempotency-Key"
    assert Return.objects.count() == 1


@pytest.mark.parametrize("key", ["", '""', "x" * 256, '"naïve"'])
def test_a_key_that_is_none_is_told(send: Callable[..., Any], key: str) -> None:
    refused = send(key=key)
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["field"] == "Idempotency-Key"
    assert not Return.objects.exists()


def test_a_refused_request_leaves_its_key_free(send: Callable[..., Any]) -> None:
    assert send({**BODY, "weight": "3.8"}).status_code == 400
    assert send().status_code == 201


def test_keys_are_each_accounts_own(
    send: Callable[..., Any], heron_small: SmallClub, client_for: ClientFor
) -> None:
    send()
    another = client_for(heron_small.account("other_member"))
    other = another.post(RETURNS, BODY, headers={"Idempotency-Key": '"k-1"'})
    assert other.status_code == 201
    assert Return.objects.count() == 2


def test_a_batch_and_a_sheet_are_done_once_too(heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account("secretary"))
    key = {"Idempotency-Key": f'"{uuid.uuid4()}"'}
    batch = {"returns": [{**BODY, "member": "M1"}, {**BODY, "hours": -1}]}
    answers = [client.post(f"{RETURNS}batch/", batch, headers=key) for _ in range(2)]
    assert answers[0].content == answers[1].content
    assert Return.objects.count() == len([one for one in answers[0].json()["results"] if one["kept"]]) <= 1

    def upload(text: bytes) -> Any:
        sheet = SimpleUploadedFile("book.csv", text, content_type="text/csv")
        path = "/api/v1/clubs/heron-small/imports/"
        return client.post(path, {"file": sheet}, format="multipart", headers={"Idempotency-Key": '"s"'})

    assert upload(b"Date\n1").json()["uid"] == upload(b"Date\n1").json()["uid"]
    assert upload(b"Date\n2").status_code == 422
    assert Job.objects.count() == 1


def test_every_creating_call_of_a_club_takes_a_key() -> None:
    posts = [one for one in OPERATIONS if one.method == "POST" and one.is_of_a_club]
    without = [
        str(one)
        for one in posts
        if not any(told["name"] == "Idempotency-Key" for told in one.description.get("parameters", []))
    ]
    secret = [view.__name__ for view in all_views(ClubView) if not view.keeps_replies]
    assert posts
    assert len(without) == len(secret), (without, secret)


def all_views(of: type[ClubView]) -> list[type[ClubView]]:
    return [view for below in of.__subclasses__() for view in [below, *all_views(below)]]
