"""Devices sign in with a name and a password, and are shut out by their owner."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from clubdata.models import AccessToken, Account, SignIn, SignInOutcome
from clubdata.services.sign_ins import MOST_FROM_AN_ADDRESS, MOST_OF_A_NAME, MOST_OF_A_NAME_HERE, WINDOW
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
PASSWORD = "a password for the bank"


@pytest.fixture
def account(heron_small: SmallClub) -> Account:
    found = heron_small.account()
    found.set_password(PASSWORD)
    found.save()
    return found


def sign_in(username: str, password: str = PASSWORD, *, address: str = "192.0.2.1", **more: Any) -> Any:
    body = {"username": username, "password": password, "device": "phone", **more}
    return APIClient().post("/api/v1/sign-in/", body, REMOTE_ADDR=address)


def test_name_and_password_give_a_key_that_opens(account: Account) -> None:
    answer = sign_in(account.username)
    assert answer.status_code == 201
    assert answer["Cache-Control"] == "no-store"
    key = answer.json()["key"]
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
    assert client.get("/api/v1/me/").json()["username"] == account.username
    assert not AccessToken.objects.filter(digest=key).exists()


def test_an_unknown_name_a_wrong_password_and_a_closed_login_read_alike(
    account: Account, heron_small: SmallClub
) -> None:
    closed = heron_small.account("analyst")
    closed.set_password(PASSWORD)
    closed.is_active = False
    closed.save()
    by_token_alone = heron_small.account("organiser")
    answers = [
        sign_in("nobody"),
        sign_in(account.username, "wrong"),
        sign_in(closed.username),
        sign_in(by_token_alone.username),
    ]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.content for answer in answers}) == 1


@pytest.mark.parametrize("known", [True, False])
def test_guessing_is_slowed_alike_for_names_that_exist_and_for_others(account: Account, known: bool) -> None:
    name = account.username if known else "nobody"
    for _ in range(MOST_OF_A_NAME_HERE):
        assert sign_in(name, "wrong").status_code == 401
    slowed = sign_in(name, PASSWORD)
    assert slowed.status_code == 429
    assert 0 < int(slowed["Retry-After"]) <= WINDOW.total_seconds() + 1
    assert slowed.json()["detail"] == "Too many attempts to sign in: wait a while, then try again."


def test_the_wait_ends(account: Account) -> None:
    for _ in range(MOST_OF_A_NAME_HERE):
        sign_in(account.username, "wrong")
    assert sign_in(account.username).status_code == 429
    SignIn.objects.update(at=SignIn.objects.earliest("at").at - WINDOW - timedelta(seconds=5))
    assert sign_in(account.username).status_code == 201


def test_guessing_from_one_place_does_not_shut_the_member_out_elsewhere(account: Account) -> None:
    for _ in range(MOST_OF_A_NAME_HERE):
        sign_in(account.username, "wrong")
    assert sign_in(account.username, address="198.51.100.7").status_code == 201


def test_guessing_at_many_names_from_one_place_is_slowed(account: Account) -> None:
    for number in range(MOST_FROM_AN_ADDRESS):
        sign_in(f"name-{number}", "wrong")
    assert sign_in(account.username).status_code == 429


def test_guessing_at_one_name_from_many_places_is_slowed(account: Account) -> None:
    for number in range(MOST_OF_A_NAME):
        sign_in(account.username, "wrong", address=f"192.0.2.{number}")
    assert sign_in(account.username, address="198.51.100.7").status_code == 429


def test_the_pages_way_in_is_the_same_door(account: Account, client: Client) -> None:
    for _ in range(MOST_OF_A_NAME_HERE):
        client.post("/sign-in/", {"username": account.username, "password": "x"}, REMOTE_ADDR="192.0.2.1")
    shut = client.post(
        "/sign-in/", {"username": account.username, "password": PASSWORD}, REMOTE_ADDR="192.0.2.1"
    )
    assert shut.status_code == 200 and "Please enter a correct" in shut.content.decode()
    assert sign_in(account.username).status_code == 429
    outcomes = set(SignIn.objects.values_list("outcome", flat=True))
    assert outcomes == {SignInOutcome.REFUSED, SignInOutcome.TOO_MANY}


def test_what_is_written_down_holds_no_name_and_no_address(account: Account) -> None:
    sign_in(account.username, "wrong", address="192.0.2.77")
    kept = str(SignIn.objects.values().get())
    assert account.username not in kept and "192.0.2.77" not in kept and "wrong" not in kept


def test_a_member_sees_the_attempts_in_ones_own_name_alone(
    account: Account, heron_small: SmallClub, client_for: ClientFor
) -> None:
    sign_in(account.username, "wrong")
    sign_in(account.username)
    mine = client_for(account).get("/api/v1/me/sign-ins/").json()["results"]
    assert [row["outcome"] for row in mine] == ["opened", "refused"]
    assert set(mine[0]) == {"at", "device", "outcome"}
    others = client_for(heron_small.account("secretary")).get("/api/v1/me/sign-ins/")
    assert others.json()["results"] == []


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
