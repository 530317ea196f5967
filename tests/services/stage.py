"""Real processes on files, a database and a broker of their own, and a way to look them over."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil

ROOT = Path(__file__).resolve().parents[2]
# What the product promises of a job whose worker was killed.
GOING_AGAIN_S = 60


def wait_for(condition: Callable[[], Any], *, what: str, patience_s: float = GOING_AGAIN_S) -> Any:
    """The first true answer of `condition`; fails, saying `what` did not come, when there is none in time."""
    deadline = time.monotonic() + patience_s
    while time.monotonic() < deadline:
        found = condition()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(f"not within {patience_s:.0f} s: {what}")


class Office:
    """The other end of `tests.services.office`."""

    def __init__(self, environ: dict[str, str]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.services.office"],
            cwd=ROOT,
            env=environ,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, name: str, **arguments: Any) -> None:
        """Send a call without waiting for what comes of it."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps([name, arguments]) + "\n")
        self._process.stdin.flush()

    def answer(self) -> Any:
        """What came of the oldest call that was asked."""
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the office's process died: see its error above"
        return json.loads(line)

    def __call__(self, name: str, **arguments: Any) -> Any:
        self.ask(name, **arguments)
        return self.answer()

    def close(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(10)


@dataclass
class Stage:
    """One set of files, one database, one broker; whatever was started on it is ended with it."""

    environ: dict[str, str]
    folder: Path
    offices: list[Office] = field(default_factory=list)
    started: list[psutil.Process] = field(default_factory=list)

    def office(self) -> Office:
        self.offices.append(Office(self.environ))
        return self.offices[-1]

    def start(self, *arguments: str) -> psutil.Process:
        """Start `python …` with a log in the stage's folder."""
        with (self.folder / f"{len(self.started)}.log").open("wb") as log:
            process = psutil.Popen(
                [sys.executable, *arguments],
                cwd=ROOT,
                env=self.environ,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self.started.append(process)
        return process

    def log_of(self, process: psutil.Process) -> str:
        return (self.folder / f"{self.started.index(process)}.log").read_text(errors="replace")

    def close(self) -> None:
        for office in self.offices:
            office.close()
        for process in self.started:
            for each in family(process):
                each.kill()
        psutil.wait_procs(self.started, timeout=10)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def stage_environ(folder: Path, **more: str) -> dict[str, str]:
    """The environment of a stage's processes: nothing of this test run's own settings is in it."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("CLUBDATA_")}
    for name in ("DATABASE_URL", "BROKER_URL"):
        kept.pop(name, None)
    return {
        **kept,
        "CLUBDATA_DEMO": "1",
        "CLUBDATA_VAR": str(folder / "var"),
        "CLUBDATA_JOB_LEASE_S": "3",
        "CLUBDATA_JOB_REAP_EVERY_S": "1",
        "DJANGO_SETTINGS_MODULE": "clubdata.settings",
        **more,
    }


def family(process: psutil.Process) -> list[psutil.Process]:
    """The process and all that came of it, as far as they live."""
    try:
        return [process, *process.children(recursive=True)]
    except psutil.NoSuchProcess:
        return []


def living(processes: list[psutil.Process]) -> list[psutil.Process]:
    """Those that still run; one that has ended and was not yet collected does not count."""
    return [each for each in processes if each.is_running() and each.status() != psutil.STATUS_ZOMBIE]


def worker_of(starter: psutil.Process) -> psutil.Process | None:
    """The worker's parent process among what `starter` started, once its pool is there."""
    for each in family(starter):
        line = each.cmdline()
        if line[-2:] == ["-m", "analytics.worker"] and pool_of(each) is not None:
            return each
    return None


def pool_of(worker: psutil.Process) -> psutil.Process | None:
    """The pool process, in which jobs run."""
    return next(iter(worker.children()), None)
