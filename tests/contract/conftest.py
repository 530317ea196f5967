"""Two clubs in which every route has something to show."""

import pytest

from tests.contract.fitted import stock_and_fit
from tests.contract.routes import StockedClub, stock
from tests.factories import SmallClub


@pytest.fixture
def stocked(heron_small: SmallClub) -> StockedClub:
    return stock(heron_small)


@pytest.fixture
def other_stocked(other_club: SmallClub) -> StockedClub:
    return stock(other_club)


@pytest.fixture
def fitted(heron_small: SmallClub) -> StockedClub:
    return stock_and_fit(heron_small)
