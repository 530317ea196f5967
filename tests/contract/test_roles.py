"""Every route by every role, in one's own club and in another: as `rules_of_routes` has it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date

import pytest
from django.db import transaction
from django.http import HttpResponse
from rest_framework.test import APIClient

from clubdata.models import Account, Member
from tests.contract.routes import OF_A_CLUB, OPEN, OPERATIONS, Operation, StockedClub
from tests.contract.rules_of_routes import OF_A_CLUB as RULES
from tests.contract.rules_of_routes import OF_ONESELF, ROLES
from tests.contract.test_privacy import ask

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
# What somebody is told who may: it is done, or what was sent is not all that it takes.
DONE_OR_WANTING = {200, 201, 202, 204, 400, 409, 412, 415, 428}


@contextmanager
def undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def test_every_route_has_a_rule_and_every_rule_a_route() -> None:
    named = {operation.description["operationId"] for operation in OF_A_CLUB}
    assert named == set(RULES)
    others = {operation.description["operationId"] for operation in OPERATIONS} - named
    assert others == OF_ONESELF | OPEN


@pytest.mark.parametrize("operation", OF_A_CLUB, ids=str)
def test_in_ones_own_club_it_is_as_the_rule_says(
    operation: Operation, stocked: StockedClub, client_for: ClientFor
) -> None:
    name = operation.description["operationId"]
    for role in ROLES:
        with undone():
            answer = ask_as(role, operation, stocked, stocked, client_for)
        refusal = RULES[name].refusal_of(role)
        if refusal is not None:
            assert answer.status_code == refusal, (role, answer.content)
        elif name == "returns_restore":
            assert answer.status_code == 404, "the return is not removed"
        else:
            assert answer.status_code in DONE_OR_WANTING, (role, answer.content)


@pytest.mark.parametrize("operation", OF_A_CLUB, ids=str)
def test_in_another_club_there_is_nothing_whatever_ones_role(
    operation: Operation, stocked: StockedClub, other_stocked: StockedClub, client_for: ClientFor
) -> None:
    for role in ROLES:
        with undone():
            assert ask_as(role, operation, other_stocked, stocked, client_for).status_code == 404, role


@pytest.mark.parametrize("operation", OF_A_CLUB, ids=str)
def test_a_membership_that_has_ended_is_none_at_the_next_request(
    operation: Operation, stocked: StockedClub, client_for: ClientFor
) -> None:
    for role in ROLES:
        with undone():
            client = client_for(stocked.small.account(role))
            assert client.get("/api/v1/clubs/heron-small/").status_code == 200
            Member.objects.filter(pk=getattr(stocked.small, role).pk).update(left_on=date(2024, 6, 1))
            assert ask(client, operation, stocked.address(operation.path)).status_code == 404, role


def ask_as(
    role: str, operation: Operation, of_club: StockedClub, at_club: StockedClub, client_for: ClientFor
) -> HttpResponse:
    """Somebody with a role in one club asks about the records of another, or of the same."""
    client = client_for(of_club.small.account(role))
    return ask(client, operation, at_club.address(operation.path))
