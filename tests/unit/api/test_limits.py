"""So many requests a minute, told in every answer; and never a refusal because counting broke."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.cache import cache
from django.test import RequestFactory
from rest_framework.test import APIClient

from api import limits
from api.addresses import address_of
from clubdata.models import Account
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture(autouse=True)
def few(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Three reads and one write a minute, in a minute that stands still."""
    settings.READS_A_MINUTE, settings.WRITES_A_MINUTE = 3, 1
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    monkeypatch.setattr(limits.time, "time", lambda: 1_750_000_000.0)  # 40 s of its minute have passed
    cache.clear()
    yield
    cache.clear()


def test_what_is_left_is_told_and_then_refused(heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account())
    answers = [client.get("/api/v1/me/") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert [answer["RateLimit"] for answer in answers] == [
        '"reads";r=2;t=20', '"reads";r=1;t=20', '"reads";r=0;t=20', '"reads";r=0;t=20'
    ]  # fmt: skip
    assert {answer["RateLimit-Policy"] for answer in answers} == {'"reads";q=3;w=60'}
    assert answers[3]["Retry-After"] == "20"
    assert answers[3].json()["type"] == "/problems/too-many-requests"


def test_writes_are_counted_apart_and_so_is_every_account(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    path = "/api/v1/clubs/heron-small/returns/"
    statuses = [client.post(path, {}).status_code for _ in range(2)]
    assert statuses == [400, 429]
    assert client.get("/api/v1/me/").status_code == 200
    assert client_for(heron_small.account("secretary")).post(path, {}).status_code == 400


def test_callers_without_a_key_share_their_address_alone(client_for: ClientFor) -> None:
    body = {"username": "nobody", "password": "x", "device": "phone"}
    asked = [
        APIClient().post("/api/v1/sign-in/", body, REMOTE_ADDR=address).status_code
        for address in ("192.0.2.1", "192.0.2.1", "192.0.2.2")
    ]
    assert asked == [401, 429, 401]


def test_a_new_minute_begins_anew(
    heron_small: SmallClub, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_for(heron_small.account())
    for _ in range(3):
        client.get("/api/v1/me/")
    monkeypatch.setattr(limits.time, "time", lambda: 1_750_000_020.0)
    assert client.get("/api/v1/me/")["RateLimit"] == '"reads";r=2;t=60'


def test_when_counting_breaks_answers_go_on(
    heron_small: SmallClub, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Broken:
        def incr(self, key: str) -> int:
            raise ConnectionError("no cache")

    monkeypatch.setattr(limits, "cache", Broken())
    client = client_for(heron_small.account())
    assert {client.get("/api/v1/me/").status_code for _ in range(5)} == {200}


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, "203.0.113.9", "192.0.2.1"),
        (1, "203.0.113.9", "203.0.113.9"),
        (1, "10.0.0.1, 203.0.113.9", "203.0.113.9"),
        (2, "10.0.0.1, 203.0.113.9, 198.51.100.1", "203.0.113.9"),
        (1, "", "192.0.2.1"),
    ],
)
def test_an_address_is_what_our_own_proxies_saw(
    proxies: int, forwarded: str, address: str, settings: Any
) -> None:
    settings.TRUSTED_PROXIES = proxies
    request = RequestFactory().get("/", REMOTE_ADDR="192.0.2.1", HTTP_X_FORWARDED_FOR=forwarded)
    assert address_of(request) == address


def test_every_header_is_a_structured_field(heron_small: SmallClub, client_for: ClientFor) -> None:
    answer = client_for(heron_small.account()).get("/api/v1/me/")
    assert re.fullmatch(r'"[a-z]+";q=\d+;w=\d+', answer["RateLimit-Policy"])
    assert re.fullmatch(r'"[a-z]+";r=\d+;t=\d+', answer["RateLimit"])
