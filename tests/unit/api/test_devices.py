"""Devices that are signed in are listed, added and shut out by their owner alone."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from clubdata.models import AccessToken, Account
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture
def account(heron_small: SmallClub) -> Account:
    return heron_small.account()


def test_a_device_is_added_listed_and_shut_out(account: Account, client_for: ClientFor) -> None:
    client = client_for(account)
    added = client.post("/api/v1/me/devices/", {"device": "tablet"}).json()
    tablet = APIClient()
    tablet.credentials(HTTP_AUTHORIZATION=f"Bearer {added['key']}")
    assert tablet.get("/api/v1/me/").status_code == 200
    listed = client.get("/api/v1/me/devices/").json()["results"]
    assert [row["device"] for row in listed] == ["tablet", "test"]
    assert all("key" not in row and "digest" not in row for row in listed)
    assert client.delete(f"/api/v1/me/devices/{added['uid']}/").status_code == 204
    assert tablet.get("/api/v1/me/").status_code == 401
    assert client.delete("/api/v1/me/devices/current/").status_code == 204
    assert client.get("/api/v1/me/").status_code == 401


def test_anothers_device_reads_like_none(
    account: Account, heron_small: SmallClub, client_for: ClientFor
) -> None:
    client_for(heron_small.account("secretary"))
    others = AccessToken.objects.get(account=heron_small.account("secretary"))
    client = client_for(account)
    real = client.delete(f"/api/v1/me/devices/{others.uid}/")
    imagined = client.delete("/api/v1/me/devices/00000000-0000-4000-8000-000000000000/")
    assert (real.status_code, imagined.status_code) == (404, 404)
    assert real.content == imagined.content
    others.refresh_from_db()
    assert others.revoked_at is None
