"""A club's fit from its rows to its promoted run."""

import json
from datetime import timedelta
from decimal import Decimal
from typing import Any
from unittest.mock import patch
from uuid import uuid4

import numpy as np
import pandas as pd
import pytest

from analytics import runs, store
from analytics.answers.freshness import Freshness, fit_status
from analytics.catchrate.check import Check, Diagnosis, Wall
from analytics.catchrate.estimates import FORMAT, Refusal
from analytics.catchrate.verdict import EFFORT_NOT_DESCRIBED, HELD, NO_GAIN, Verdict
from analytics.frames import ClubFrame
from analytics.models import FitRun
from analytics.report import report_of
from analytics.requests import FAILED_WAITS, fit_stale_clubs, request_fit
from analytics.runs import run_fit
from analytics.store import KEPT_RUNS, load_fit, promoted_run
from clubdata.models import Club, Job, JobState, Outcome, Return, SessionPart
from clubdata.services import jobs
from tests.factories import make_club, make_member, make_pegs, make_return, make_water
from tests.simulation.once import fitted_once
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

    def arrives_meanwhile(*args: Any, **early: Any) -> object:
        touch(club)
        return real(*args, **early)

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
    assert run.rows_left_out == {"did_not_weigh": 9} and run.did_not_weigh == "left out"
    assert run.rows_used == len(stored_club.frame) - 9


def test_what_is_known_to_be_at_least_is_used_as_that_and_counted(stored_club: StoredClub) -> None:
    some = list(Return.objects.filter(outcome=Outcome.WEIGHED).values_list("pk", flat=True)[:5])
    Return.objects.filter(pk__in=some).update(outcome=Outcome.OVER_NET_LIMIT)
    run = fit_now(stored_club.club)
    assert (run.bounded, run.rows_left_out, run.rows_used) == (5, {}, len(stored_club.frame))


def test_one_weight_of_several_parts_is_shared_and_counted(stored_club: StoredClub) -> None:
    for part in SessionPart.objects.filter(hook_bait__isnull=False).order_by("pk")[:7]:
        part.pk, part.uid, part.part_order = None, uuid4(), part.part_order + 1
        part.save(force_insert=True)
    run = fit_now(stored_club.club)
    assert (run.several_parts, run.rows_used) == (7, len(stored_club.frame))


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


def test_guests_and_who_roved_are_fitted_with_everyone(stored_club: StoredClub) -> None:
    pks = list(Return.objects.filter(club=stored_club.club).values_list("pk", flat=True)[:40])
    Return.objects.filter(pk__in=pks[:20]).update(guest=True)
    Return.objects.filter(pk__in=pks[20:]).update(roved=True, peg=None)
    run = fit_now(stored_club.club)
    assert run.rows_used == len(stored_club.frame)


def test_only_the_last_runs_stay(stored_club: StoredClub) -> None:
    # Each from nothing, which comes to the same.
    with fitted_once(), patch.object(runs, "_earlier_fit", lambda _club: None):
        for _ in range(KEPT_RUNS + 2):
            latest = fit_now(stored_club.club)
    assert FitRun.objects.count() == KEPT_RUNS
    assert FitRun.objects.get(promoted=True) == latest


def test_the_same_returns_give_the_same_numbers(stored_club: StoredClub) -> None:
    first = fit_now(stored_club.club)
    one = load_fit(first).estimates
    FitRun.objects.all().delete()
    second = fit_now(stored_club.club)
    other = load_fit(second).estimates
    assert first.fingerprint == second.fingerprint
    assert one.intercept == other.intercept
    assert [item.estimates for item in one.terms] == [item.estimates for item in other.terms]
    assert np.array_equal(one.covariance_factor, other.covariance_factor)


def test_a_fit_begins_from_the_one_that_is_served_and_comes_to_the_same(stored_club: StoredClub) -> None:
    """Within the ten-thousandth of a standard error that the model's own law asks of warm and cold."""
    first, second = fit_now(stored_club.club), fit_now(stored_club.club)
    assert (first.warm_from, second.warm_from) == (None, first.uid)
    assert second.iterations < first.iterations
    cold, warm = load_fit(first).estimates, load_fit(second).estimates
    assert warm.intercept == pytest.approx(cold.intercept, abs=1e-4 * cold.intercept_se)
    for one, other in zip(cold.terms, warm.terms, strict=True):
        apart = np.abs(np.array(one.estimates) - other.estimates) / one.standard_errors
        assert apart.max() < 1e-4, one.name


def test_an_earlier_fit_that_cannot_be_read_is_left_alone(stored_club: StoredClub) -> None:
    fit_now(stored_club.club)
    store.forget()
    FitRun.objects.update(covariance=b"nonsense")
    run = fit_now(stored_club.club)
    assert run.warm_from is None and run.promoted


def test_an_earlier_fit_of_another_format_is_left_alone_and_asked_for_again(stored_club: StoredClub) -> None:
    fit_now(stored_club.club)
    FitRun.objects.update(format=FORMAT - 1)
    assert promoted_run(club=stored_club.club) is None
    assert fit_status(club=stored_club.club).freshness is Freshness.NONE
    assert [job.club for job in fit_stale_clubs(now=NOW)] == [stored_club.club]
    run = fit_now(stored_club.club)
    assert run.warm_from is None and run.promoted


