"""One demo at a time on one set of files."""

import fcntl
import os
from pathlib import Path
from typing import TextIO


class Held(Exception):
    """Another process holds the lock; `holder` is its id, as it wrote it."""

    def __init__(self, holder: str) -> None:
        super().__init__(holder)
        self.holder = holder


def hold_lock(path: Path) -> TextIO:
    """The open file that is the lock: held while this process lives, however it ends. Raises `Held`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    file = path.open("a+")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.seek(0)
        raise Held(file.read().strip()) from None
    file.truncate(0)
    file.write(str(os.getpid()))
    file.flush()
    return file
