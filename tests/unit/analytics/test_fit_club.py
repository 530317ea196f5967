"""The command that fits a club and waits."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from analytics.management.commands import fit_club
from analytics.models import FitRun, FitStudy
from clubdata.models import Job, JobState
from clubdata.services import jobs
from tests.factories import make_club
from tests.unit.analytics.conftest import NOW, StoredClub


def run(*arguments: str, **options: Any) -> str:
    out = StringIO()
    call_command("fit_club", *arguments, stdout=out, **options)
    return out.getvalue()


@pytest.fixture
def rung(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The jobs whose bell was rung, with no broker behind it."""
    rings: list[int] = []
    monkeypatch.setattr(fit_club, "ring", lambda *, job_id: rings.append(job_id))
    return rings


def test_here_fits_in_this_process(stored_club: StoredClub, rung: list[int]) -> None:
    said = run(stored_club.club.slug, "--here")
    fit = FitRun.objects.get(promoted=True)
    assert f"Fitted {fit.rows_used:,} returns" in said and str(fit.uid) in said
    assert rung == []
    assert "Studied it" in said and FitStudy.objects.get().run == fit


@pytest.mark.django_db
def test_a_refusal_has_an_exit_code_of_its_own_and_its_reason() -> None:
    make_club("small")
    with pytest.raises(CommandError, match="too_few_returns") as ended:
        run("small", "--here")
    assert ended.value.returncode == fit_club.REFUSED


@pytest.mark.django_db
def test_without_a_worker_the_command_says_what_to_do(rung: list[int]) -> None:
    make_club("alone")
    with pytest.raises(CommandError, match="start one, or use --here") as ended:
        run("alone", patience=0.0)
    assert ended.value.returncode == fit_club.NOT_TAKEN
    job = Job.objects.get()
    assert rung == [job.pk] and job.state == JobState.QUEUED


@pytest.mark.django_db
def test_a_worker_that_fails_is_told(rung: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    make_club("unlucky")

    def worker_fails(*, job_id: int) -> None:
        claim = jobs.claim(job_id=job_id, now=NOW)
        assert claim is not None
        jobs.fail(claim=claim, now=NOW, code="defect", reason="It broke.")

    monkeypatch.setattr(fit_club, "ring", worker_fails)
    with pytest.raises(CommandError, match="It broke") as ended:
        run("unlucky")
    assert ended.value.returncode == 1


@pytest.mark.django_db
def test_a_worker_that_was_lost_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    make_club("lost")
    # Claimed long ago and never heard of since.
    monkeypatch.setattr(fit_club, "ring", lambda *, job_id: jobs.claim(job_id=job_id, now=NOW))
    with pytest.raises(CommandError, match="lost") as ended:
        run("lost")
    assert ended.value.returncode == fit_club.NOT_TAKEN


@pytest.mark.django_db
def test_an_unknown_club() -> None:
    with pytest.raises(CommandError, match="no club 'nowhere'"):
        run("nowhere")
