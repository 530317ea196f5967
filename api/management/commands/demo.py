"""`manage.py demo`: from a fresh machine to a club's own spreadsheet as advice, in one command."""

import json
import os
import signal
import socket
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from analytics.answers.freshness import Freshness, fit_status
from analytics.requests import has_no_study, request_fit, request_study
from analytics.worker import lifeline
from analytics.worker.dispatch import ring
from api.management.children import Children, KeepsDying
from api.management.examples import advice_path, examples_of
from api.management.lock import Held, hold_lock
from api.management.people import fresh_people
from api.management.screen import example_lines, fact, import_facts, people_table
from api.management.waiting import NoAnswer, await_job, await_page
from clubdata.demo.files import CLUB_FILE, RETURNS_FILE
from clubdata.intake import uploads
from clubdata.models import Club, Job, JobKind, JobState, Return
from clubdata.services.clubs import setup_club
from clubdata.services.jobs import request_job

PYTHON = (sys.executable, "-m")
# A port that the last demo has only just let go of is worth a moment's patience.
PORT_PATIENCE_S = 3.0
WEB_PATIENCE_S = 60.0


class Command(BaseCommand):
    """Sets up the invented club, imports and fits its returns, and serves until Ctrl-C."""

    help = "Set up an invented club, turn its spreadsheet into advice, and serve it on this machine."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=_port, default=8000, help="where to serve (default 8000)")
        parser.add_argument("--fresh", action="store_true", help="begin again with an empty database")

    def handle(self, *_: Any, port: int, fresh: bool, **__: Any) -> None:
        lifeline.follow_launcher("uv")
        self._refuse_unless_possible(fresh=fresh)
        lock = self._lock()
        self._await_port(port)
        if fresh:
            _remove_own_files()
        signal.signal(signal.SIGTERM, _interrupt)
        # A shell that starts things in the background leaves Ctrl-C's signal ignored.
        signal.signal(signal.SIGINT, _interrupt)
        children = Children(settings.VAR_DIR / "log", _child_environ(port), Path(settings.BASE_DIR))
        try:
            self._run(children, port)
        except KeyboardInterrupt:
            self._say("", "Stopping.")
        except KeepsDying as trouble:
            self._give_up(str(trouble))
        finally:
            _ignore_interrupts()
            children.stop()
            lock.close()

    def _run(self, children: Children, port: int) -> None:
        address = f"http://127.0.0.1:{port}"
        self._say("", "clubdata: a club's catch returns, and the advice they hold", "")
        _migrate()
        self._say(fact("database", "ready"))
        children.start("web", [*PYTHON, "gunicorn", "--config", "api/server.py", "api.wsgi:application"])
        club = self._set_up_club()
        self._import_returns(club, children)
        self._fit(club, children)
        people = fresh_people(club=club, now=timezone.now())
        url = address + advice_path(club, month=timezone.localdate().month)
        try:
            await_page(url, token=people[0].token, patience_s=WEB_PATIENCE_S, meanwhile=children.look_after)
        except NoAnswer as trouble:
            self._give_up(f"The advice could not be asked for ({trouble}); {children.log_dir} says why.")
        self._study(club, children)
        self._say(fact("serving", f"{address}/api/docs/ explains every request; Ctrl-C ends it"), "")
        self._say(*people_table(people), "")
        self._say(*example_lines(examples_of(club, people), address=address), "")
        self._say(f"ready {address}/")
        while True:
            children.look_after()
            time.sleep(0.5)

    def _set_up_club(self) -> Club:
        description = json.loads(CLUB_FILE.read_text(encoding="utf-8"))
        setup_club(description=description, actor=None, now=timezone.now())
        club: Club = Club.objects.get(slug=description["slug"])
        waters, members = len(description["waters"]), len(description["members"])
        self._say(fact("club", f"{club.name}: {waters} waters, {members} members"))
        return club

    def _import_returns(self, club: Club, children: Children) -> None:
        landed = Return.objects.filter(club=club).count()
        if landed:
            self._say(fact("returns", f"{landed:,} kept from last time"))
            return
        job = _under_way(club, JobKind.IMPORT) or _request_import(club)
        ring(job_id=job.pk)
        ended = self._await_end(job, "returns", children)
        self._say(fact("returns", import_facts(ended.result)))

    def _fit(self, club: Club, children: Children) -> None:
        """Wait for the first fit; a later one may take its time, for the last one answers meanwhile."""
        status = fit_status(club=club)
        if status.freshness != Freshness.FRESH:
            job = _under_way(club, JobKind.FIT) or request_fit(club=club, actor=None, now=timezone.now())
            ring(job_id=job.pk)
            if status.freshness == Freshness.NONE:
                self._await_end(job, "fit", children)
                status = fit_status(club=club)
        if status.fit is not None:
            told = (
                f"{status.fit.rows_used:,} returns from {status.fit.first_on:%Y} to {status.fit.last_on:%Y}"
            )
            later = "; returns have come since, a new fit is under way" if status.fit.stale else ""
            self._say(fact("fit", told + later))

    def _study(self, club: Club, children: Children) -> None:
        """Wait for what follows a fit; the worker that made the fit is mostly at it already."""
        _start_workers(children)
        job = _under_way(club, JobKind.STUDY)
        if job is None and has_no_study(club=club):
            job = request_study(club=club, now=timezone.now())
        if job is not None:
            ring(job_id=job.pk)
            ended = await_job(job, title="study", meanwhile=children.look_after)
            self._say(fact("study", f"{ended.state}: trends by other returns and readings"))

    def _await_end(self, job: Job, title: str, children: Children) -> Job:
        _start_workers(children)
        ended = await_job(job, title=title, meanwhile=children.look_after)
        if ended.state != JobState.FINISHED:
            self._give_up(f"The {ended.kind} ended as {ended.state} ({ended.reason_code}): {ended.reason}")
        return ended

    def _refuse_unless_possible(self, *, fresh: bool) -> None:
        if not settings.DEMO:
            self._give_up("The demo serves with a known set of comforts: set CLUBDATA_DEMO=1 to allow it.")
        if fresh and "DATABASE_URL" in os.environ:
            self._give_up("--fresh removes the demo's own files; DATABASE_URL names another database.")

    def _lock(self) -> Any:
        try:
            return hold_lock(settings.VAR_DIR / "demo.lock")
        except Held as held:
            self._give_up(f"The demo is running already, as process {held.holder}: end that one first.")

    def _await_port(self, port: int) -> None:
        deadline = time.monotonic() + PORT_PATIENCE_S
        while not _is_free(port):
            if time.monotonic() > deadline:
                self._give_up(f"Port {port} is in use: choose another, as in --port {port + 1}.")
            time.sleep(0.2)

    def _say(self, *lines: str) -> None:
        for line in lines:
            self.stdout.write(line)
        self.stdout.flush()

    def _give_up(self, why: str) -> NoReturn:
        self.stderr.write(why)
        raise SystemExit(1)


