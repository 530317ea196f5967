"""The worker's tasks: each is one call. They take ids by name and tolerate arguments of later versions."""

import os
from typing import Any

from celery.signals import worker_process_init, worker_ready
from django.utils import timezone

from analytics.runs import fit_stale_clubs
from analytics.worker import lifeline
from analytics.worker.app import app
from analytics.worker.dispatch import RUN_JOB, ring
from analytics.worker.work import run_job as run_claimed
from clubdata.services import jobs
from clubdata.services.retention import forget_old
from clubdata.services.weather_jobs import request_weather_everywhere

# The worker loads this module before it forks its pool.
WORKER_PID = os.getpid()


@app.task(name=RUN_JOB)  # type: ignore[untyped-decorator]
def run_job(*, job_id: int, **_: Any) -> None:
    """Do a job's work, if it is there to be taken."""
    run_claimed(job_id=job_id, clock=timezone.now)


@app.task(name="clubdata.reap")  # type: ignore[untyped-decorator]
def reap(**_: Any) -> None:
    """Ring for every job that waits, after taking back those of lost workers."""
    for job_id in jobs.reap(now=timezone.now()):
        ring(job_id=job_id)


@app.task(name="clubdata.refit")  # type: ignore[untyped-decorator]
def refit(**_: Any) -> None:
    """Ring for a fit of every club whose returns have changed since its last one."""
    for job in fit_stale_clubs(now=timezone.now()):
        ring(job_id=job.pk)


@app.task(name="clubdata.weather")  # type: ignore[untyped-decorator]
def weather(**_: Any) -> None:
    """Ring for the weather of late returns, where there is somebody to ask."""
    for job in request_weather_everywhere(now=timezone.now()):
        ring(job_id=job.pk)


@app.task(name="clubdata.forget")  # type: ignore[untyped-decorator]
def forget(**_: Any) -> None:
    """Forget what has been kept long enough."""
    forget_old(now=timezone.now())


@worker_process_init.connect  # type: ignore[untyped-decorator]
def die_with_worker(**_: Any) -> None:
    """A pool process ends with its worker, also in the middle of a job."""
    lifeline.follow(WORKER_PID)


@worker_ready.connect  # type: ignore[untyped-decorator]
def ask_for_waiting_jobs(**_: Any) -> None:
    """Jobs may have been queued while no worker listened and their messages lost since."""
    reap.apply_async()
