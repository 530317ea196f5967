"""Which fit answers, whether it is stale, and what became of the last one asked for."""

import pytest

from analytics.answers.freshness import Freshness, fit_status
from analytics.requests import request_fit
from clubdata.services import jobs
from tests.factories import make_club
from tests.unit.analytics.conftest import NOW, StoredClub


def test_a_fit_is_fresh_until_a_return_changes(fitted_club: StoredClub) -> None:
    status = fit_status(club=fitted_club.club)
    assert status.freshness is Freshness.FRESH
    assert status.fit is not None and status.fit.rows_used == len(fitted_club.frame)
    fitted_club.club.raise_revision()
    assert fit_status(club=fitted_club.club).freshness is Freshness.STALE


@pytest.mark.django_db
def test_a_club_without_a_fit_tells_of_the_job_and_of_its_refusal() -> None:
    club = make_club("new")
    assert fit_status(club=club).freshness is Freshness.NONE
    job = request_fit(club=club, actor=None, now=NOW)
    assert fit_status(club=club).job_uid == job.uid
    claim = jobs.claim(job_id=job.pk, now=NOW)
    assert claim is not None
    jobs.refuse(claim=claim, now=NOW, code="too_few_returns", reason="Too few.", result={})
    status = fit_status(club=club)
    assert status.job_uid is None
    assert (status.refused_code, status.refused_reason) == ("too_few_returns", "Too few.")


def test_another_clubs_fit_is_not_this_ones(fitted_club: StoredClub) -> None:
    assert fit_status(club=make_club("other")).fit is None
