"""The document is valid OpenAPI 3.1, and live answers are what it says."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from rest_framework.test import APIClient

from api.errors import MEDIA_TYPE
from tests.contract.routes import OPERATIONS, READS, SCHEMA, Operation, StockedClub

pytestmark = pytest.mark.django_db


def faults(document_part: dict[str, Any], value: Any) -> list[str]:
    """What JSON Schema 2020-12, which OpenAPI 3.1 adopts, finds wrong with a value."""
    validator = Draft202012Validator(
        {**document_part, "components": SCHEMA["components"]},
        format_checker=Draft202012Validator.FORMAT_CHECKER,
    )
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(value)]


def test_the_served_document_is_valid_openapi_3_1() -> None:
    response = Client().get("/api/schema/", headers={"Accept": "application/json"})
    document = json.loads(response.content)
    assert document["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(document).validate()
    assert set(document["paths"]) == set(SCHEMA["paths"])


def test_every_operation_states_its_problems_and_its_key() -> None:
    for operation in OPERATIONS:
        responses = operation.description["responses"]
        for status in ("400", "401", "403", "404", "default"):
            assert MEDIA_TYPE in responses[status]["content"], f"{operation} {status}"
        security = operation.description.get("security", [])
        assert ({"deviceKey": []} in security) == operation.needs_a_key, operation


@pytest.mark.parametrize("operation", READS, ids=str)
def test_a_live_answer_is_what_the_document_says(
    operation: Operation, stocked: StockedClub, client_for: Callable[..., APIClient]
) -> None:
    client = client_for(stocked.small.account("secretary"))
    response = client.get(stocked.address(operation.path), operation.query)
    assert response.status_code == 200, response.content
    content = operation.description["responses"]["200"]["content"]
    kind = response["Content-Type"].partition(";")[0]
    assert kind in content, f"{operation} answered {kind}"
    if kind == "application/json":
        assert faults(content[kind]["schema"], json.loads(response.content)) == []


@pytest.mark.parametrize("operation", READS, ids=str)
def test_a_live_problem_is_what_the_document_says(
    operation: Operation, stocked: StockedClub, client_for: Callable[..., APIClient]
) -> None:
    client = client_for(stocked.small.account("secretary"))
    response = client.get(stocked.address(operation.path), {**operation.query, "no_such": "1"})
    assert response.status_code == 400, response.content
    assert response["Content-Type"] == MEDIA_TYPE
    described = operation.description["responses"]["400"]["content"][MEDIA_TYPE]["schema"]
    assert faults(described, json.loads(response.content)) == []


def test_the_document_would_catch_an_answer_that_is_not_as_it_says() -> None:
    club = SCHEMA["components"]["schemas"]["Club"]
    assert faults(club, {"uid": 7, "slug": "heron"})
