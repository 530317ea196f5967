"""A job from its claim to its end, whatever happens in between. Celery's tasks call this, and tests do."""

import logging
from collections.abc import Callable
from datetime import datetime
from typing import Protocol

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import InterfaceError, OperationalError

from analytics.runs import run_fit
from analytics.study import run_study
from analytics.worker.dispatch import ring
from analytics.worker.keeper import kept
from clubdata.errors import ClubdataError
from clubdata.intake.run import run_import
from clubdata.models import Job, JobKind, JobState
from clubdata.services import jobs
from clubdata.services.weather_jobs import run_weather

logger = logging.getLogger(__name__)

Clock = Callable[[], datetime]


class Work(Protocol):
    """What a kind of job does: beats while it works, and ends the job with its result or a reason."""

    def __call__(self, *, claim: jobs.Claim, clock: Clock) -> None: ...


WORK: dict[str, Work] = {
    JobKind.IMPORT: run_import,
    JobKind.FIT: run_fit,
    JobKind.STUDY: run_study,
    JobKind.WEATHER: run_weather,
}


def run_job(*, job_id: int, clock: Clock) -> None:
    """Claim the job and do its work; a job that is not there to be taken is left alone."""
    claim = jobs.claim(job_id=job_id, now=clock())
    if claim is None:
        return
    ids = {"job_uid": str(Job.objects.values_list("uid", flat=True).get(pk=job_id))}
    logger.info("job claimed, attempt %d", claim.attempt, extra=ids)
    try:
        with kept(claim=claim, clock=clock):
            _work(claim, clock, ids)
    except jobs.LeaseLost:
        logger.warning("job lost to a later attempt: what this one did is dropped", extra=ids)
    except (OperationalError, InterfaceError) as trouble:
        # The database went away, and with it the means to say so: the lease lapses, the job goes again.
        logger.error("job left to its lease: %s", type(trouble).__name__, extra=ids)
    else:
        logger.info("job ended", extra=ids)
        _ring_for_study(job_id)


def _ring_for_study(job_id: int) -> None:
    """A fit that was promoted has left a study behind; the schedule rings for it too, only later."""
    fits = Job.objects.filter(pk=job_id, kind=JobKind.FIT)
    studies = Job.objects.filter(club__in=fits.values("club"), kind=JobKind.STUDY, state=JobState.QUEUED)
    for study_id in studies.values_list("pk", flat=True):
        ring(job_id=study_id)


def _work(claim: jobs.Claim, clock: Clock, ids: dict[str, str]) -> None:
    kind = Job.objects.values_list("kind", flat=True).get(pk=claim.job_id)
    try:
        WORK[kind](claim=claim, clock=clock)
    except (jobs.LeaseLost, OperationalError, InterfaceError):
        raise
    except ClubdataError as refusal:
        jobs.refuse(claim=claim, now=clock(), code=refusal.code, reason=refusal.message, result={})
    except SoftTimeLimitExceeded:
        reason = f"It took longer than {settings.JOB_HARD_LIMIT_S // 60} minutes and was stopped."
        jobs.fail(claim=claim, now=clock(), code="time_limit", reason=reason)
    except Exception as defect:
        # The one place where anything at all may arrive: a defect must end the job, not repeat it.
        # Its text may quote a row: the log's formatter writes its class and its frames, never its words.
        logger.error("job failed", exc_info=True, extra=ids)
        reason = f"A defect in the program ({type(defect).__name__}); the log says where."
        jobs.fail(claim=claim, now=clock(), code="defect", reason=reason)
