"""Jobs: one claim, one lease, one end, whatever order messages and workers come in."""

from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase as DjangoProperties

from clubdata.models import Club, Job, JobKind, JobState
from clubdata.services import jobs

NOON = datetime(2024, 6, 1, 12, tzinfo=UTC)
LEASE = timedelta(seconds=settings.JOB_LEASE_S)
LAPSED = NOON + LEASE + timedelta(seconds=1)


@pytest.fixture
def club(db: None) -> Club:
    return Club.objects.create(slug="heron", name="Heron")


def requested(club: Club, kind: JobKind = JobKind.IMPORT, now: datetime = NOON) -> Job:
    return jobs.request_job(club=club, kind=kind, payload={"path": "sheet.csv"}, actor=None, now=now)


def claimed(job: Job, now: datetime = NOON) -> jobs.Claim:
    claim = jobs.claim(job_id=job.pk, now=now)
    assert claim is not None
    return claim


def state_of(job: Job) -> str:
    job.refresh_from_db()
    return job.state


def test_a_job_is_claimed_once_however_often_the_bell_rings(club: Club) -> None:
    job = requested(club)
    assert claimed(job) == jobs.Claim(job_id=job.pk, attempt=1)
    assert jobs.claim(job_id=job.pk, now=NOON) is None
    assert jobs.claim(job_id=job.pk, now=LAPSED) is None


def test_a_bell_for_a_job_that_is_gone_is_ignored(db: None) -> None:
    assert jobs.claim(job_id=404, now=NOON) is None


def test_a_beat_renews_the_lease_and_tells_the_progress(club: Club) -> None:
    job = requested(club)
    later = NOON + timedelta(seconds=10)
    jobs.beat(claim=claimed(job), now=later, done=3, total=9, step="reading")
    job.refresh_from_db()
    assert (job.progress_done, job.progress_total, job.progress_step) == (3, 9, "reading")
    assert job.heartbeat_at == later
    assert job.lease_until == later + LEASE


def test_keeping_renews_the_lease_and_leaves_the_progress(club: Club) -> None:
    job = requested(club)
    claim = claimed(job)
    jobs.beat(claim=claim, now=NOON, done=3, total=9, step="reading")
    jobs.keep(claim=claim, now=LAPSED)
    job.refresh_from_db()
    assert (job.progress_done, job.lease_until) == (3, LAPSED + LEASE)


@pytest.mark.parametrize(
    ("end", "state"),
    [
        (lambda claim: jobs.finish(claim=claim, now=NOON, result={"landed": 2}), JobState.FINISHED),
        (
            lambda claim: jobs.refuse(claim=claim, now=NOON, code="too_few", reason="Too few.", result={}),
            JobState.REFUSED,
        ),
        (lambda claim: jobs.fail(claim=claim, now=NOON, code="defect", reason="A defect."), JobState.FAILED),
    ],
)
def test_a_job_ends_once(club: Club, end, state: JobState) -> None:  # type: ignore[no-untyped-def]
    job = requested(club)
    claim = claimed(job)
    end(claim)
    assert state_of(job) == state
    assert job.finished_at == NOON
    with pytest.raises(jobs.LeaseLost):
        jobs.fail(claim=claim, now=LAPSED, code="defect", reason="Twice.")
    assert state_of(job) == state


def test_a_lapsed_job_is_queued_again_and_its_bell_rings(club: Club) -> None:
    job = requested(club)
    claimed(job)
    assert jobs.reap(now=NOON + LEASE - timedelta(seconds=1)) == []
    assert jobs.reap(now=LAPSED) == [job.pk]
    assert state_of(job) == JobState.QUEUED
    assert claimed(job, LAPSED).attempt == 2


