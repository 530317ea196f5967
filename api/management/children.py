"""The processes that the demo starts, restarts when they die, and ends."""

import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from analytics.worker.lifeline import PARENT

GIVE_UP_AFTER = 5
SETTLED_AFTER_S = 10.0
GRACE_S = 2.0


class KeepsDying(Exception):
    """A child died again and again as soon as it was started: `name`, and the `log` that says why."""

    def __init__(self, *, name: str, log: Path) -> None:
        super().__init__(f"The {name} does not stay up; {log} says why.")


@dataclass(slots=True)
class Child:
    """One process under a name, and how often it died young."""

    name: str
    command: Sequence[str]
    process: subprocess.Popen[bytes]
    started: float
    young_deaths: int = 0


@dataclass(slots=True)
class Children:
    """All of them. Each has a log of its own, and a session, so that Ctrl-C reaches the demo alone."""

    log_dir: Path
    environ: Mapping[str, str]
    directory: Path
    children: list[Child] = field(default_factory=list)

    def start(self, name: str, command: Sequence[str]) -> None:
        """Start a child that will be kept running."""
        self.log_dir.mkdir(parents=True, exist_ok=True)
        self.children.append(Child(name, command, self._spawn(name, command), time.monotonic()))

    def has(self, name: str) -> bool:
        """Whether a child of this name was started."""
        return any(child.name == name for child in self.children)

    def look_after(self) -> None:
        """Start again what has died. Raises `KeepsDying` for a child that never gets going."""
        for child in self.children:
            if child.process.poll() is None:
                continue
            young = time.monotonic() - child.started < SETTLED_AFTER_S
            child.young_deaths = child.young_deaths + 1 if young else 0
            if child.young_deaths >= GIVE_UP_AFTER:
                raise KeepsDying(name=child.name, log=self._log(child.name))
            child.process = self._spawn(child.name, child.command)
            child.started = time.monotonic()

    def stop(self) -> None:
        """End every child: asked first, then, after a short grace, with all that it started."""
        for child in self.children:
            child.process.terminate()
        deadline = time.monotonic() + GRACE_S
        for child in self.children:
            try:
                child.process.wait(max(deadline - time.monotonic(), 0))
            except subprocess.TimeoutExpired:
                # Busy with a job: its row waits for the next worker.
                os.killpg(child.process.pid, signal.SIGKILL)
                child.process.wait()
        self.children.clear()

    def _spawn(self, name: str, command: Sequence[str]) -> subprocess.Popen[bytes]:
        with self._log(name).open("ab") as log:
            return subprocess.Popen(  # noqa: S603 - our own commands
                command,
                cwd=self.directory,
                env={**self.environ, PARENT: str(os.getpid())},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )

    def _log(self, name: str) -> Path:
        return self.log_dir / f"{name}.log"