def test_a_fit_that_an_earlier_one_leads_nowhere_is_begun_again(stored_club: StoredClub) -> None:
    fit_now(stored_club.club)
    real, begun = runs.fit_catch, []

    def lost_when_warm(frame: Any, spec: Any, tell: Any, warm: Any, **early: Any) -> object:
        if early:
            return real(frame, spec, tell, warm, **early)
        begun.append("cold" if warm is None else "warm")
        return real(frame, spec, tell, warm) if warm is None else Refusal("not_converged", "-")

    with patch.object(runs, "fit_catch", lost_when_warm):
        run = fit_now(stored_club.club)
    assert begun == ["warm", "cold"]
    assert run.warm_from is None and run.promoted


def test_a_warm_fit_that_does_not_pass_its_check_is_begun_again(stored_club: StoredClub) -> None:
    fit_now(stored_club.club)
    with patch.object(runs, "misfit_of", lambda _: Verdict(NO_GAIN, "-")):
        run = fit_now(stored_club.club)
    assert run.warm_from is None and run.promoted


def test_progress_counts_the_iterations(stored_club: StoredClub) -> None:
    told: list[tuple[int, int, str]] = []
    claim = claimed(stored_club.club)
    run_fit(claim=claim, clock=clock, progress=lambda *step: told.append(step))
    steps = [step for _, _, step in told]
    iterations = FitRun.objects.get().iterations
    assert steps[0] == "reading the returns" and steps[-3:] == ["checking", "storing", "done"]
    assert {f"fitting: iteration {number}" for number in range(1, iterations + 1)} <= set(steps)
    done = [number for number, _, _ in told]
    assert done == sorted(done) and done[-1] == told[-1][1]


def test_what_the_check_and_the_diagnosis_found_is_kept_without_people(stored_club: StoredClub) -> None:
    run = fit_now(stored_club.club)
    report = run.check_report
    assert report["check"]["returns"] == run.rows_used
    assert {item["covariate"] for item in report["diagnosis"]["flatness"]} >= {"fitted", "season", "year"}
    pulling = report["diagnosis"]["influential"]
    heaviest = Return.objects.get(uid=pulling[0]["uid"])
    assert heaviest.club == stored_club.club
    assert pulling and all(
        (Return.objects.get(uid=item["uid"]).weight_g or 0) == item["weight_g"] for item in pulling
    )
    text = json.dumps(report, allow_nan=False)
    assert not any(member.uid.hex in text for member in stored_club.members.values())


def test_an_angler_at_a_wall_is_not_named() -> None:
    diagnosis = Diagnosis(
        residuals=0,
        residual_mean=float("nan"),
        residual_sd=float("nan"),
        flatness=(),
        influential=(),
        walls=(Wall("angler", "ab12", -6.0), Wall("peg", "cd34", 7.0)),
    )
    empty = ClubFrame(pd.DataFrame(), 1, "", np.empty((0, 2), dtype=np.uint64))
    report = report_of(check(), diagnosis, Refusal("few", "Too few."), empty)["diagnosis"]
    assert [wall["level"] for wall in report["walls"]] == ["", "cd34"]
    assert report["residual_mean"] is None, "JSON knows no NaN"


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


def enter_hours_at_random(club: Club) -> None:
    """Hours that have nothing to do with the sessions: nobody's fit, but one comes out."""
    rng = np.random.default_rng(3)
    sessions = list(Return.objects.filter(club=club))
    for session in sessions:
        session.hours = Decimal(int(rng.integers(3, 25))) / 2
    Return.objects.bulk_update(sessions, ["hours"])
    touch(club)


@pytest.mark.judged
def test_a_fit_that_does_not_hold_is_kept_and_the_last_good_one_serves(stored_club: StoredClub) -> None:
    club = stored_club.club
    good = fit_now(club)
    assert (good.verdict, good.verdict_reason, good.promoted) == (HELD, "", True)
    enter_hours_at_random(club)
    bad = fit_now(club)
    assert (bad.verdict, bad.promoted) == (EFFORT_NOT_DESCRIBED, False)
    assert "hours" in bad.verdict_reason
    assert promoted_run(club=club) == good
    assert bad.job.state == JobState.FINISHED
    assert (bad.job.result["promoted"], bad.job.result["verdict"]) == (False, EFFORT_NOT_DESCRIBED)
    assert bad.job.result["verdict_reason"] == bad.verdict_reason
    status = fit_status(club=club)
    assert status.fit is not None
    assert (status.freshness, status.fit.uid, status.fit.verdict) == (Freshness.STALE, good.uid, HELD)
    assert (status.kept_uid, status.kept_code) == (bad.job.uid, EFFORT_NOT_DESCRIBED)
    assert status.kept_reason == bad.verdict_reason


def test_returns_that_were_tried_in_vain_are_not_tried_again_until_one_changes(
    stored_club: StoredClub,
) -> None:
    club = stored_club.club
    enter_hours_at_random(club)
    fit_now(club)
    assert promoted_run(club=club) is None
    assert fit_stale_clubs(now=NOW) == []
    touch(club)
    assert [job.club for job in fit_stale_clubs(now=NOW)] == [club]


def test_what_an_earlier_format_found_wanting_is_tried_again(stored_club: StoredClub) -> None:
    enter_hours_at_random(stored_club.club)
    fit_now(stored_club.club)
    FitRun.objects.update(format=FORMAT - 1)
    assert [job.club for job in fit_stale_clubs(now=NOW)] == [stored_club.club]


@pytest.mark.judged
def test_the_kept_run_says_why_in_figures_too(stored_club: StoredClub) -> None:
    enter_hours_at_random(stored_club.club)
    run = fit_now(stored_club.club)
    exponents = run.check_report["check"]["effort_exponents"]
    assert any(abs(item["exponent"] - 1) > 0.6 and abs(item["z"]) > 3 for item in exponents)
    assert len(run.check_report["validation"]["comparisons"]) == 3


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
