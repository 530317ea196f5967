"""Migrations against a database that was filled before them."""

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from analytics.models import FitRun
from analytics.requests import fit_stale_clubs
from clubdata.models import Job, JobKind
from tests.factories import NOW, make_club

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]


@pytest.fixture
def migrate_to() -> Iterator[Callable[[str], Any]]:
    """Migrates `analytics` to the named migration and gives its models; in the end all is as it was.

    One step after another, as a database that is older than the migration in one go.
    """

    def executor() -> MigrationExecutor:
        by_steps = MigrationExecutor(connection)
        for key, migration in by_steps.loader.disk_migrations.items():
            if migration.replaces:
                by_steps.recorder.record_unapplied(*key)
        by_steps.loader = MigrationLoader(connection, replace_migrations=False)
        return by_steps

    def migrate(name: str) -> Any:
        executor().migrate([("analytics", name)])
        return executor().loader.project_state([("analytics", name)]).apps

    latest = executor().loader.graph.leaf_nodes("analytics")[-1][1]
    yield migrate
    migrate(latest)


def test_fits_of_the_first_format_go_and_are_asked_for_again(migrate_to: Callable[[str], Any]) -> None:
    before = migrate_to("0003_what_nobody_read")
    club = make_club("old", revision=7)
    job = Job.objects.create(
        club=club, kind=JobKind.FIT, created_at=NOW, state="finished", finished_at=NOW, result={"revision": 7}
    )
    run = before.get_model("analytics", "FitRun").objects.create(
        **{"club_id": club.pk, "job_id": job.pk, "revision": 7, "fingerprint": "ab" * 32, "format": 1},
        **{"first_on": date(2020, 1, 1), "last_on": date(2023, 1, 1), "rows_used": 90, "blanks": 9},
        **{"power": 1.5, "dispersion": 20.0, "intercept": 6.0, "intercept_se": 0.1, "edf": 9.0},
        **{"deviance": 1.0, "converged": True, "gradient": 1e-6, "iterations": 9, "seconds": 0.5},
        **{
            "covariance": b"-",
            "covariance_size": 1,
            "covariance_dtype": "<f8",
            "covariance_sha256": "cd" * 32,
        },
        **{"fitted_at": NOW, "promoted": True, "promoted_at": NOW},
    )
    term = before.get_model("analytics", "FitTerm").objects.create(
        club_id=club.pk, run=run, position=0, name="peg", kind="factor", prior_sd=0.4, edf=2.0, first_column=1
    )
    before.get_model("analytics", "FitCoefficient").objects.create(
        club_id=club.pk, term=term, position=0, level="ef", estimate=0.1, standard_error=0.2
    )
    migrate_to("0005_what_reml_finds")
    assert not FitRun.objects.exists()
    assert Job.objects.filter(pk=job.pk).exists(), "what happened stays told"
    assert [asked.club for asked in fit_stale_clubs(now=NOW)] == [club]
