"""The invented clubs that tests of every room share, and a client signed in by token."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from analytics.catchrate.check import Check
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.trust import verdict_of
from analytics.catchrate.validation import Validation
from analytics.catchrate.verdict import HELD, INTERVALS_OFF, NO_BETTER, Verdict
from clubdata.models import Account
from clubdata.services.accounts import issue_token
from tests.factories import SmallClub, make_small_club
from tests.simulation.once import steady_ids


@pytest.fixture(autouse=True)
def fits_of_little_clubs_serve(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether a fit of a few hundred returns beats every baseline is luck, and differs with the random ids.

    Answers are asked about fits that serve; the tests of the rule itself are marked `judged`.
    """
    if request.node.get_closest_marker("judged") is None:
        by_unseen_days = {NO_BETTER, INTERVALS_OFF}

        def lenient(check: Check, validation: Validation | Refusal) -> Verdict:
            verdict = verdict_of(check, validation)
            return Verdict(HELD, "") if verdict.code in by_unseen_days else verdict

        monkeypatch.setattr("analytics.runs.verdict_of", lenient)


@pytest.fixture
def heron_small(db: None) -> SmallClub:
    with steady_ids("heron-small"):
        return make_small_club("heron-small")


@pytest.fixture
def other_club(db: None) -> SmallClub:
    with steady_ids("grebe-small"):
        return make_small_club("grebe-small")


@pytest.fixture
def client_for() -> Callable[[Account | None], APIClient]:
    """A client that carries a fresh token of the account, or none at all."""

    def signed_in(account: Account | None) -> APIClient:
        client = APIClient()
        if account is not None:
            _, key = issue_token(
                account=account, device="test", now=timezone.now(), lifetime=timedelta(hours=1)
            )
            client.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")
        return client

    return signed_in
