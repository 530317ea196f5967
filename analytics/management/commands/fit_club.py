"""Fit a club's returns: through the worker, or in this process with --here. The study follows the fit."""

import time
from argparse import ArgumentParser
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from tqdm import tqdm

from analytics.requests import request_fit
from analytics.runs import run_fit
from analytics.study import run_study
from analytics.worker.dispatch import ring
from analytics.worker.keeper import kept
from clubdata.models import Club, Job, JobKind, JobState
from clubdata.models.jobs import ENDED
from clubdata.services import jobs

REFUSED, NOT_TAKEN = 3, 4
POLL_S = 0.2
#: A lease this long past its end has no worker behind it and no schedule that takes it back.
LOST_AFTER = timedelta(seconds=60)


class Command(BaseCommand):
    """Exit codes: 0 finished, 1 failed or no such club, 3 refused with a reason, 4 no worker took the job."""

    help = "Fit a club's returns and wait for the result."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("slug", help="the club's slug")
        parser.add_argument("--here", action="store_true", help="work in this process instead of a worker")
        parser.add_argument(
            "--patience",
            type=float,
            default=30.0,
            metavar="SECONDS",
            help="how long a worker may take to accept the job (30)",
        )

    def handle(self, *_: Any, slug: str, here: bool, patience: float, **__: Any) -> None:
        club = Club.objects.filter(slug=slug).first()
        if club is None:
            raise CommandError(f"There is no club '{slug}'.")
        job = request_fit(club=club, actor=None, now=timezone.now())
        with tqdm(total=100, disable=None, bar_format="{desc:<22} {bar} {percentage:3.0f}%") as bar:
            if here:
                self._work(job, _meter(bar))
            else:
                ring(job_id=job.pk)
            job = self._wait(job, _meter(bar), patience)
        self._tell(job)
        self._follow(club, here=here)

    def _follow(self, club: Club, *, here: bool) -> None:
        """The study of a promoted run: here too, or left to the worker that made the fit."""
        job = Job.objects.filter(club=club, kind=JobKind.STUDY, state=JobState.QUEUED).first()
        claim = jobs.claim(job_id=job.pk, now=timezone.now()) if job is not None and here else None
        if claim is None:
            return
        with kept(claim=claim, clock=timezone.now):
            run_study(claim=claim, clock=timezone.now)
        self.stdout.write("Studied it beside matches alone and other readings of what did not weigh.")

    def _work(self, job: Job, show: Callable[[int, int, str], None]) -> None:
        claim = jobs.claim(job_id=job.pk, now=timezone.now())
        if claim is None:
            # A worker was quicker: its progress is shown instead.
            return
        with kept(claim=claim, clock=timezone.now):
            run_fit(claim=claim, clock=timezone.now, progress=show)

    def _wait(self, job: Job, show: Callable[[int, int, str], None], patience: float) -> Job:
        started = time.monotonic()
        while True:
            job.refresh_from_db()
            if job.state in ENDED:
                return job
            show(job.progress_done, job.progress_total or 1, job.progress_step or job.state)
            if job.state == JobState.QUEUED and time.monotonic() - started > patience:
                raise CommandError(
                    f"No worker has taken the job in {patience:g} s: start one, or use --here. "
                    "The job stays queued.",
                    returncode=NOT_TAKEN,
                )
            if _is_lost(job, timezone.now()):
                raise CommandError(
                    "The worker was lost and no schedule takes the job back: start a worker with its "
                    "schedule.",
                    returncode=NOT_TAKEN,
                )
            time.sleep(POLL_S)

    def _tell(self, job: Job) -> None:
        if job.state == JobState.REFUSED:
            raise CommandError(f"Refused ({job.reason_code}): {job.reason}", returncode=REFUSED)
        if job.state == JobState.FAILED:
            raise CommandError(f"Failed ({job.reason_code}): {job.reason}")
        left_out = sum(job.result["rows_left_out"].values())
        self.stdout.write(
            f"Fitted {job.result['rows_used']:,} returns, {left_out:,} left out; run {job.result['run']}."
        )


def _meter(bar: "tqdm[Any]") -> Callable[[int, int, str], None]:
    def show(done: int, total: int, step: str) -> None:
        bar.set_description_str(step, refresh=False)
        bar.update(round(100 * done / total) - bar.n)

    return show


def _is_lost(job: Job, now: datetime) -> bool:
    return (
        job.state == JobState.RUNNING and job.lease_until is not None and job.lease_until + LOST_AFTER < now
    )
