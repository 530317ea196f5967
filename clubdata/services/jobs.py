"""Jobs: requested, claimed under a lease, beaten, ended; and taken back when a worker is lost.

Every write of a worker is one conditional update on (running, its attempt), so a message delivered
twice or a worker that comes back late changes nothing.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, Q

from clubdata.errors import ClubdataError
from clubdata.models import Account, Club, Job, JobKind, JobState

WORKER_LOST = "worker_lost"
# Of these a club has one waiting at most: two would do the same work.
ONE_WAITING = (JobKind.FIT, JobKind.STUDY)
# How often a fit's place may be taken and left again while it is asked for.
REQUEST_TRIES = 5


class LeaseLost(ClubdataError):
    """The job is no longer this worker's: it was taken back, given to another, or ended."""

    code = "lease_lost"


@dataclass(frozen=True, slots=True)
class Claim:
    """A worker's hold on a job: good while the job runs at this attempt."""

    job_id: int
    attempt: int


def request_job(
    *, club: Club, kind: JobKind, payload: dict[str, Any], actor: Account | None, now: datetime
) -> Job:
    """Queue a job. A fit or a study that already waits for the club is returned instead of a second one."""
    wanted = Job(club=club, kind=kind, payload=payload, requested_by=actor, created_at=now)
    for tries_left in reversed(range(REQUEST_TRIES)):
        try:
            with transaction.atomic():
                wanted.save(force_insert=True)
            break
        except IntegrityError:
            if kind not in ONE_WAITING or not tries_left:
                raise
            waiting: Job | None = Job.objects.filter(club=club, kind=kind, state=JobState.QUEUED).first()
            if waiting is not None:
                return waiting
            # The one that waited was claimed in between, which leaves room for this one: once more.
    return wanted


def claim(*, job_id: int, now: datetime) -> Claim | None:
    """Take a queued job, or None when it is not there to be taken (running, ended, or gone)."""
    waiting = Job.objects.filter(pk=job_id, state=JobState.QUEUED)
    attempts = waiting.values_list("attempt", flat=True).first()
    if attempts is None:
        return None
    # On the attempt as read, so that the number in the claim is the one that this update wrote.
    taken = waiting.filter(attempt=attempts).update(
        state=JobState.RUNNING,
        attempt=attempts + 1,
        started_at=now,
        heartbeat_at=now,
        lease_until=now + timedelta(seconds=settings.JOB_LEASE_S),
    )
    return Claim(job_id=job_id, attempt=attempts + 1) if taken == 1 else None


def beat(*, claim: Claim, now: datetime, done: int, total: int, step: str) -> None:
    """Renew the lease and tell how far the work is. Raises `LeaseLost`."""
    _write(
        claim,
        heartbeat_at=now,
        lease_until=now + timedelta(seconds=settings.JOB_LEASE_S),
        progress_done=done,
        progress_total=total,
        progress_step=step,
    )


def keep(*, claim: Claim, now: datetime) -> None:
    """Renew the lease alone, from a side thread while the work computes. Raises `LeaseLost`."""
    _write(claim, heartbeat_at=now, lease_until=now + timedelta(seconds=settings.JOB_LEASE_S))


def hold(*, claim: Claim) -> Job:
    """Lock the claimed job's row for the transaction that stores its result. Raises `LeaseLost`."""
    job: Job | None = (
        Job.objects.select_for_update()
        .filter(pk=claim.job_id, attempt=claim.attempt, state=JobState.RUNNING)
        .first()
    )
    if job is None:
        raise LeaseLost("The job is no longer this worker's.")
    return job


def finish(*, claim: Claim, now: datetime, result: dict[str, Any]) -> None:
    """End the job well. Raises `LeaseLost`."""
    _write(
        claim,
        state=JobState.FINISHED,
        finished_at=now,
        lease_until=None,
        progress_done=F("progress_total"),
        progress_step="",
        result=result,
    )


def refuse(*, claim: Claim, now: datetime, code: str, reason: str, result: dict[str, Any]) -> None:
    """End the job with a reason that its club can act on. Raises `LeaseLost`."""
    _write(
        claim,
        state=JobState.REFUSED,
        finished_at=now,
        lease_until=None,
        reason_code=code,
        reason=reason[:400],
        result=result,
    )


def fail(*, claim: Claim, now: datetime, code: str, reason: str) -> None:
    """End the job after a defect. Raises `LeaseLost`."""
    _write(
        claim,
        state=JobState.FAILED,
        finished_at=now,
        lease_until=None,
        reason_code=code,
        reason=reason[:400],
    )


def reap(*, now: datetime) -> list[int]:
    """Take back the jobs of lost workers; the ids of all jobs whose bell should ring (again).

    A job whose lease lapsed is queued again, or failed after `JOB_ATTEMPTS` attempts.
    """
    lapsed = Job.objects.filter(state=JobState.RUNNING, lease_until__lt=now)
    lapsed.filter(attempt__gte=settings.JOB_ATTEMPTS).update(
        state=JobState.FAILED,
        finished_at=now,
        lease_until=None,
        reason_code=WORKER_LOST,
        reason=f"The worker was lost {settings.JOB_ATTEMPTS} times.",
    )
    for job in lapsed.filter(attempt__lt=settings.JOB_ATTEMPTS):
        _queue_again(job, now=now)
    waiting = Job.objects.filter(state=JobState.QUEUED)
    return list(waiting.order_by("id").values_list("id", flat=True))


def _queue_again(job: Job, *, now: datetime) -> None:
    mine = Job.objects.filter(pk=job.pk, state=JobState.RUNNING, attempt=job.attempt, lease_until__lt=now)
    try:
        with transaction.atomic():
            mine.update(state=JobState.QUEUED, lease_until=None)
    except IntegrityError:
        # A younger job of this kind waits already for this club and will read everything this one would have.
        mine.update(
            state=JobState.FAILED,
            finished_at=now,
            lease_until=None,
            reason_code=WORKER_LOST,
            reason="The worker was lost; a later job does the same work.",
        )


def _write(claim: Claim, **values: Any) -> None:
    mine = Q(pk=claim.job_id, attempt=claim.attempt, state=JobState.RUNNING)
    if Job.objects.filter(mine).update(**values) != 1:
        raise LeaseLost("The job is no longer this worker's.")
