"""The simulated club with its fit, once a module: what is asked of it changes nothing, or is undone."""

from collections.abc import Iterator
from copy import copy
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from analytics.models import FitRun
from clubdata.models import Job
from tests.modules import kept_for_a_module, little_clubs_serve
from tests.simulation.once import fitted_once, steady_ids
from tests.simulation.stored import StoredClub, fit_now, store_club


@pytest.fixture(scope="module")
def club_of_module(
    django_db_setup: None, django_db_blocker: Any, simulated_frame: pd.DataFrame
) -> Iterator[StoredClub]:
    with kept_for_a_module(django_db_blocker):
        with steady_ids("heron-small"):
            stored = store_club("heron-small", simulated_frame)
        with fitted_once(), little_clubs_serve():
            fit_now(stored.club)
        yield stored


@pytest.fixture
def fitted_club(club_of_module: StoredClub, db: None) -> StoredClub:
    return replace(club_of_module, club=copy(club_of_module.club))


@pytest.fixture
def stored_club(fitted_club: StoredClub) -> StoredClub:
    """The club before its fit."""
    FitRun.objects.all().delete()
    Job.objects.all().delete()
    return fitted_club
