"""Running an import: in a worker that claimed its job, or in the process of the command."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from clubdata.errors import InvalidInput
from clubdata.intake import uploads
from clubdata.intake.columns import SheetRefused
from clubdata.intake.examine import Examination, begin, open_ledger
from clubdata.intake.ledger import Said
from clubdata.intake.report import write_report
from clubdata.intake.staging import READING, begin_again, stage, sweep_ended
from clubdata.models import Account, Club, Job, JobKind, JobState
from clubdata.services.doubts_of_sheets import look_at_landed
from clubdata.services.imports import Late, land
from clubdata.services.jobs import WORKER_LOST, Claim, beat, claim, finish, hold, refuse, request_job

Clock = Callable[[], datetime]
Progress = Callable[[int, int, str], None]

LANDING = "landing the returns"

# In the payload of a job that was claimed by the process that made it.
_IN_PROCESS = "in_process"


def run_import(*, claim: Claim, clock: Clock) -> None:
    """Carry out a claimed import job, whose payload names an upload and whether it is a dry run.

    Ends the job: finished with the report, or refused with a reason. Raises `LeaseLost` when the job
    is no longer this worker's; then nothing has landed.
    """
    _carry_out(claim=claim, clock=clock, progress=_silent)


def import_file(
    *, club: Club, path: Path, dry_run: bool, actor: Account | None, clock: Clock, progress: Progress
) -> dict[str, Any]:
    """Import a file in this process; the report. A dry run writes nothing at all, not even a job.

    Raises `SheetRefused` for a file that cannot be read as this club's sheet.
    """
    if dry_run:
        return _rehearse(club=club, path=path, clock=clock, progress=progress)
    _end_killed(club=club, now=clock())
    try:
        with path.open("rb") as source:
            name = uploads.keep(source)
    except OSError:
        raise SheetRefused("There is no such file to read.", code="no_such_file") from None
    payload = {"path": name, "dry_run": False, "file_name": path.name[:200], _IN_PROCESS: True}
    # One transaction, so that no worker's schedule sees the job waiting.
    with transaction.atomic():
        job = request_job(club=club, kind=JobKind.IMPORT, payload=payload, actor=actor, now=clock())
        mine = claim(job_id=job.pk, now=clock())
    if mine is None:
        raise AssertionError("a job of this transaction is there to be claimed")
    _carry_out(claim=mine, clock=clock, progress=progress)
    job.refresh_from_db()
    if job.reason_code:
        raise SheetRefused(job.reason, code=job.reason_code)
    report: dict[str, Any] = job.result
    return report


def _end_killed(*, club: Club, now: datetime) -> None:
    """End the club's imports whose process was killed; no worker may be there to take them up.

    Their staging and uploads are swept with those of every other import that has ended.
    """
    lapsed = Job.objects.filter(
        club=club,
        kind=JobKind.IMPORT,
        state=JobState.RUNNING,
        lease_until__lt=now,
        payload__has_key=_IN_PROCESS,
    )
    lapsed.update(
        state=JobState.FAILED,
        finished_at=now,
        lease_until=None,
        reason_code=WORKER_LOST,
        reason="The import was killed; nothing of it landed.",
    )
    _sweep(now)


def _sweep(now: datetime) -> None:
    sweep_ended()
    uploads.discard_ended(now=now)


def _carry_out(*, claim: Claim, clock: Clock, progress: Progress) -> None:
    job = Job.objects.select_related("club").get(pk=claim.job_id)
    begin_again(claim=claim)
    try:
        path = uploads.path_of(str(job.payload.get("path", "")))
        if job.payload.get("dry_run"):
            _rehearse_job(job=job, claim=claim, path=path, clock=clock)
        else:
            _import(job=job, claim=claim, path=path, clock=clock, progress=progress)
    except InvalidInput as refusal:
        refuse(claim=claim, now=clock(), code=refusal.code, reason=refusal.message, result={})
    _sweep(clock())


def _import(*, job: Job, claim: Claim, path: Path, clock: Clock, progress: Progress) -> None:
    """Stage in short committed chunks, then land everything and end the job in one transaction."""
    with open_ledger(job.club) as ledger:
        sheet = begin(club=job.club, path=path, ledger=ledger, today=_today(job.club, clock))
        total = sheet.sheet.line_count
        for chunk in sheet.chunks():
            stage(claim=claim, rows=chunk.rows, now=clock(), done=min(chunk.line, total), total=total)
            progress(min(chunk.line, total), total, READING)
        beat(claim=claim, now=clock(), done=total, total=total, step=LANDING)
        progress(total, total, LANDING)
        with transaction.atomic():
            held = hold(claim=claim)
            late = land(job=held, club=job.club, actor_id=held.requested_by_id, now=clock())
            look_at_landed(job=held, club=job.club, now=clock())
            _take_back(sheet, late)
            finish(claim=claim, now=clock(), result=_report(sheet, dry_run=False))


def _take_back(sheet: Examination, late: Iterable[Late]) -> None:
    for row in late:
        said = Said(row.outcome, row.weight_g, row.hours)
        recorded = Said(row.recorded_outcome, row.recorded_weight_g, row.recorded_hours)
        differs = recorded != said
        sheet.tally.take_back(row.outcome, differs=differs)
        if differs:
            sheet.refuse_differing(row.line, row.weight_typed, said, recorded)


def _rehearse_job(*, job: Job, claim: Claim, path: Path, clock: Clock) -> None:
    def renew(done: int, total: int, step: str) -> None:
        beat(claim=claim, now=clock(), done=done, total=total, step=step)

    report = _rehearse(club=job.club, path=path, clock=clock, progress=renew)
    finish(claim=claim, now=clock(), result=report)


def _rehearse(*, club: Club, path: Path, clock: Clock, progress: Progress) -> dict[str, Any]:
    with open_ledger(club) as ledger:
        sheet = begin(club=club, path=path, ledger=ledger, today=_today(club, clock))
        total = sheet.sheet.line_count
        for chunk in sheet.chunks():
            progress(min(chunk.line, total), total, READING)
        return _report(sheet, dry_run=True)


def _report(sheet: Examination, *, dry_run: bool) -> dict[str, Any]:
    return write_report(
        club_slug=sheet.club.slug,
        tally=sheet.tally,
        created=sheet.created(),
        ignored_columns=sheet.columns.ignored,
        dry_run=dry_run,
    )


def _today(club: Club, clock: Clock) -> date:
    return clock().astimezone(ZoneInfo(club.time_zone)).date()


def _silent(done: int, total: int, step: str) -> None:
    """A worker's progress is in the job's row."""
