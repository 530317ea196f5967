"""Two clubs in which every route has something to show: stocked once a module, new to every test."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import transaction

from tests.contract.fitted import stock_and_fit
from tests.contract.routes import StockedClub, stock
from tests.factories import SmallClub, make_small_club
from tests.simulation.once import steady_ids


@contextmanager
def kept_for_a_module(blocker: Any) -> Iterator[None]:
    """One transaction around a module's tests, whose own are savepoints in it; all is rolled back."""
    with blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def stocked(django_db_setup: None, django_db_blocker: Any) -> Iterator[StockedClub]:
    with kept_for_a_module(django_db_blocker):
        with steady_ids("heron-small"):
            small = make_small_club("heron-small")
        yield stock(small)


@pytest.fixture(scope="module")
def other_stocked(stocked: StockedClub, django_db_blocker: Any) -> StockedClub:
    with django_db_blocker.unblock(), steady_ids("grebe-small"):
        return stock(make_small_club("grebe-small"))


@pytest.fixture
def fitted(heron_small: SmallClub) -> StockedClub:
    return stock_and_fit(heron_small)
