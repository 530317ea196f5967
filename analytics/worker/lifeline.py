"""No process outlives the one that started it, not even one that was killed outright.

A killed parent cannot tell its children to stop, so each child looks whether its parent is still
there. (Linux could signal the death itself; looking works everywhere and is the same code.)
"""

import os
import threading
import time
from collections.abc import Mapping
from pathlib import Path

PARENT = "CLUBDATA_PARENT_PID"
LOOK_EVERY_S = 0.5


def follow(parent_pid: int) -> None:
    """End this process, at once and without ceremony, when `parent_pid` is no longer its parent."""
    threading.Thread(target=_watch, args=(parent_pid,), name="lifeline", daemon=True).start()


def follow_starter(environ: Mapping[str, str]) -> None:
    """Follow the process that named itself in `CLUBDATA_PARENT_PID`; nobody when none did."""
    if PARENT in environ:
        follow(int(environ[PARENT]))


def follow_launcher(name: str) -> None:
    """Follow a parent that runs under `name`: a launcher that only waits for us, as `uv run` does.

    Where there is no `/proc` to tell, nobody is followed.
    """
    parent_pid = os.getppid()
    comm = Path(f"/proc/{parent_pid}/comm")
    if comm.exists() and comm.read_text().strip() == name:
        follow(parent_pid)


def _watch(parent_pid: int) -> None:
    while os.getppid() == parent_pid:
        time.sleep(LOOK_EVERY_S)
    # Skips every clean-up: a job under way is taken back when its lease lapses.
    os._exit(1)
