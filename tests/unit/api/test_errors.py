"""Every failure has one name, and a defect says nothing of itself."""

from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import Http404
from rest_framework import exceptions
from rest_framework.test import APIClient

from api.errors import KINDS, problem_response
from api.views import clubs
from clubdata.errors import ClubdataError, Conflict, InvalidInput, NotAllowed, NotFound
from clubdata.rules.units import parse_weight
from clubdata.services.faults import Faults, ManyInvalid
from clubdata.services.jobs import LeaseLost
from tests.factories import SmallClub


@pytest.mark.parametrize(
    ("failure", "status", "kind"),
    [
        (InvalidInput("x"), 400, "invalid-input"),
        (ManyInvalid((InvalidInput("x"),)), 400, "invalid-input"),
        (NotFound("x"), 404, "not-found"),
        (NotAllowed("x"), 403, "not-allowed"),
        (Conflict("x"), 409, "conflict"),
        (LeaseLost("x"), 409, "conflict"),
        (ClubdataError("x"), 409, "conflict"),
        (exceptions.ValidationError("x"), 400, "invalid-input"),
        (exceptions.ParseError(), 400, "malformed"),
        (exceptions.NotAuthenticated(), 401, "not-authenticated"),
        (exceptions.AuthenticationFailed(), 401, "not-authenticated"),
        (exceptions.PermissionDenied(), 403, "not-allowed"),
        (exceptions.NotFound(), 404, "not-found"),
        (exceptions.MethodNotAllowed("PUT"), 405, "method-not-allowed"),
        (exceptions.NotAcceptable(), 406, "not-acceptable"),
        (exceptions.UnsupportedMediaType("x"), 415, "unsupported-media-type"),
        (exceptions.Throttled(wait=7), 429, "too-many-requests"),
        (Http404(), 404, "not-found"),
        (PermissionDenied(), 403, "not-allowed"),
        (RequestDataTooBig(), 413, "too-large"),
        (SuspiciousOperation(), 400, "malformed"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_every_failure_has_a_stable_name(failure: Exception, status: int, kind: str) -> None:
    response = problem_response(failure, {})
    assert response is not None
    assert response.status_code == response.data["status"] == status
    assert response.data["type"] == f"/problems/{kind}"
    assert response.data["title"] and response.data["detail"]


def test_a_name_has_one_status() -> None:
    statuses: dict[str, set[int]] = {}
    for kind in KINDS.values():
        statuses.setdefault(kind.code, set()).add(kind.status)
    assert all(len(found) == 1 for found in statuses.values())


def test_things_that_are_not_there_read_alike_whatever_the_code_says() -> None:
    bodies = [
        problem_response(failure, {}) for failure in (NotFound("No peg 5.", field="peg"), Http404("uid 7"))
    ]
    assert bodies[0] is not None and bodies[1] is not None
    assert bodies[0].data == bodies[1].data


def test_a_rules_own_code_stands_beside_the_field() -> None:
    faults = Faults()
    for name, text in (("weight", "12.7"), ("catch.0.weight", "1-16-0")):
        with faults.at(name):
            parse_weight(text)
    with pytest.raises(ManyInvalid) as refused:
        faults.check()
    response = problem_response(refused.value, {})
    assert response is not None
    assert [(fault["field"], fault["code"]) for fault in response.data["errors"]] == [
        ("weight", "ambiguous_weight"),
        ("catch.0.weight", "ounces_out_of_range"),
    ]


def test_waiting_is_told_in_the_header() -> None:
    response = problem_response(exceptions.Throttled(wait=7), {})
    assert response is not None
    assert response["Retry-After"] == "7"


@pytest.mark.django_db
def test_a_defect_is_a_problem_that_says_nothing_of_itself(
    heron_small: SmallClub, client_for: Callable[..., APIClient], monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object) -> None:
        raise RuntimeError("the secret of Member One")

    client = client_for(heron_small.account())
    client.raise_request_exception = False
    monkeypatch.setattr(clubs, "current_memberships", break_down)
    response = client.get("/api/v1/me/")
    assert (response.status_code, response["Content-Type"]) == (500, "application/problem+json")
    assert response.json()["type"] == "/problems/defect"
    assert "secret" not in response.content.decode()
