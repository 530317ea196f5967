"""Two clubs in which every route has something to show: stocked once a module, new to every test."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.contract.fitted import stock_and_fit
from tests.contract.routes import StockedClub, stock
from tests.factories import make_small_club
from tests.modules import small_club_of_a_module
from tests.simulation.once import steady_ids


@pytest.fixture(scope="module")
def stocked(django_db_setup: None, django_db_blocker: Any) -> Iterator[StockedClub]:
    with small_club_of_a_module(django_db_blocker) as small:
        yield stock(small)


@pytest.fixture(scope="module")
def other_stocked(stocked: StockedClub, django_db_blocker: Any) -> StockedClub:
    with django_db_blocker.unblock(), steady_ids("grebe-small"):
        return stock(make_small_club("grebe-small"))


@pytest.fixture(scope="module")
def fitted_of_module(django_db_setup: None, django_db_blocker: Any) -> Iterator[StockedClub]:
    with small_club_of_a_module(django_db_blocker) as small:
        yield stock_and_fit(small)


@pytest.fixture
def fitted(fitted_of_module: StockedClub, db: None) -> StockedClub:
    return fitted_of_module
