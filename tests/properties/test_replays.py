"""Whatever is sent in whatever order: one return a key, and each key's answers are its first one's."""

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from clubdata.models import Account, Return, StoredReply
from tests.factories import SmallClub

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
RETURNS = "/api/v1/clubs/heron-small/returns/"
WEIGHTS = ["3-2", "12lb 8oz", "blank", "3.8"]
SENT = st.lists(st.tuples(st.sampled_from(["a", "b", "c"]), st.sampled_from(WEIGHTS)), max_size=8)


@given(sent=SENT)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_key_stands_for_its_first_request_that_was_kept(
    sent: list[tuple[str, str]], heron_small: SmallClub, client_for: Callable[[Account], APIClient]
) -> None:
    StoredReply.objects.all().delete()
    Return.with_removed.all().delete()
    client = client_for(heron_small.account())
    first: dict[str, tuple[str, bytes]] = {}
    for key, weight in sent:
        body = {"water": "Heron-Small Mere", "peg": "3", "fished_on": "2024-06-01", "hours": 5}
        answer = client.post(RETURNS, {**body, "weight": weight}, headers={"Idempotency-Key": f'"{key}"'})
        if key in first:
            said, content = first[key]
            assert answer.status_code == (201 if said == weight else 422)
            assert said != weight or answer.content == content
        elif weight == "3.8":
            assert answer.status_code == 400
        else:
            assert answer.status_code == 201
            first[key] = weight, answer.content
    assert Return.objects.count() == len(first)
