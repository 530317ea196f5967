"""A small simulated club in the database, and fits of it."""

from collections.abc import Iterator
from typing import Any

import pandas as pd
import pytest

from analytics import store
from tests.modules import kept_for_a_module
from tests.simulation.club import simulate_club
from tests.simulation.once import fitted_once, steady_ids
from tests.simulation.stored import NOW, StoredClub, clock, fit_now, store_club

__all__ = ["NOW", "StoredClub", "clock", "fit_now", "store_club"]


@pytest.fixture(scope="session")
def simulated_frame() -> pd.DataFrame:
    return simulate_club(seed=7, returns=700, pegs=12, anglers=12, waters=2, years=3).frame


@pytest.fixture(scope="module")
def stored_of_module(
    django_db_setup: None, django_db_blocker: Any, simulated_frame: pd.DataFrame
) -> Iterator[StoredClub]:
    """For modules in which nobody looks for a database without it."""
    with kept_for_a_module(django_db_blocker):
        with steady_ids("heron-small"):
            stored = store_club("heron-small", simulated_frame)
        yield stored


@pytest.fixture
def stored_club(db: None, simulated_frame: pd.DataFrame) -> StoredClub:
    with steady_ids("heron-small"):
        return store_club("heron-small", simulated_frame)


@pytest.fixture
def fitted_club(stored_club: StoredClub) -> StoredClub:
    with fitted_once():
        fit_now(stored_club.club)
    return stored_club


@pytest.fixture(autouse=True)
def _no_fit_cached() -> Iterator[None]:
    store.forget()
    yield
    store.forget()
