"""A club's fit from its rows to its promoted run."""

from datetime import timedelta
from unittest.mock import patch

import pytest

from analytics import runs
from analytics.answers.freshness import Freshness, fit_status
from analytics.catchrate.check import Check
from analytics.models import FitRun
from analytics.requests import FAILED_WAITS, fit_stale_clubs, request_fit
from analytics.runs import refusal_of, run_fit
from analytics.store import KEPT_RUNS, load_fit
from clubdata.models import Club, Job, JobState, Outcome, Return
from clubdata.services import jobs
from tests.factories import make_club, make_member, make_pegs, make_return, make_water
from tests.unit.analytics.conftest import NOW, StoredClub, clock, fit_now


def claimed(club: Club) -> jobs.Claim:
    job = request_fit(club=club, actor=None, now=NOW)
    claim = jobs.claim(job_id=job.pk, now=NOW)
    assert claim is not None
    return claim


def touch(club: Club) -> None:
    """A return arrives."""
    club.raise_revision()


def test_a_fit_ends_its_job_and_is_promoted(stored_club: StoredClub) -> None:
    run = fit_now(stored_club.club)
    job = run.job
    assert job.state == JobState.FINISHED
    assert job.result["run"] == str(run.uid)
    assert run.promoted
    assert run.rows_used == len(stored_club.frame)
    assert run.blanks == int((stored_club.frame["weight_g"] == 0).sum())
    assert run.first_on == stored_club.frame["fished_on"].min().date()
    assert set(run.versions) >= {"python", "numpy", "statsmodels"}
    assert fit_status(club=stored_club.club).freshness is Freshness.FRESH


def test_a_return_that_arrives_during_the_fit_leaves_it_stale(stored_club: StoredClub) -> None:
    club = stored_club.club
    real = runs.fit_catch

    def arrives_meanwhile(*args: object) -> object:
        touch(club)
        return real(*args)  # type: ignore[arg-type]

    with patch.object(runs, "fit_catch", arrives_meanwhile):
        fit_now(club)
    assert fit_status(club=club).freshness is Freshness.STALE
    assert [job.club for job in fit_stale_clubs(now=NOW)] == [club]


def test_what_did_not_weigh_is_left_out_and_counted(stored_club: StoredClub) -> None:
    some = list(Return.objects.filter(outcome=Outcome.WEIGHED).values_list("pk", flat=True)[:9])
    Return.objects.filter(pk__in=some).update(
        outcome=Outcome.DID_NOT_WEIGH, weight_g=None, weight_unit="", weight_step=None
    )
    run = fit_now(stored_club.club)
    assert run.rows_left_out == {"did_not_weigh": 9}
    assert run.rows_used == len(stored_club.frame) - 9


@pytest.mark.django_db
def test_too_few_returns_are_refused_with_how_many_are_needed() -> None:
    club = make_club("small", revision=3)
    pegs = make_pegs(make_water(club, "Pond"), "1")
    make_return(make_member(club, "1"), pegs["1"])
    claim = claimed(club)
    run_fit(claim=claim, clock=clock)
    job = Job.objects.get(pk=claim.job_id)
    assert (job.state, job.reason_code) == (JobState.REFUSED, "too_few_returns")
    assert job.result["needed"] > 1
    assert job.result["outcomes"] == {"weighed": 1}
    assert not FitRun.objects.exists()


@pytest.mark.django_db
def test_a_club_without_any_return_is_refused_and_not_broken() -> None:
    claim = claimed(make_club("empty"))
    run_fit(claim=claim, clock=clock)
    assert Job.objects.get(pk=claim.job_id).reason_code == "too_few_returns"


