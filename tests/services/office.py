"""A helper process with the product's own settings: it asks, tells and hands in on behalf of a test.

`python -m tests.services.office` reads one JSON call a line, `["name", {arguments}]`, and answers each
with one line, so that the tests reach the same database as the processes that they start and kill.
"""

import json
import os
import signal
import statistics
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import django

django.setup()

from django.core.management import call_command  # noqa: E402
from django.utils import timezone  # noqa: E402

from analytics.models import FitRun  # noqa: E402
from analytics.requests import request_fit  # noqa: E402
from analytics.runs import run_fit  # noqa: E402
from analytics.worker.dispatch import ring as ring_bell  # noqa: E402
from analytics.worker.work import run_job  # noqa: E402
from clubdata.demo.files import CLUB_FILE  # noqa: E402
from clubdata.intake import uploads  # noqa: E402
from clubdata.models import Account, Club, Job, JobKind, JobState, Member, MemberRole, Peg, Return, Role  # noqa: E402
from clubdata.services import accounts, clubs, jobs  # noqa: E402
from clubdata.services.hand_ins import HandIn, PartInput  # noqa: E402
from clubdata.services.members import membership  # noqa: E402
from clubdata.services.returns import hand_in  # noqa: E402


def open_club() -> str:
    """Migrate, and set the demo's club up."""
    call_command("migrate", verbosity=0)
    description = json.loads(CLUB_FILE.read_text(encoding="utf-8"))
    clubs.setup_club(description=description, actor=None, now=timezone.now())
    return str(Club.objects.get().slug)


def want_import(sheet: str) -> int:
    with Path(sheet).open("rb") as source:
        payload = {"path": uploads.keep(source), "dry_run": False, "file_name": "sheet.csv"}
    now = timezone.now()
    club = Club.objects.get()
    return jobs.request_job(club=club, kind=JobKind.IMPORT, payload=payload, actor=None, now=now).pk


def want_fit() -> int:
    return request_fit(club=Club.objects.get(), actor=None, now=timezone.now()).pk


def ring(job_id: int, times: int = 1) -> None:
    for _ in range(times):
        ring_bell(job_id=job_id)


def job(job_id: int) -> dict[str, Any]:
    return json.loads(json.dumps(Job.objects.filter(pk=job_id).values().get(), default=str))


def all_jobs() -> list[dict[str, Any]]:
    wanted = ("id", "kind", "state", "attempt", "reason", "reason_code")
    return list(Job.objects.order_by("id").values(*wanted))


def counts() -> dict[str, int]:
    return {"returns": Return.objects.count(), "fits": FitRun.objects.filter(beside=None).count()}


def freeze_in(kind: str, pid: int, patience_s: float) -> bool:
    """Stop process `pid` while a job of this kind runs; whether it was caught in the middle."""
    deadline = time.monotonic() + patience_s
    running = Job.objects.filter(kind=kind, state=JobState.RUNNING)
    while time.monotonic() < deadline:
        if running.exists():
            os.kill(pid, signal.SIGSTOP)
            if running.exists():
                return True
            os.kill(pid, signal.SIGCONT)
        time.sleep(0.002)
    return False


def work(job_id: int) -> str:
    """Do a job's work in this process; the state in which it ended."""
    run_job(job_id=job_id, clock=timezone.now)
    return str(Job.objects.values_list("state", flat=True).get(pk=job_id))


def _angler(club: Club) -> Account:
    member = Member.objects.filter(club=club, roles__role=Role.MEMBER).order_by("number")[0]
    return member.account or accounts.open_account(
        member=member, username="angler", password=None, actor=None, now=timezone.now()
    )


def sign_in_with_every_role() -> str:
    """The token of a member who may ask for everything."""
    club = Club.objects.get()
    account = _angler(club)
    member = Member.objects.get(club=club, account=account)
    for role in Role:
        MemberRole.objects.get_or_create(club=club, member=member, role=role)
    lifetime = timedelta(hours=1)
    return accounts.issue_token(account=account, device="test", now=timezone.now(), lifetime=lifetime)[1]


def hand_in_many(number: int) -> dict[str, float]:
    """Hand in `number` returns, one after another; how long they took, in seconds."""
    club = Club.objects.get()
    actor = _angler(club)
    peg = Peg.objects.filter(club=club, hazards=None).select_related("water")[0]
    took = []
    for turn in range(number):
        data = HandIn(
            water=str(peg.water.uid),
            peg=peg.label,
            fished_on=date(2024, 6, 16),
            outcome="weighed",
            hours=Decimal(5),
            weight="3lb 2oz",
            notes=f"turn {turn}",
            parts=(PartInput(hook_bait="caster", distance_m=Decimal(11)),),
        )
        begun = time.monotonic()
        hand_in(who=membership(actor=actor, slug=club.slug), now=timezone.now(), data=data)
        took.append(time.monotonic() - begun)
    return {"p99": statistics.quantiles(took, n=100)[98], "median": statistics.median(took), "max": max(took)}


def fit_many(number: int) -> list[str]:
    """Fit and store `number` times, as a worker would; how each ended."""
    ended = []
    for _ in range(number):
        job_id = want_fit()
        claim = jobs.claim(job_id=job_id, now=timezone.now())
        assert claim is not None
        run_fit(claim=claim, clock=timezone.now)
        ended.append(Job.objects.values_list("state", flat=True).get(pk=job_id))
    return ended


CALLS: dict[str, Callable[..., Any]] = {
    call.__name__: call
    for call in (
        open_club,
        want_import,
        want_fit,
        ring,
        job,
        all_jobs,
        counts,
        freeze_in,
        hand_in_many,
        fit_many,
        work,
        sign_in_with_every_role,
    )
}


def main() -> None:
    for line in sys.stdin:
        name, arguments = json.loads(line)
        sys.stdout.write(json.dumps(CALLS[name](**arguments)) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
