"""Asking for a fit, and telling which clubs need one. Light enough for the web process and the schedule.

Who calls rings the bell for the jobs that come back (`analytics.worker.dispatch.ring`).
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Max

from analytics.catchrate.estimates import FORMAT
from analytics.models import FitRun
from clubdata.models import Account, Club, Job, JobKind, JobState
from clubdata.services import jobs

#: A fit that failed, a defect or a lost worker, is asked for again after this long, returns or no returns.
FAILED_WAITS = timedelta(hours=6)


def request_fit(*, club: Club, actor: Account | None, now: datetime) -> Job:
    """Queue a fit of the club's returns, or give back the one that waits already."""
    return jobs.request_job(club=club, kind=JobKind.FIT, payload={}, actor=actor, now=now)


def request_study(*, club: Club, now: datetime) -> Job:
    """Queue a study of the club's promoted run, or give back the one that waits already."""
    return jobs.request_job(club=club, kind=JobKind.STUDY, payload={}, actor=None, now=now)


def has_no_study(*, club: Club) -> bool:
    """Whether the club's promoted run has not been studied."""
    return FitRun.objects.filter(club=club, promoted=True, format=FORMAT, study=None).exists()


def fit_stale_clubs(*, now: datetime) -> list[Job]:
    """Queue a fit for each club whose returns have changed since its promoted run.

    A run of an earlier format counts as none. Returns that were tried already, and whose run was kept but not
    promoted, are left until one changes.
    """
    served = FitRun.objects.filter(promoted=True, format=FORMAT)
    promoted = dict(served.values_list("club_id", "revision"))
    changed = [club for club in Club.objects.filter(revision__gt=0) if promoted.get(club.pk) != club.revision]
    last_fits = _last_fits(changed)
    tried = _tried(last_fits.values())
    return [
        request_fit(club=club, actor=None, now=now)
        for club in changed
        if tried.get(club.pk) != club.revision
        and not _would_be_in_vain(last_fits.get(club.pk), club=club, now=now)
    ]


def _last_fits(clubs: list[Club]) -> dict[int, Job]:
    """The youngest fit of each club, by the club's key."""
    fits = Job.objects.filter(club__in=clubs, kind=JobKind.FIT).order_by()
    youngest = fits.values("club").annotate(youngest=Max("id")).values("youngest")
    return {job.club_id: job for job in Job.objects.filter(pk__in=youngest)}


def _tried(fits: Iterable[Job]) -> dict[int, int]:
    """The revision of those fits' runs that came out and were not promoted, by club."""
    kept = FitRun.objects.filter(job__in=list(fits), promoted=False, format=FORMAT)
    return dict(kept.values_list("club_id", "revision"))


def _would_be_in_vain(last: Job | None, *, club: Club, now: datetime) -> bool:
    """Whether a fit is under way, or the last one ended as the next one would."""
    match last:
        case None:
            return False
        case Job(state=JobState.QUEUED | JobState.RUNNING):
            return True
        case Job(state=JobState.REFUSED):
            return bool(last.result.get("revision") == club.revision)
        case Job(state=JobState.FAILED, finished_at=datetime() as ended):
            return now < ended + FAILED_WAITS
        case _:
            return False
