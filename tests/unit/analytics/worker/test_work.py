"""A claimed job always ends, or is left to its lease; and its end says nothing of what is in the rows."""

import logging
import threading
from datetime import UTC, datetime, timedelta

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.db import OperationalError

from analytics.worker import work
from analytics.worker.keeper import kept
from clubdata.errors import ClubdataError
from clubdata.logs import JsonFormatter
from clubdata.models import Club, Job, JobKind, JobState
from clubdata.services import jobs

NOON = datetime(2024, 6, 1, 12, tzinfo=UTC)


def noon() -> datetime:
    return NOON


@pytest.fixture
def job(db: None) -> Job:
    club = Club.objects.create(slug="heron", name="Heron")
    return jobs.request_job(club=club, kind=JobKind.IMPORT, payload={}, actor=None, now=NOON)


def run(job: Job, monkeypatch: pytest.MonkeyPatch, doing: work.Work) -> Job:
    monkeypatch.setitem(work.WORK, JobKind.IMPORT, doing)
    work.run_job(job_id=job.pk, clock=noon)
    job.refresh_from_db()
    return job


def raising(trouble: BaseException) -> work.Work:
    def doing(*, claim: jobs.Claim, clock: work.Clock) -> None:
        raise trouble

    return doing


def finishing(*, claim: jobs.Claim, clock: work.Clock) -> None:
    jobs.finish(claim=claim, now=clock(), result={"landed": 2})


def test_work_that_ends_its_job_is_left_as_it_ended(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    ended = run(job, monkeypatch, finishing)
    assert (ended.state, ended.result) == (JobState.FINISHED, {"landed": 2})


def test_a_second_bell_finds_nothing_to_do(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    run(job, monkeypatch, finishing)
    assert run(job, monkeypatch, raising(AssertionError("ran twice"))).state == JobState.FINISHED


def test_a_defect_ends_the_job_and_quotes_nothing(
    job: Job, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        ended = run(job, monkeypatch, raising(ValueError("Ann Angler, 12 Mere Lane")))
    assert (ended.state, ended.reason_code) == (JobState.FAILED, "defect")
    assert "ValueError" in ended.reason
    log = "\n".join(JsonFormatter().format(record) for record in caplog.records)
    assert '"type": "ValueError"' in log and "test_work.py" in log
    assert "Angler" not in ended.reason + log


def test_a_refusal_that_was_not_written_down_is_one(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    ended = run(job, monkeypatch, raising(ClubdataError("No such sheet.", code="no_such_file")))
    assert (ended.state, ended.reason_code, ended.reason) == (
        JobState.REFUSED,
        "no_such_file",
        "No such sheet.",
    )


def test_a_job_that_takes_too_long_says_so(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    ended = run(job, monkeypatch, raising(SoftTimeLimitExceeded()))
    assert (ended.state, ended.reason_code) == (JobState.FAILED, "time_limit")


@pytest.mark.parametrize("trouble", [OperationalError("away"), jobs.LeaseLost("not mine")])
def test_a_database_that_is_away_or_a_lost_lease_leaves_the_row_alone(
    job: Job, monkeypatch: pytest.MonkeyPatch, trouble: Exception
) -> None:
    left = run(job, monkeypatch, raising(trouble))
    assert (left.state, left.attempt, left.reason) == (JobState.RUNNING, 1, "")


@pytest.mark.parametrize("kind", JobKind.values)
def test_every_kind_of_job_has_its_work(kind: str) -> None:
    assert kind in work.WORK


@pytest.mark.django_db(transaction=True)
def test_the_lease_is_kept_while_the_work_computes(settings) -> None:  # type: ignore[no-untyped-def]
    settings.JOB_LEASE_S = 0.2
    club = Club.objects.create(slug="heron", name="Heron")
    job = jobs.request_job(club=club, kind=JobKind.FIT, payload={}, actor=None, now=NOON)
    claim = jobs.claim(job_id=job.pk, now=NOON)
    assert claim is not None
    asked = threading.Event()
    ticks = 0

    def clock() -> datetime:
        nonlocal ticks
        ticks += 1
        if ticks == 3:
            asked.set()
        return NOON + timedelta(seconds=ticks)

    with kept(claim=claim, clock=clock):
        assert asked.wait(10)
    job.refresh_from_db()
    assert job.heartbeat_at is not None and job.heartbeat_at >= NOON + timedelta(seconds=2)
    before = ticks
    assert not threading.Event().wait(0.3) and ticks == before


def test_the_study_that_a_fit_asked_for_is_rung_for(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    fit = jobs.request_job(club=job.club, kind=JobKind.FIT, payload={}, actor=None, now=NOON)
    rung: list[int] = []
    asked: list[Job] = []

    def promoted(*, claim: jobs.Claim, clock: work.Clock) -> None:
        asked.append(jobs.request_job(club=job.club, kind=JobKind.STUDY, payload={}, actor=None, now=clock()))
        jobs.finish(claim=claim, now=clock(), result={})

    monkeypatch.setattr(work, "ring", lambda *, job_id: rung.append(job_id))
    monkeypatch.setitem(work.WORK, JobKind.FIT, promoted)
    work.run_job(job_id=fit.pk, clock=noon)
    assert rung == [asked[0].pk]


def test_no_other_job_rings_for_a_study(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs.request_job(club=job.club, kind=JobKind.STUDY, payload={}, actor=None, now=NOON)
    rung: list[int] = []
    monkeypatch.setattr(work, "ring", lambda *, job_id: rung.append(job_id))
    run(job, monkeypatch, finishing)
    assert rung == []