def test_a_late_attempt_changes_nothing(club: Club) -> None:
    job = requested(club)
    late = claimed(job)
    jobs.reap(now=LAPSED)
    current = claimed(job, LAPSED)
    before = Job.objects.filter(pk=job.pk).values().get()
    for write in (
        lambda: jobs.beat(claim=late, now=LAPSED, done=99, total=99, step="late"),
        lambda: jobs.keep(claim=late, now=LAPSED + LEASE),
        lambda: jobs.finish(claim=late, now=LAPSED, result={"landed": 99}),
        lambda: jobs.refuse(claim=late, now=LAPSED, code="late", reason="Late.", result={}),
        lambda: jobs.fail(claim=late, now=LAPSED, code="late", reason="Late."),
        lambda: jobs.hold(claim=late),
    ):
        with pytest.raises(jobs.LeaseLost):
            write()
    assert Job.objects.filter(pk=job.pk).values().get() == before
    jobs.finish(claim=current, now=LAPSED, result={"landed": 2})
    assert state_of(job) == JobState.FINISHED


def test_a_job_that_loses_its_worker_three_times_fails_as_worker_lost(club: Club) -> None:
    job = requested(club)
    now = NOON
    for attempt in (1, 2, 3):
        assert claimed(job, now).attempt == attempt
        now += LEASE + timedelta(seconds=1)
        rung = jobs.reap(now=now)
        assert rung == ([job.pk] if attempt < 3 else [])
    assert state_of(job) == JobState.FAILED
    assert job.reason_code == jobs.WORKER_LOST
    assert "3 times" in job.reason


def test_a_club_has_one_waiting_fit_and_any_number_of_waiting_imports(club: Club) -> None:
    first = requested(club, JobKind.FIT)
    assert requested(club, JobKind.FIT) == first
    assert requested(club) != requested(club)


def test_a_fit_may_wait_behind_one_that_runs(club: Club) -> None:
    first = requested(club, JobKind.FIT)
    claimed(first)
    assert requested(club, JobKind.FIT) != first


def test_a_lost_fit_gives_way_to_the_one_that_waits(club: Club) -> None:
    lost = requested(club, JobKind.FIT)
    claimed(lost)
    waiting = requested(club, JobKind.FIT)
    assert jobs.reap(now=LAPSED) == [waiting.pk]
    assert state_of(lost) == JobState.FAILED
    assert lost.reason_code == jobs.WORKER_LOST


def test_clubs_do_not_wait_for_each_others_fits(club: Club) -> None:
    other = Club.objects.create(slug="grebe", name="Grebe")
    assert requested(club, JobKind.FIT) != requested(other, JobKind.FIT)


class AnyOrder(DjangoProperties):
    """Whatever happens in whatever order, the row stays one that its constraints and its reader know."""

    @hypothesis_settings(max_examples=40, deadline=None)
    @given(st.lists(st.sampled_from(["claim", "beat", "finish", "fail", "reap", "wait"]), max_size=25))
    def test_attempts_only_grow_and_an_end_is_final(self, steps: list[str]) -> None:
        club = Club.objects.create(slug="heron", name="Heron")
        job = requested(club)
        now, held = NOON, jobs.Claim(job_id=job.pk, attempt=0)
        attempt, ended = 0, ""
        for step in steps:
            try:
                if step == "wait":
                    now += LEASE + timedelta(seconds=1)
                elif step == "claim":
                    held = jobs.claim(job_id=job.pk, now=now) or held
                elif step == "reap":
                    jobs.reap(now=now)
                elif step == "beat":
                    jobs.beat(claim=held, now=now, done=1, total=2, step="reading")
                elif step == "finish":
                    jobs.finish(claim=held, now=now, result={})
                else:
                    jobs.fail(claim=held, now=now, code="defect", reason="A defect.")
            except jobs.LeaseLost:
                pass
            state = state_of(job)
            assert attempt <= job.attempt <= settings.JOB_ATTEMPTS
            assert ended in {"", state}
            attempt = job.attempt
            ended = state if job.finished_at else ""
