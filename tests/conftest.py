"""The invented clubs that tests of every room share, and a client signed in by token."""

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from clubdata.models import Account
from clubdata.services.accounts import issue_token
from clubdata.services.grounds import forget_grounds
from clubdata.services.lexicon import forget_words
from tests.factories import SmallClub, make_small_club
from tests.modules import little_clubs_serve
from tests.simulation.once import steady_ids


@pytest.fixture(autouse=True)
def fits_of_little_clubs_serve(request: pytest.FixtureRequest) -> Iterator[None]:
    """Answers are asked about fits that serve; the tests of the rule itself are marked `judged`."""
    if request.node.get_closest_marker("judged") is not None:
        yield
        return
    with little_clubs_serve():
        yield


@pytest.fixture(autouse=True)
def places_and_words_are_read_anew() -> None:
    """Clubs of tests have the same public ids and write their places past the services."""
    forget_words()
    forget_grounds()


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
