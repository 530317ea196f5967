"""Which fit answers a club's questions, and whether its returns have changed since."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from analytics.catchrate.verdict import KEPT
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
    `verdict` says whether unseen days bore the run out, or that there were too few to tell.
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
    verdict: str
    verdict_reason: str
    stale: bool


@dataclass(frozen=True, slots=True)
class FitStatus:
    """The state of a club's answers. `job_uid` is a fit under way.

    `refused_*` tell of a last fit that did not come out, `kept_*` of one that did and is not served: the
    verdict's code and reason, and the job. The last good run serves on.
    """

    freshness: Freshness
    fit: FitSummary | None
    job_uid: UUID | None
    refused_code: str
    refused_reason: str
    kept_uid: UUID | None
    kept_code: str
    kept_reason: str


def fit_status(*, club: Club) -> FitStatus:
    """The club's promoted run and its last fit job, in three queries."""
    run = promoted_run(club=club)
    revision = Club.objects.values_list("revision", flat=True).get(pk=club.pk)
    last = Job.objects.filter(club=club, kind=JobKind.FIT).order_by("-id").first()
    under_way = last is not None and last.state in {JobState.QUEUED, JobState.RUNNING}
    refused = last is not None and last.state == JobState.REFUSED
    kept = _kept(last)
    fit = None if run is None else summary_of(run, club_revision=revision)
    return FitStatus(
        freshness=_freshness(fit),
        fit=fit,
        job_uid=last.uid if last is not None and under_way else None,
        refused_code=last.reason_code if last is not None and refused else "",
        refused_reason=last.reason if last is not None and refused else "",
        kept_uid=last.uid if last is not None and kept else None,
        kept_code=kept.get("verdict", ""),
        kept_reason=kept.get("verdict_reason", ""),
    )


def _kept(last: Job | None) -> dict[str, Any]:
    """The result of a fit whose verdict did not let it through; empty for every other."""
    if last is None or last.state != JobState.FINISHED or last.result.get("verdict") not in KEPT:
        return {}
    return dict(last.result)


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
        verdict=run.verdict,
        verdict_reason=run.verdict_reason,
        stale=run.revision != club_revision,
    )


def _freshness(fit: FitSummary | None) -> Freshness:
    if fit is None:
        return Freshness.NONE
    return Freshness.STALE if fit.stale else Freshness.FRESH
