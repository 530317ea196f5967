"""What stays of an import's report once its sheet is nobody's business any more."""

from typing import Any, Final

from django.db.models import QuerySet

from clubdata.models import Club, Job, JobKind
from clubdata.models.jobs import ENDED

#: What quotes the sheet, and what is put in its place.
_QUOTING: Final[dict[str, Any]] = {"ignored_columns": [], "created": []}


def ended_imports(club: Club | None = None) -> QuerySet[Job]:
    """Imports that have ended, however they ended: of one club, or of all."""
    ended: QuerySet[Job] = Job.objects.filter(kind=JobKind.IMPORT, state__in=ENDED)
    return ended if club is None else ended.filter(club=club)


def without_quotes(report: dict[str, Any]) -> dict[str, Any]:
    """A report with its counts, and for each problem the line, the column and the code; no cell of the sheet.

    A refused cell may be anything that somebody typed, so none is told from another: all of them go.
    """
    problems = [{**one, "value": "", "message": ""} for one in report.get("problems", [])]
    return _with(report, {**_QUOTING, "problems": problems})


def counts_alone(report: dict[str, Any]) -> dict[str, Any]:
    """A report with its counts and nothing of the sheet."""
    return _with(report, {**_QUOTING, "problems": []})


def _with(report: dict[str, Any], put: dict[str, Any]) -> dict[str, Any]:
    return {name: put.get(name, value) for name, value in report.items()}


def rewrite(jobs: QuerySet[Job], *, whole: bool) -> int:
    """Take what quotes their sheets out of ended imports; with `whole` the list of problems too. How many."""
    shorten = counts_alone if whole else without_quotes
    rewritten = 0
    for job in jobs.only("pk", "payload", "result", "reason").iterator(chunk_size=100):
        kept = {"dry_run": job.payload["dry_run"]} if "dry_run" in job.payload else {}
        # The reason of a refusal may quote a header; its code says what it was.
        after = {"payload": kept, "result": shorten(job.result), "reason": ""}
        if any(getattr(job, name) != value for name, value in after.items()):
            rewritten += Job.objects.filter(pk=job.pk).update(**after)
    return rewritten
