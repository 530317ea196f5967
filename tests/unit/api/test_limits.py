"""So many requests a minute, told in every answer; and never a refusal because counting broke."""

import os
import re
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import redis
from django.core.cache import cache
from django.db import connection
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from redis.connection import AbstractConnection
from rest_framework.test import APIClient

from api import limits
from api.addresses import address_of
from api.caches import CountingLocalCache, CountingRedisCache
from clubdata.models import Account
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture(autouse=True)
def few(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Three reads and one write a minute, in a minute that stands still."""
    settings.READS_A_MINUTE, settings.WRITES_A_MINUTE = 3, 1
    settings.CACHES = {"default": {"BACKEND": "api.caches.CountingLocalCache"}}
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
        def count(self, key: str, *, timeout_s: int) -> int:
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
        (2, "203.0.113.9", "192.0.2.1"),
        (1, "203.0.113.9:4711", "203.0.113.9"),
        (1, "2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        (1, "[2001:db8:1:2::9]:4711", "2001:db8:1:2::/64"),
        (1, "::1", "::/64"),
        (1, "::ffff:203.0.113.9", "203.0.113.9"),
        (1, "unknown", "unknown"),
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


def test_wrong_keys_closed_doors_and_what_is_not_there_are_counted_too(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    wrong = APIClient()
    wrong.credentials(HTTP_AUTHORIZATION="Bearer wrong")
    answers = [wrong.get("/api/v1/me/") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [401, 401, 401, 429]
    assert all("RateLimit" in answer and "RateLimit-Policy" in answer for answer in answers)
    client = client_for(heron_small.account())
    statuses = [client.get("/api/v1/clubs/no-such-club/").status_code for _ in range(4)]
    assert statuses == [404, 404, 404, 429]
    stranger = APIClient()
    assert stranger.get("/api/v1/me/", REMOTE_ADDR="192.0.2.9").status_code == 401
    assert stranger.get("/api/v1/me/", REMOTE_ADDR="192.0.2.9", HTTP_ACCEPT="text/x")["RateLimit"]


@pytest.mark.parametrize("path", ["/health/live", "/api/schema/"])
def test_health_and_schema_are_not_counted(path: str) -> None:
    answers = [APIClient().get(path) for _ in range(4)]
    assert {answer.status_code for answer in answers} == {200}
    assert not any("RateLimit" in answer for answer in answers)


def test_counting_asks_the_database_nothing(
    heron_small: SmallClub, client_for: ClientFor, settings: Any
) -> None:
    client = client_for(heron_small.account())

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/api/v1/me/").status_code == 200
        return len(captured)

    counted = queries()
    settings.READS_A_MINUTE = 0
    assert queries() == counted


def test_several_that_begin_a_minute_at_once_are_all_counted() -> None:
    counting = CountingLocalCache("at-once", {})
    with ThreadPoolExecutor(8) as threads:
        counts = list(threads.map(lambda _: counting.count("key", timeout_s=60), range(200)))
    assert sorted(counts) == list(range(1, 201))


@pytest.mark.redis
def test_a_step_in_redis_is_one_round_trip_and_is_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    url = os.environ.get("BROKER_URL", "")
    if not url.startswith("redis"):
        pytest.skip("BROKER_URL names no Redis")
    counting = CountingRedisCache(url, {"KEY_PREFIX": uuid.uuid4().hex})
    assert counting.count("key", timeout_s=60) == 1
    sent = []
    send = AbstractConnection.send_packed_command

    def noted(connection: Any, *args: Any, **kwargs: Any) -> Any:
        sent.append(1)
        return send(connection, *args, **kwargs)

    monkeypatch.setattr(AbstractConnection, "send_packed_command", noted)
    assert counting.count("key", timeout_s=60) == 2
    assert len(sent) == 1
    key = counting.make_key("key")
    assert 0 < redis.Redis.from_url(url).ttl(key) <= 60
