"""A study follows a promoted run, once, under its job's lease."""

import dataclasses
import json
from copy import copy
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

from analytics import study
from analytics.answers.standard import from_document, index_of, years_of
from analytics.models import FitRun, FitStudy
from analytics.requests import has_no_study, request_study
from analytics.store import KEPT_RUNS, load_fit, promoted_run
from analytics.study import run_study
from clubdata.models import Club, Job, JobKind, JobState, Member, Outcome, Return
from clubdata.services import jobs
from tests.factories import make_club
from tests.unit.analytics.conftest import NOW, StoredClub, clock, fit_now
from tests.unit.analytics.test_groups import tell_species

FITS = ["all", "matches_only", "did_not_weigh_as_zero", "did_not_weigh_censored"]


@pytest.fixture
def stored_club(stored_of_module: StoredClub, db: None) -> StoredClub:
    return dataclasses.replace(stored_of_module, club=copy(stored_of_module.club))


def study_job(club: Club) -> Job:
    """The study that the promoted run asked for."""
    return Job.objects.get(club=club, kind=JobKind.STUDY, state=JobState.QUEUED)


def claimed(job: Job) -> jobs.Claim:
    claim = jobs.claim(job_id=job.pk, now=NOW)
    assert claim is not None
    return claim


def study_now(club: Club) -> Job:
    job = study_job(club)
    run_study(claim=claimed(job), clock=clock)
    job.refresh_from_db()
    return job