def _migrate() -> None:
    """Bring the database up to date; looking first is a second quicker when there is nothing to do."""
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)


def _start_workers(children: Children) -> None:
    """When a job is waited for, and otherwise once the advice is served: they take seconds of their own."""
    if not children.has("worker"):
        children.start("worker", [*PYTHON, "analytics.worker"])
        children.start("schedule", [*PYTHON, "analytics.worker", "schedule"])


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def _port(typed: str) -> int:
    if not (typed.isdecimal() and 1 <= int(typed) <= 65535):
        raise ArgumentTypeError("a port is a number from 1 to 65535")
    return int(typed)


def _child_environ(port: int) -> dict[str, str]:
    bind = {"CLUBDATA_BIND": f"127.0.0.1:{port}"}
    return {**os.environ, **bind, "CLUBDATA_DEMO": "1", "DJANGO_SETTINGS_MODULE": "clubdata.settings"}


def _remove_own_files() -> None:
    """What the demo wrote, by name: the folder may hold other files, and the secret is worth keeping."""
    database = Path(settings.DATABASES["default"]["NAME"])
    for suffix in ("", "-wal", "-shm"):
        database.with_name(database.name + suffix).unlink(missing_ok=True)
    for folder in (settings.BROKER_DIR, settings.UPLOAD_DIR, settings.VAR_DIR / "log"):
        # The folders stay: this process has them open for its messages.
        for path in folder.rglob("*"):
            if path.is_file():
                path.unlink()


def _under_way(club: Club, kind: JobKind) -> Job | None:
    """A job that an earlier start left: it goes again by itself, and a second would do its work twice."""
    return Job.objects.filter(club=club, kind=kind, state__in=[JobState.QUEUED, JobState.RUNNING]).first()


def _request_import(club: Club) -> Job:
    with RETURNS_FILE.open("rb") as source:
        name = uploads.keep(source)
    payload = {"path": name, "dry_run": False, "file_name": RETURNS_FILE.name}
    return request_job(club=club, kind=JobKind.IMPORT, payload=payload, actor=None, now=timezone.now())


def _interrupt(_signal: int, _frame: FrameType | None) -> NoReturn:
    raise KeyboardInterrupt


def _ignore_interrupts() -> None:
    """A second Ctrl-C must not leave a child behind."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
