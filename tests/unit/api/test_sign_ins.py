"""Signing in with a name and a password: the same door for programs and pages, counted and written down."""

import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import MD5PasswordHasher
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from clubdata.models import AccessToken, Account, Invitation, SignIn, SignInOutcome
from clubdata.services.sign_ins import MOST_FROM_AN_ADDRESS, MOST_OF_A_NAME, MOST_OF_A_NAME_HERE, WINDOW
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
AUDIT = "/api/v1/clubs/heron-small/sign-ins/"
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
    assert shut.status_code == 429 and "Too many attempts" in shut.content.decode()
    assert 0 < int(shut["Retry-After"]) <= WINDOW.total_seconds() + 1
    assert sign_in(account.username).status_code == 429
    outcomes = set(SignIn.objects.values_list("outcome", flat=True))
    assert outcomes == {SignInOutcome.REFUSED, SignInOutcome.TOO_MANY}


@pytest.mark.parametrize("path", ["/sign-in/", "/admin/login/"])
def test_both_pages_answer_alike_for_names_that_exist_and_for_others(account: Account, path: str) -> None:
    def asked(name: str, times: int) -> list[tuple[int, str]]:
        answers = []
        for _ in range(times):
            # Without a cookie kept, so that no page holds another's token.
            answer = Client().post(path, {"username": name, "password": "wrong"}, REMOTE_ADDR=f"{name}.test")
            text = re.sub(r'name="csrfmiddlewaretoken" value="[^"]*"', "", answer.content.decode())
            answers.append((answer.status_code, text.replace(name, "NAME")))
        return answers

    known = asked(account.username, MOST_OF_A_NAME_HERE + 1)
    assert [status for status, _ in known] == [200] * MOST_OF_A_NAME_HERE + [429]
    assert asked("nobody", MOST_OF_A_NAME_HERE + 1) == known


def test_the_hasher_runs_once_whether_the_name_exists_or_not(
    account: Account, monkeypatch: pytest.MonkeyPatch
) -> None:
    encode, runs = MD5PasswordHasher.encode, []

    def counted(hasher: Any, *args: Any, **kwargs: Any) -> str:
        runs.append(1)
        return encode(hasher, *args, **kwargs)

    monkeypatch.setattr(MD5PasswordHasher, "encode", counted)

    def work(name: str) -> int:
        runs.clear()
        assert sign_in(name, "wrong").status_code == 401
        return len(runs)

    assert work(account.username) == work("nobody") == 1


def test_a_known_and_an_unknown_name_cost_the_same_queries(account: Account) -> None:
    def queries(name: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert sign_in(name, "wrong").status_code == 401
        return len(captured)

    assert queries(account.username) == queries("nobody")


def test_an_attempt_counts_before_its_password_is_looked_at(
    account: Account, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = []

    def checked(_account: Account, _password: str) -> bool:
        written.append(SignIn.objects.get().outcome)
        return True

    monkeypatch.setattr(Account, "check_password", checked)
    assert sign_in(account.username).status_code == 201
    assert written == [SignInOutcome.REFUSED]
    assert SignIn.objects.get().outcome == SignInOutcome.OPENED


def test_whoever_opens_the_door_was_not_guessing(account: Account) -> None:
    for _ in range(MOST_OF_A_NAME_HERE + 1):
        assert sign_in(account.username).status_code == 201


def test_a_name_is_counted_in_whatever_letters_it_is_written(account: Account) -> None:
    for _ in range(MOST_OF_A_NAME_HERE):
        sign_in(account.username.upper(), "wrong")
    assert sign_in(account.username).status_code == 429


def test_an_invitation_that_opens_nothing_tells_of_no_name(account: Account) -> None:
    body = {"key": "x" * 43, "password": "a password for another", "device": "phone"}
    answers = [
        APIClient().post("/api/v1/invitations/accept/", {**body, "username": name})
        for name in (account.username, "nobody")
    ]
    assert [answer.status_code for answer in answers] == [404, 404]
    assert answers[0].content == answers[1].content


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


def test_the_secretary_sees_the_attempts_in_the_names_of_present_members(
    account: Account, heron_small: SmallClub, other_club: SmallClub, client_for: ClientFor
) -> None:
    sign_in(account.username, "wrong")
    sign_in(heron_small.account("analyst").username, "wrong")
    sign_in(other_club.account().username, "wrong")
    sign_in("nobody", "wrong")
    heron_small.analyst.left_on = date(2020, 1, 1)
    heron_small.analyst.save()
    rows = client_for(heron_small.account("secretary")).get(AUDIT).json()["results"]
    assert [(row["member"], row["outcome"]) for row in rows] == [(heron_small.member.number, "refused")]
    assert set(rows[0]) == {"at", "member", "outcome"}


def test_what_a_login_did_before_it_joined_is_not_the_clubs(
    account: Account, heron_small: SmallClub, client_for: ClientFor
) -> None:
    sign_in(account.username, "wrong")
    joined = timezone.now()
    Invitation.objects.create(
        club=heron_small.club,
        member=heron_small.member,
        digest="0" * 64,
        created_at=joined,
        expires_at=joined + timedelta(days=7),
        used_at=joined,
    )
    sign_in(account.username)
    rows = client_for(heron_small.account("secretary")).get(AUDIT).json()["results"]
    assert [row["outcome"] for row in rows] == ["opened"]


def test_the_clubs_attempts_are_the_secretarys_alone(
    heron_small: SmallClub, other_club: SmallClub, client_for: ClientFor
) -> None:
    statuses = {
        role: client_for(heron_small.account(role)).get(AUDIT).status_code
        for role in ("member", "organiser", "analyst", "secretary")
    }
    assert statuses == {"member": 403, "organiser": 403, "analyst": 403, "secretary": 200}
    assert client_for(other_club.account("secretary")).get(AUDIT).status_code == 404


@pytest.mark.parametrize("path", ["/api/v1/me/sign-ins/", "/api/v1/clubs/heron-small/sign-ins/"])
def test_a_list_of_attempts_costs_the_same_at_one_and_at_twenty(
    path: str, heron_small: SmallClub, client_for: ClientFor
) -> None:
    secretary = heron_small.account("secretary")
    client = client_for(secretary)

    def queries(rows: int) -> int:
        while SignIn.objects.count() < rows:
            sign_in(secretary.username, "wrong", address=f"192.0.2.{SignIn.objects.count()}")
        with CaptureQueriesContext(connection) as captured:
            assert len(client.get(path).json()["results"]) == rows
        return len(captured)

    assert queries(1) == queries(20)
