"""Imports that are killed, overtaken or refused: whatever happens, all of a sheet lands or nothing."""

import os
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.conf import settings as configured

from clubdata.intake import examine, run, uploads
from clubdata.intake.columns import SheetRefused
from clubdata.intake.run import LANDING, run_import
from clubdata.intake.staging import stage, sweep_ended
from clubdata.models import Club, Job, JobKind, JobState, Match, Return, SessionPart, StagedReturn
from clubdata.services.jobs import Claim, LeaseLost, claim, reap, request_job
from tests.unit.clubdata.intake.sheets import NOON, Desk, as_text, codes, row, small_club

pytestmark = pytest.mark.django_db

LAPSED = NOON + timedelta(seconds=configured.JOB_LEASE_S + 1)
PEGS = ("1", "2", "12A")
SHEET = as_text(*(row(peg=peg, session="m", match="SPR-1") for peg in PEGS)).encode()


class Killed(BaseException):
    """The worker's process ends here."""


@pytest.fixture(autouse=True)
def one_row_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(examine, "ROWS_AT_ONCE", 1)


def requested(club: Club, content: bytes = SHEET, *, dry_run: bool = False, path: str = "") -> Job:
    name = path or uploads.keep(BytesIO(content))
    payload = {"path": name, "dry_run": dry_run, "file_name": "sheet.csv"}
    return request_job(club=club, kind=JobKind.IMPORT, payload=payload, actor=None, now=NOON)


def claimed(job: Job) -> Claim:
    mine = claim(job_id=job.pk, now=NOON)
    assert mine is not None
    return mine


