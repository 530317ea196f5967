"""Which fit answers a club's questions, and whether its returns have changed since."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from uuid import UUID

from analytics.models import FitRun
from analytics.store import promoted_run
from clubdata.models import Club, Job, JobKind, JobState


class Freshness(StrEnum):
    """Stale answers are still answers; they lack the latest returns."""

    NONE = "none"
    FRESH = "fresh"
    STALE = "stale"


@dataclass(frozen=True, slots=True)
class FitSummary:
    """The run that answers come from; `rows_left_out` counts returns by reason.

    Of those used: `bounded` are weights known only to lie between two bounds, `estimated` estimates, and
    `several_parts` totals shared over parts. `did_not_weigh` is what unknown weights were taken for.
    """

    uid: UUID
    fitted_at: datetime
    first_on: date
    last_on: date
    rows_used: int
    blanks: int
    bounded: int
    estimated: int
    several_parts: int
    did_not_weigh: str
    rows_left_out: dict[str, int]
    stale: bool


@dataclass(frozen=True, slots=True)
class FitStatus:
    """The state of a club's answers. `job_uid` is a fit under way; `refused_*` tell of the last fit."""

    freshness: Freshness
    fit: FitSummary | None
    job_uid: UUID | None
    refused_code: str
    refused_reason: str


def fit_status(*, club: Club) -> FitStatus:
    """The club's promoted run and its last fit job, in three queries."""
    run = promoted_run(club=club)
    revision = Club.objects.values_list("revision", flat=True).get(pk=club.pk)
    last = Job.objects.filter(club=club, kind=JobKind.FIT).order_by("-id").first()
    under_way = last is not None and last.state in {JobState.QUEUED, JobState.RUNNING}
    refused = last is not None and last.state == JobState.REFUSED
    fit = None if run is None else summary_of(run, club_revision=revision)
    return FitStatus(
        freshness=_freshness(fit),
        fit=fit,
        job_uid=last.uid if last is not None and under_way else None,
        refused_code=last.reason_code if last is not None and refused else "",
        refused_reason=last.reason if last is not None and refused else "",
    )


def summary_of(run: FitRun, *, club_revision: int) -> FitSummary:
    """What an answer says of the run behind it."""
    return FitSummary(
        uid=run.uid,
        fitted_at=run.fitted_at,
        first_on=run.first_on,
        last_on=run.last_on,
        rows_used=run.rows_used,
        blanks=run.blanks,
        bounded=run.bounded,
        estimated=run.estimated,
        several_parts=run.several_parts,
        did_not_weigh=run.did_not_weigh,
        rows_left_out=dict(run.rows_left_out),
        stale=run.revision != club_revision,
    )


def _freshness(fit: FitSummary | None) -> Freshness:
    if fit is None:
        return Freshness.NONE
    return Freshness.STALE if fit.stale else Freshness.FRESH
