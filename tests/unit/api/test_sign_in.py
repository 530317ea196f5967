"""Signing in with a login and a password, for the documentation page."""

import re

import pytest
from django.test import Client

from tests.factories import SmallClub

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client: Client, heron_small: SmallClub) -> Client:
    account = heron_small.member.account
    account.set_password("a password for the bank")
    account.save()
    answer = client.post("/sign-in/", {"username": account.username, "password": "a password for the bank"})
    assert answer.status_code == 302
    assert answer["Location"] == "/api/docs/"
    return client


def test_the_page_asks_and_loads_nothing_from_outside(client: Client) -> None:
    page = client.get("/sign-in/").content.decode()
    assert 'name="password"' in page
    assert re.findall(r'(?:src|href|action)="(?:https?:)?//[^"]*"', page) == []


def test_whoever_signed_in_asks_in_their_own_name(signed_in: Client, heron_small: SmallClub) -> None:
    assert signed_in.get("/api/v1/me/").json()["username"] == heron_small.member.account.username


def test_a_wrong_password_and_an_unknown_login_are_answered_alike(
    client: Client, heron_small: SmallClub
) -> None:
    known = client.post("/sign-in/", {"username": heron_small.member.account.username, "password": "x"})
    unknown = client.post("/sign-in/", {"username": "nobody", "password": "x"})
    assert known.status_code == unknown.status_code == 200
    assert "Please enter a correct" in known.content.decode()
    assert "Please enter a correct" in unknown.content.decode()


def test_signing_out_closes_the_door(signed_in: Client) -> None:
    signed_in.post("/sign-out/")
    assert signed_in.get("/api/v1/me/").status_code == 401
