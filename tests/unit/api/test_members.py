"""The book of members: its keeper writes, others read what is theirs, and nobody overwrites unseen."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from clubdata.models import Account, Invitation, Member, Role
from tests.factories import SmallClub, make_member

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
BOOK = "/api/v1/clubs/heron-small/members/"
PASSWORD = "a password for the bank"


@pytest.fixture
def secretary(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account("secretary"))


@pytest.fixture
def junior(heron_small: SmallClub) -> Member:
    guarded = {"protection": "junior", "responsible_adult": "An Adult, 01632 960001"}
    return make_member(
        heron_small.club, "J1", login=True, name="Young One", access_needs="a level peg", **guarded
    )


def change(client: APIClient, path: str, body: Any, *, method: str = "patch") -> Any:
    etag = client.get(path.removesuffix("roles/"))["ETag"]
    return getattr(client, method)(path, body, headers={"If-Match": etag})


def test_a_secretary_writes_a_member_down(secretary: APIClient) -> None:
    added = secretary.post(BOOK, {"number": "N1", "name": "New One", "contact": "new@club.example"})
    assert added.status_code == 201
    line = f"{BOOK}{added.json()['uid']}/"
    assert secretary.get(line).json()["contact"] == "new@club.example"
    assert secretary.post(BOOK, {"number": "N1"}).status_code == 409


def test_others_do_not_write(heron_small: SmallClub, client_for: ClientFor) -> None:
    for role in ("member", "organiser", "analyst"):
        client = client_for(heron_small.account(role))
        assert client.post(BOOK, {"number": "N1"}).status_code == 403


def test_a_junior_without_a_responsible_adult_is_refused(secretary: APIClient) -> None:
    refused = secretary.post(BOOK, {"number": "N1", "protection": "junior"})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["field"] == "responsible_adult"


@pytest.mark.parametrize(
    ("role", "sees"),
    [
        ("secretary", {"name", "contact", "protection", "responsible_adult", "access_needs"}),
        ("organiser", {"name", "access_needs"}),
    ],
)
def test_each_field_is_shown_to_whoever_needs_it(
    role: str, sees: set[str], heron_small: SmallClub, junior: Member, client_for: ClientFor
) -> None:
    shown = client_for(heron_small.account(role)).get(f"{BOOK}{junior.uid}/").json()
    personal = ("name", "contact", "protection", "responsible_adult", "access_needs")
    assert {name for name in personal if shown[name] is not None} == sees


@pytest.mark.parametrize("role", ["member", "analyst"])
def test_another_line_does_not_exist_for_members(
    role: str, heron_small: SmallClub, junior: Member, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account(role))
    real = client.get(f"{BOOK}{junior.uid}/")
    imagined = client.get(f"{BOOK}00000000-0000-4000-8000-000000000000/")
    assert (real.status_code, imagined.status_code) == (404, 404)
    assert real.content == imagined.content
    own = Member.objects.get(account=heron_small.account(role))
    assert client.get(f"{BOOK}{own.uid}/").status_code == 200


def test_a_change_names_the_line_that_was_read(secretary: APIClient, junior: Member) -> None:
    line = f"{BOOK}{junior.uid}/"
    etag = secretary.get(line)["ETag"]
    assert secretary.patch(line, {"name": "Younger One"}).status_code == 428
    assert secretary.patch(line, {"name": "A"}, headers={"If-Match": etag}).status_code == 200
    assert secretary.patch(line, {"name": "B"}, headers={"If-Match": etag}).status_code == 412
    assert secretary.get(line).json()["name"] == "A"


def test_whoever_leaves_sees_nothing_at_the_next_request(
    secretary: APIClient, heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    assert client.get(BOOK).status_code == 200
    today = timezone.now().date().isoformat()
    assert change(secretary, f"{BOOK}{heron_small.member.uid}/", {"left_on": today}).status_code == 200
    assert client.get(BOOK).status_code == 404


def test_roles_are_given_and_taken(
    secretary: APIClient, heron_small: SmallClub, client_for: ClientFor
) -> None:
    path = f"{BOOK}{heron_small.member.uid}/roles/"
    given = change(secretary, path, {"roles": ["analyst", "organiser"]}, method="put")
    assert given.json()["roles"] == ["analyst", "organiser"]
    assert client_for(heron_small.account()).get("/api/v1/clubs/heron-small/jobs/").status_code == 200
    assert change(secretary, path, {"roles": []}, method="put").json()["roles"] == []
    assert client_for(heron_small.account()).get("/api/v1/clubs/heron-small/jobs/").status_code == 403


def test_the_last_secretary_stays(secretary: APIClient, heron_small: SmallClub) -> None:
    line = f"{BOOK}{heron_small.secretary.uid}/"
    refused = [
        change(secretary, f"{line}roles/", {"roles": ["member"]}, method="put"),
        change(secretary, line, {"left_on": "2024-06-01"}),
    ]
    assert [answer.status_code for answer in refused] == [409, 409]
    make_member(heron_small.club, "S2", Role.SECRETARY)
    assert change(secretary, line, {"left_on": "2034-06-01"}).status_code == 200


# --- Invitations ------------------------------------------------------------------------------------------


@pytest.fixture
def invited(heron_small: SmallClub) -> Member:
    return make_member(heron_small.club, "N7", name="New Seven")


def invite(secretary: APIClient, member: Member) -> Any:
    return secretary.post(f"{BOOK}{member.uid}/invitations/")


def accept(key: str, username: str = "seven", **more: Any) -> Any:
    body = {"key": key, "username": username, "password": PASSWORD, "device": "phone", **more}
    return APIClient().post("/api/v1/invitations/accept/", body)


def test_an_invitation_opens_one_login_once(secretary: APIClient, invited: Member) -> None:
    made = invite(secretary, invited)
    assert made.status_code == 201 and made["Cache-Control"] == "no-store"
    key = made.json()["key"]
    assert not Invitation.objects.filter(digest=key).exists()
    opened = accept(key)
    assert opened.status_code == 201
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {opened.json()['key']}")
    me = client.get("/api/v1/me/").json()
    assert me["memberships"][0]["member"]["number"] == "N7"
    assert accept(key, "eight").status_code == 404
    listed = secretary.get(f"{BOOK}{invited.uid}/invitations/").json()["results"]
    assert listed[0]["used_at"] is not None and "key" not in listed[0]


def test_keys_that_open_nothing_read_alike(secretary: APIClient, invited: Member) -> None:
    first = invite(secretary, invited).json()
    second = invite(secretary, invited).json()
    assert accept(first["key"]).status_code == 404, "a new invitation ends the one before"
    assert secretary.delete(f"/api/v1/clubs/heron-small/invitations/{second['uid']}/").status_code == 204
    third = invite(secretary, invited).json()
    Invitation.objects.filter(uid=third["uid"]).update(expires_at=timezone.now() - timedelta(seconds=1))
    answers = [accept(key) for key in ("nothing", first["key"], second["key"], third["key"])]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1


def test_a_password_that_will_not_do_leaves_the_invitation_open(
    secretary: APIClient, invited: Member, heron_small: SmallClub
) -> None:
    key = invite(secretary, invited).json()["key"]
    assert accept(key, password="short").status_code == 400
    assert accept(key, heron_small.account().username).status_code == 409
    assert accept(key).status_code == 201


def test_a_login_of_another_club_joins(
    secretary: APIClient, invited: Member, other_club: SmallClub, client_for: ClientFor
) -> None:
    key = invite(secretary, invited).json()["key"]
    client = client_for(other_club.account())
    joined = client.post("/api/v1/me/join/", {"key": key})
    assert joined.status_code == 200, joined.content
    assert joined.json()["club"]["slug"] == "heron-small"
    slugs = [one["club"]["slug"] for one in client.get("/api/v1/me/").json()["memberships"]]
    assert slugs == ["grebe-small", "heron-small"]


def test_whoever_has_a_login_or_has_left_is_not_invited(
    secretary: APIClient, heron_small: SmallClub, invited: Member
) -> None:
    assert invite(secretary, heron_small.member).status_code == 409
    Member.objects.filter(pk=invited.pk).update(left_on=date(2024, 1, 1))
    assert invite(secretary, invited).status_code == 409