def killed_at_chunk(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    chunks = iter(range(1, number + 1))

    def staging(**values: Any) -> None:
        if next(chunks) == number:
            raise Killed
        stage(**values)

    monkeypatch.setattr(run, "stage", staging)


def test_a_claimed_job_ends_with_its_report(club: Club) -> None:
    job = requested(club)
    run_import(claim=claimed(job), clock=lambda: NOON)
    job.refresh_from_db()
    assert (job.state, job.result["landed"], job.progress_done) == (JobState.FINISHED, 3, 4)


def test_killed_half_way_only_staging_is_left_and_the_next_attempt_lands_everything(
    club: Club, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = requested(club)
    with monkeypatch.context() as patched:
        killed_at_chunk(3, patched)
        with pytest.raises(Killed):
            run_import(claim=claimed(job), clock=lambda: NOON)
    assert StagedReturn.objects.filter(job=job).count() == 2
    assert not any(model.objects.exists() for model in (Return, Match, SessionPart))
    assert reap(now=LAPSED) == [job.pk]
    run_import(claim=claimed(job), clock=lambda: NOON)
    job.refresh_from_db()
    assert (job.attempt, job.state, job.result["landed"]) == (2, JobState.FINISHED, 3)
    assert (Return.objects.count(), SessionPart.objects.count(), StagedReturn.objects.count()) == (3, 3, 0)


def test_killed_while_landing_nothing_has_landed(club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
    job = requested(club)

    def finishing(**values: Any) -> None:
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(run, "finish", finishing)
        with pytest.raises(Killed):
            run_import(claim=claimed(job), clock=lambda: NOON)
    assert not any(model.objects.exists() for model in (Return, Match, SessionPart))
    assert Club.objects.get(pk=club.pk).revision == club.revision


def test_staging_and_uploads_of_an_ended_job_are_swept_by_the_next_import(
    club: Club, desk: Desk, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    job = requested(club)
    with monkeypatch.context() as patched:
        killed_at_chunk(3, patched)
        with pytest.raises(Killed):
            run_import(claim=claimed(job), clock=lambda: NOON)
    Job.objects.filter(pk=job.pk).update(attempt=configured.JOB_ATTEMPTS)
    reap(now=LAPSED)
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert desk.take(row(date="2024-05-02"))["landed"] == 1
    assert StagedReturn.objects.count() == 0
    assert list(settings.UPLOAD_DIR.iterdir()) == []


def test_a_command_that_was_killed_leaves_nothing_to_the_next_one(
    club: Club, desk: Desk, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    with monkeypatch.context() as patched:
        killed_at_chunk(3, patched)
        with pytest.raises(Killed):
            desk.take_bytes(SHEET)
    killed = Job.objects.get()
    assert (StagedReturn.objects.count(), len(list(settings.UPLOAD_DIR.iterdir()))) == (2, 1)
    desk.clock = lambda: LAPSED
    assert desk.take_bytes(SHEET)["landed"] == 3
    killed.refresh_from_db()
    assert (killed.state, killed.reason_code) == (JobState.FAILED, "worker_lost")
    assert (Return.objects.count(), StagedReturn.objects.count()) == (3, 0)
    assert list(settings.UPLOAD_DIR.iterdir()) == []


def test_a_command_leaves_alone_what_still_runs_and_what_a_worker_will_take_up_again(
    club: Club, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_a_worker = requested(club)
    claimed(at_a_worker)
    with monkeypatch.context() as patched:
        killed_at_chunk(3, patched)
        with pytest.raises(Killed):
            desk.take_bytes(SHEET)
    desk.take(row())
    assert list(Job.objects.filter(state=JobState.RUNNING).values_list("attempt", flat=True)) == [1, 1]
    desk.clock = lambda: LAPSED
    desk.take(row())
    assert Job.objects.get(state=JobState.RUNNING) == at_a_worker


def test_an_upload_that_no_job_names_goes_after_a_day(club: Club, desk: Desk, settings: Any) -> None:
    waiting = requested(club).payload["path"]
    old, young = (uploads.keep(BytesIO(b"Date")) for _ in range(2))
    for name, age in ((waiting, 25), (old, 25), (young, 23)):
        written = (NOON - timedelta(hours=age)).timestamp()
        os.utime(settings.UPLOAD_DIR / name, (written, written))
    desk.take(row())
    assert {path.name for path in settings.UPLOAD_DIR.iterdir()} == {waiting, young}


def test_sweeping_leaves_a_running_imports_staging_alone(club: Club, monkeypatch: pytest.MonkeyPatch) -> None:
    job = requested(club)
    killed_at_chunk(2, monkeypatch)
    with pytest.raises(Killed):
        run_import(claim=claimed(job), clock=lambda: NOON)
    sweep_ended()
    assert StagedReturn.objects.filter(job=job).count() == 1


def test_a_worker_that_comes_back_late_stages_and_lands_nothing(club: Club) -> None:
    job = requested(club)
    late = claimed(job)
    reap(now=LAPSED)
    mine = claimed(job)
    with pytest.raises(LeaseLost):
        run_import(claim=late, clock=lambda: NOON)
    with pytest.raises(LeaseLost):
        stage(claim=late, rows=[], now=NOON, done=1, total=1)
    assert (Return.objects.count(), StagedReturn.objects.count()) == (0, 0)
    run_import(claim=mine, clock=lambda: NOON)
    assert Return.objects.count() == 3


def test_rows_that_another_import_lands_meanwhile_are_duplicates_or_differ(club: Club, desk: Desk) -> None:
    others = [
        row(peg="1", session="m", match="SPR-1"),
        row(peg="2", session="m", match="SPR-1", weight="dnw"),
        row(peg="12A", session="m", match="SPR-1", hours="4.1"),
    ]

    def overtake(done: int, total: int, step: str) -> None:
        if step == LANDING and not Return.objects.exists():
            desk.take(*others)

    report = desk.take_bytes(SHEET, progress=overtake)
    assert (report["rows_read"], report["landed"], report["duplicates"], report["refused"]) == (3, 0, 1, 2)
    assert codes(report) == [(3, "Weight", "differs"), (4, "Hours", "differs")]
    assert "in 4.1 h" in report["problems"][1]["message"]
    assert Return.objects.count() == SessionPart.objects.count() == 3
    assert Return.objects.filter(match__code="SPR-1").count() == 3


def test_a_dry_run_as_a_job_reports_and_writes_no_record(club: Club) -> None:
    job = requested(club, dry_run=True)
    run_import(claim=claimed(job), clock=lambda: NOON)
    job.refresh_from_db()
    assert (job.state, job.result["dry_run"], job.result["landed"]) == (JobState.FINISHED, True, 3)
    assert not any(model.objects.exists() for model in (Return, Match, StagedReturn))


@pytest.mark.parametrize("path", ["../secret", "/etc/hostname", "", ".hidden", "gone.csv"])
def test_a_payload_names_an_upload_and_no_other_file(club: Club, path: str) -> None:
    job = requested(club, path=path or " ")
    run_import(claim=claimed(job), clock=lambda: NOON)
    job.refresh_from_db()
    assert (job.state, job.reason_code) == (JobState.REFUSED, "no_such_file")


def test_a_sheet_without_a_required_column_refuses_the_job_with_a_reason(club: Club, settings: Any) -> None:
    job = requested(club, b"Date,Water,Peg,Member,Weight\n")
    run_import(claim=claimed(job), clock=lambda: NOON)
    job.refresh_from_db()
    assert (job.state, job.reason_code) == (JobState.REFUSED, "missing_columns")
    assert "Hours" in job.reason
    assert list(settings.UPLOAD_DIR.iterdir()) == []


def test_the_command_process_hears_why_a_sheet_was_refused(desk: Desk) -> None:
    with pytest.raises(SheetRefused, match="Hours"):
        desk.take_bytes(b"Date,Water,Peg,Member,Weight\n")


def test_two_clubs_with_the_same_sheet_keep_their_own_returns(club: Club, desk: Desk, tmp_path: Any) -> None:
    other = small_club(slug="other")
    desk.take_bytes(SHEET)
    report = Desk(other, tmp_path).take_bytes(SHEET)
    assert (report["landed"], report["created_count"]) == (3, 1)
    assert {one.match.club_id for one in Return.objects.filter(club=other)} == {other.pk}
