"""Two fits of a club that end in the same moment."""

import contextlib
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pandas as pd
import pytest
from django.db import connection

from analytics import store
from analytics.catchrate.estimates import Estimates
from analytics.models import FitRun
from analytics.store import load_fit, promoted_run, store_fit
from clubdata.models import Job, JobState
from clubdata.services import jobs
from tests.factories import make_club
from tests.simulation.once import fitted_once, steady_ids
from tests.simulation.stored import NOW, fit_now, store_club
from tests.unit.analytics.test_store import claimed, fitted


@pytest.fixture
def estimates(transactional_db: None, simulated_frame: pd.DataFrame) -> Estimates:
    """In committed records, which other connections see."""
    with steady_ids("heron-small"):
        club = store_club("heron-small", simulated_frame).club
    with fitted_once():
        fit_now(club)
    run = promoted_run(club=club)
    assert run is not None
    return load_fit(run).estimates


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite has one writer at a time anyway")
def test_two_fits_of_a_club_that_end_together_are_both_stored_and_one_is_served(
    estimates: Estimates, monkeypatch: pytest.MonkeyPatch
) -> None:
    club = make_club("other")
    claims = [claimed(club), claimed(club)]
    both_have_stored = threading.Barrier(2)
    real = store._store_terms

    def together(run: FitRun, documents: list[dict[str, Any]]) -> None:
        real(run, documents)
        # Waits until neither has promoted yet, or until it is plain that the other is held back.
        with contextlib.suppress(threading.BrokenBarrierError):
            both_have_stored.wait(timeout=2.0)

    def end(claim: jobs.Claim) -> None:
        try:
            store_fit(claim=claim, now=NOW, fitted=fitted(estimates))
        finally:
            connection.close()

    monkeypatch.setattr(store, "_store_terms", together)
    with ThreadPoolExecutor(2) as workers:
        for ended in [workers.submit(end, claim) for claim in claims]:
            ended.result()
    runs = FitRun.objects.filter(club=club)
    assert sorted(runs.values_list("promoted", flat=True)) == [False, True]
    assert Job.objects.filter(club=club, state=JobState.FINISHED).count() == 2
