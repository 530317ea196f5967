"""Every route against every kind of stranger: what is not yours does not exist."""

from collections.abc import Callable
from datetime import date

import pytest
from django.http import HttpResponse
from rest_framework.test import APIClient

from clubdata.models import Account, Member, MemberRole, Role
from tests.contract.routes import OF_A_CLUB, OPERATIONS, READS, SENT, Operation, StockedClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
WITH_UID = [operation for operation in OF_A_CLUB if "{uid}" in operation.path]


def ask(client: APIClient, operation: Operation, address: str) -> HttpResponse:
    asked = getattr(client, operation.method.lower())
    if operation.method == "GET":
        response: HttpResponse = asked(address, operation.query)
    else:
        response = asked(address, SENT.get(operation.description["operationId"], {}), HTTP_IF_MATCH='"v1"')
    return response


def holds_every_role(member: Member) -> None:
    for role in Role:
        MemberRole.objects.get_or_create(club=member.club, member=member, role=role)


@pytest.mark.parametrize("operation", [one for one in OPERATIONS if one.needs_a_key], ids=str)
def test_without_a_key_nobody_learns_anything(
    operation: Operation, stocked: StockedClub, client_for: ClientFor
) -> None:
    answers = [
        ask(client_for(None), operation, stocked.address(operation.path)),
        ask(client_for(None), operation, stocked.address(operation.path, absent=True)),
    ]
    assert [answer.status_code for answer in answers] == [401, 401]
    assert answers[0].content == answers[1].content
    assert answers[0]["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("role", ["member", "secretary"])
@pytest.mark.parametrize("operation", OF_A_CLUB, ids=str)
def test_another_clubs_routes_read_like_those_of_no_club(
    operation: Operation,
    role: str,
    stocked: StockedClub,
    other_stocked: StockedClub,
    client_for: ClientFor,
) -> None:
    stranger = client_for(other_stocked.small.account(role))
    real = ask(stranger, operation, stocked.address(operation.path))
    imagined = ask(
        stranger, operation, stocked.address(operation.path).replace("heron-small", "no-such-club")
    )
    assert (real.status_code, imagined.status_code) == (404, 404)
    assert real.content == imagined.content


@pytest.mark.parametrize("operation", WITH_UID, ids=str)
def test_another_clubs_ids_under_ones_own_club_read_like_ids_of_nothing(
    operation: Operation, stocked: StockedClub, other_stocked: StockedClub, client_for: ClientFor
) -> None:
    holds_every_role(stocked.small.secretary)
    client = client_for(stocked.small.account("secretary"))
    foreign = other_stocked.address(operation.path).replace("grebe-small", "heron-small")
    real = ask(client, operation, foreign)
    imagined = ask(client, operation, stocked.address(operation.path, absent=True))
    assert (real.status_code, imagined.status_code) == (404, 404)
    assert real.content == imagined.content


@pytest.mark.parametrize("operation", OF_A_CLUB, ids=str)
def test_who_has_left_sees_nothing_from_that_moment(
    operation: Operation, stocked: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(stocked.small.account("secretary"))
    Member.objects.filter(pk=stocked.small.secretary.pk).update(left_on=date(2024, 6, 1))
    assert ask(client, operation, stocked.address(operation.path)).status_code == 404


def test_lists_outside_any_club_hold_nothing_of_others(
    stocked: StockedClub, other_stocked: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(stocked.small.account())
    for path in ("/api/v1/me/", "/api/v1/clubs/"):
        text = client.get(path).content.decode()
        assert "heron-small" in text
        assert "grebe" not in text.lower()


@pytest.mark.parametrize("operation", READS, ids=str)
def test_no_answer_to_a_member_holds_another_members_name_or_notes(
    operation: Operation, stocked: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(stocked.small.account("other_member"))
    text = ask(client, operation, stocked.address(operation.path)).getvalue().decode()
    assert "Member One" not in text
    assert "by the reeds" not in text


@pytest.mark.parametrize(
    "path",
    ["waters", "matches", "members", "returns", "jobs", "fits"],
)
def test_a_secretary_of_one_club_lists_none_of_another_clubs_ids(
    path: str, stocked: StockedClub, other_stocked: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(stocked.small.account("secretary"))
    results = client.get(f"/api/v1/clubs/heron-small/{path}/").json()["results"]
    strangers = client_for(other_stocked.small.account("secretary"))
    others = strangers.get(f"/api/v1/clubs/grebe-small/{path}/").json()["results"]
    assert results and others
    assert not {row["uid"] for row in results} & {row["uid"] for row in others}
