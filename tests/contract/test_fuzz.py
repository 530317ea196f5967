"""Requests made from the schema, right and wrong ones: no 5xx, and no answer that the schema does not have.

`CLUBDATA_FUZZ_EXAMPLES=500 uv run pytest tests/contract/test_fuzz.py` asks each route more often.
"""

import os
from datetime import timedelta
from typing import Any

import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from clubdata.services.accounts import issue_token
from tests.contract.routes import StockedClub

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
EXAMPLES = int(os.environ.get("CLUBDATA_FUZZ_EXAMPLES", "4"))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
schema = schemathesis.openapi.from_wsgi("/api/schema/?format=json", get_wsgi_application())


@schema.parametrize()
@settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    database=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_request_gets_an_answer_of_the_schema(case: Any, stocked: StockedClub, key: str) -> None:
    if "slug" in case.path_parameters:
        case.path_parameters["slug"] = stocked.small.club.slug
    if "uid" in case.path_parameters:
        known = stocked.address(case.operation.path)
        case.path_parameters["uid"] = next(part for part in known.split("/") if part.count("-") == 4)
    with transaction.atomic():
        answer = case.call(headers={"Authorization": f"Bearer {key}"})
        transaction.set_rollback(True)
    case.validate_response(answer, checks=CHECKS)


@pytest.fixture
def key(stocked: StockedClub, db: None) -> str:
    """The secretary's."""
    account = stocked.small.account("secretary")
    return issue_token(account=account, device="test", now=timezone.now(), lifetime=timedelta(days=1))[1]