def some_did_not_weigh(count: int) -> None:
    """Spread over the club: a match of none but such would be taken for a hard day."""
    weighed = list(Return.objects.filter(outcome=Outcome.WEIGHED).order_by("pk").values_list("pk", flat=True))
    some = weighed[:: len(weighed) // count][:count]
    Return.objects.filter(pk__in=some).update(
        outcome=Outcome.DID_NOT_WEIGH, weight_g=None, weight_unit="", weight_step=None
    )


def test_a_promoted_run_asks_for_its_study_and_the_study_ends_its_job(stored_club: StoredClub) -> None:
    some_did_not_weigh(20)
    run = fit_now(stored_club.club)
    assert has_no_study(club=stored_club.club)
    job = study_now(stored_club.club)
    assert job.state == JobState.FINISHED and job.result == {"run": str(run.uid), "stored": True}
    assert not has_no_study(club=stored_club.club)
    document = FitStudy.objects.get(run=run).document
    assert [fit["name"] for fit in document["fits"]] == FITS
    used = {fit["name"]: fit["rows_used"] for fit in document["fits"]}
    assert used["all"] == run.rows_used == used["did_not_weigh_as_zero"] - 20
    assert used["did_not_weigh_censored"] == used["did_not_weigh_as_zero"]
    assert (
        used["matches_only"]
        == Return.objects.filter(session_kind="match").exclude(outcome=Outcome.DID_NOT_WEIGH).count()
    )


def test_the_main_fit_stands_in_its_study_as_it_stands_in_the_answers(fitted_club: StoredClub) -> None:
    study_now(fitted_club.club)
    run = promoted_run(club=fitted_club.club)
    assert run is not None
    stored = load_fit(run)
    scope = study.scope_of(stored.estimates, stored.observed["series"], "")
    assert scope is not None
    index = index_of(
        stored.estimates, scope, study.year_cells(stored.estimates, scope, years_of(stored.estimates))
    )
    document = FitStudy.objects.get().document["fits"][0]["index"][""]["year"]
    again = from_document(document)
    np.testing.assert_allclose(again.log_rate, index.log_rate, rtol=1e-8)
    np.testing.assert_allclose(again.covariance, index.covariance, rtol=1e-8)


def test_unweighed_returns_as_zero_lower_what_leaving_them_out_says(stored_club: StoredClub) -> None:
    some_did_not_weigh(60)
    fit_now(stored_club.club)
    study_now(stored_club.club)
    fits = {fit["name"]: fit for fit in FitStudy.objects.get().document["fits"]}
    levels = {
        name: float(np.mean(from_document(fit["index"][""]["year"]).log_rate)) for name, fit in fits.items()
    }
    assert levels["did_not_weigh_as_zero"] < levels["all"]
    assert levels["did_not_weigh_censored"] != levels["all"]


def test_a_second_study_of_the_same_run_does_nothing(fitted_club: StoredClub) -> None:
    study_now(fitted_club.club)
    before = FitStudy.objects.get()
    with patch.object(study, "fit_catch", side_effect=AssertionError("fitted again")):
        request_study(club=fitted_club.club, now=NOW)
        job = study_now(fitted_club.club)
    assert job.state == JobState.FINISHED and job.result["stored"] is False
    assert FitStudy.objects.get() == before


def test_a_late_attempt_stores_nothing(stored_club: StoredClub) -> None:
    tell_species(stored_club)
    fit_now(stored_club.club)
    claim = claimed(study_job(stored_club.club))
    real = study.groups_of

    def lost_meanwhile(*args: Any) -> Any:
        Job.objects.filter(pk=claim.job_id).update(attempt=2)
        return real(*args)

    with patch.object(study, "groups_of", lost_meanwhile), pytest.raises(jobs.LeaseLost):
        run_study(claim=claim, clock=clock)
    assert not FitStudy.objects.exists() and not FitRun.objects.exclude(target="").exists()


def test_a_lease_that_is_lost_at_the_very_end_stores_nothing_either(fitted_club: StoredClub) -> None:
    claim = claimed(study_job(fitted_club.club))
    real = jobs.finish

    def lost(**values: Any) -> None:
        Job.objects.filter(pk=claim.job_id).update(attempt=2)
        real(**values)

    with patch.object(jobs, "finish", lost), pytest.raises(jobs.LeaseLost):
        run_study(claim=claim, clock=clock)
    assert not FitStudy.objects.exists()


def test_a_run_that_is_displaced_meanwhile_keeps_no_study(fitted_club: StoredClub) -> None:
    club, job = fitted_club.club, study_job(fitted_club.club)
    claim = claimed(job)
    real = study.groups_of

    def overtaken(*args: Any) -> Any:
        club.raise_revision()
        fit_now(club)
        return real(*args)

    with patch.object(study, "groups_of", overtaken):
        run_study(claim=claim, clock=clock)
    job.refresh_from_db()
    assert job.state == JobState.FINISHED and job.result["stored"] is False
    assert not FitStudy.objects.exists()
    assert has_no_study(club=club) and study_job(club), "the later run has asked for its own"


def test_returns_that_came_in_since_are_told_and_in_every_fit_alike(fitted_club: StoredClub) -> None:
    some_did_not_weigh(30)
    fitted_club.club.raise_revision()
    study_now(fitted_club.club)
    document = FitStudy.objects.get().document
    assert document["same_rows"] is False
    used = {fit["name"]: fit["rows_used"] for fit in document["fits"]}
    assert used["all"] == used["did_not_weigh_as_zero"] - 30


@pytest.mark.django_db
def test_without_a_promoted_run_there_is_nothing_to_study() -> None:
    club = make_club("empty")
    request_study(club=club, now=NOW)
    job = study_now(club)
    assert (job.state, job.reason_code) == (JobState.REFUSED, "no_fit")


def test_a_fit_that_does_not_come_out_is_told_with_its_reason(stored_club: StoredClub) -> None:
    Return.objects.filter(session_kind="match").update(match=None, session_kind="pleasure")
    fit_now(stored_club.club)
    study_now(stored_club.club)
    matches = FitStudy.objects.get().document["fits"][1]
    assert matches["refusal"]["code"] == "too_few_returns" and matches["index"] == {}


def test_groups_with_enough_have_a_run_beside_the_promoted_one(stored_club: StoredClub) -> None:
    tell_species(stored_club)
    run = fit_now(stored_club.club)
    study_now(stored_club.club)
    document = FitStudy.objects.get().document
    told = {item["group"]: item for item in document["groups"]}
    for group, item in told.items():
        beside = promoted_run(club=stored_club.club, target=group)
        assert (beside is not None) == item["fitted"], item
        if beside is not None:
            assert beside.beside_id == run.pk and beside.rows_used == item["returns"]
            assert load_fit(beside).estimates.convergence.converged
    assert any(item["fitted"] for item in told.values()), told


def test_a_group_with_too_few_returns_says_so(stored_club: StoredClub) -> None:
    tell_species(stored_club, every=5)
    fit_now(stored_club.club)
    study_now(stored_club.club)
    told = FitStudy.objects.get().document["groups"]
    assert {item["code"] for item in told} == {"too_few_returns"} and len(told) == 2


def test_a_swept_run_takes_its_study_and_its_groups_along(stored_club: StoredClub) -> None:
    tell_species(stored_club)
    first = fit_now(stored_club.club)
    study_now(stored_club.club)
    assert FitRun.objects.filter(beside=first).exists()
    with patch.object(study, "fit_catch", side_effect=AssertionError("not now")):
        for _ in range(KEPT_RUNS):
            fit_now(stored_club.club)
    assert not FitRun.objects.filter(pk=first.pk).exists()
    assert not FitStudy.objects.exists() and not FitRun.objects.exclude(target="").exists()


def test_a_study_names_nobody(fitted_club: StoredClub) -> None:
    study_now(fitted_club.club)
    text = json.dumps(FitStudy.objects.get().document, allow_nan=False)
    assert not any(member.uid.hex in text or str(member.uid) in text for member in Member.objects.all())