def test_a_late_attempt_stores_nothing(stored_club: StoredClub) -> None:
    claim = claimed(stored_club.club)
    real = runs.check_fit

    def lost_meanwhile(*args: object) -> object:
        Job.objects.filter(pk=claim.job_id).update(attempt=2)
        return real(*args)  # type: ignore[arg-type]

    with patch.object(runs, "check_fit", lost_meanwhile), pytest.raises(jobs.LeaseLost):
        run_fit(claim=claim, clock=clock)
    assert not FitRun.objects.exists()


def test_a_fit_of_older_returns_does_not_displace_a_later_one(stored_club: StoredClub) -> None:
    club = stored_club.club
    slow = claimed(club)
    real = runs.check_fit

    def overtaken(*args: object) -> object:
        with patch.object(runs, "check_fit", real):
            touch(club)
            fit_now(club)
        return real(*args)  # type: ignore[arg-type]

    with patch.object(runs, "check_fit", overtaken):
        run_fit(claim=slow, clock=clock)
    served = FitRun.objects.get(club=club, promoted=True)
    assert served.job_id != slow.job_id
    assert Job.objects.get(pk=slow.job_id).result["promoted"] is False


def test_only_the_last_runs_stay(stored_club: StoredClub) -> None:
    for _ in range(KEPT_RUNS + 2):
        latest = fit_now(stored_club.club)
    assert FitRun.objects.count() == KEPT_RUNS
    assert FitRun.objects.get(promoted=True) == latest


def test_the_same_returns_give_the_same_numbers(stored_club: StoredClub) -> None:
    first, second = fit_now(stored_club.club), fit_now(stored_club.club)
    assert first.fingerprint == second.fingerprint
    one, other = load_fit(first).estimates, load_fit(second).estimates
    assert one.intercept == other.intercept
    assert [item.estimates for item in one.terms] == [item.estimates for item in other.terms]


def check(**values: float) -> Check:
    good = {
        "returns": 100,
        "blank_share_observed": 0.1,
        "blank_share_fitted": 0.1,
        "blank_share_z": 0.0,
        "pearson_dispersion": 1.0,
        "deviance": 1.0,
        "baseline_deviance": 2.0,
        "deviance_explained": 0.5,
    }
    return Check(**{**good, **values})  # type: ignore[arg-type]


def test_a_fit_that_describes_another_club_is_not_served() -> None:
    assert refusal_of(check()) is None
    unlike = refusal_of(check(blank_share_observed=0.4))
    assert unlike is not None and unlike.code == "blanks_not_described"
    vain = refusal_of(check(deviance_explained=-0.1))
    assert vain is not None and vain.code == "no_gain"
    unknown = refusal_of(check(deviance_explained=float("nan")))
    assert unknown is not None


def test_the_schedule_asks_for_nothing_while_a_fit_is_under_way(stored_club: StoredClub) -> None:
    assert len(fit_stale_clubs(now=NOW)) == 1
    assert fit_stale_clubs(now=NOW) == []
    job = Job.objects.get()
    jobs.claim(job_id=job.pk, now=NOW)
    assert fit_stale_clubs(now=NOW) == []


@pytest.mark.django_db
def test_the_schedule_does_not_repeat_a_refusal_until_returns_change() -> None:
    club = make_club("small", revision=3)
    claim = claimed(club)
    run_fit(claim=claim, clock=clock)
    assert fit_stale_clubs(now=NOW) == []
    touch(club)
    assert [job.club for job in fit_stale_clubs(now=NOW)] == [club]


@pytest.mark.django_db
def test_the_schedule_waits_after_a_failure() -> None:
    club = make_club("unlucky", revision=3)
    jobs.fail(claim=claimed(club), now=NOW, code="defect", reason="-")
    assert fit_stale_clubs(now=NOW + FAILED_WAITS - timedelta(seconds=1)) == []
    assert [job.club for job in fit_stale_clubs(now=NOW + FAILED_WAITS)] == [club]


@pytest.mark.django_db
def test_the_schedule_leaves_a_club_alone_that_never_had_a_return() -> None:
    make_club("new")
    assert fit_stale_clubs(now=NOW) == []
