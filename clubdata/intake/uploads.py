"""The files that wait to be imported, each under a name of our own and readable by its owner alone."""

import shutil
import uuid
from datetime import datetime, timedelta
from pathlib import Path
from typing import BinaryIO, Final

from django.conf import settings

from clubdata.intake.columns import SheetRefused
from clubdata.models import Job, JobKind
from clubdata.models.jobs import ENDED

_JOB_FOLLOWS_WITHIN: Final = timedelta(days=1)


def keep(source: BinaryIO) -> str:
    """Copy an open file into the upload directory; the name to put in a job's payload."""
    directory = Path(settings.UPLOAD_DIR)
    directory.mkdir(parents=True, exist_ok=True)
    name = f"{uuid.uuid4().hex}.csv"
    path = directory / name
    path.touch(mode=0o600)
    with path.open("wb") as target:
        shutil.copyfileobj(source, target)
    return name


def path_of(name: str) -> Path:
    """Where an upload lies. Raises `SheetRefused` for anything but a plain file name."""
    if not name or Path(name).name != name or name.startswith("."):
        raise SheetRefused("There is no such file to read.", code="no_such_file")
    return Path(settings.UPLOAD_DIR) / name


def discard_ended(*, now: datetime) -> None:
    """Remove the uploads whose imports have ended, also those that a killed worker left behind.

    An upload that no job names was kept by a process that died before it asked for one, or is about to
    ask: it goes when it is a day old.
    """
    long_ago = (now - _JOB_FOLLOWS_WITHIN).timestamp()
    imports = Job.objects.filter(kind=JobKind.IMPORT)
    for path in Path(settings.UPLOAD_DIR).glob("*"):
        states = set(imports.filter(payload__path=path.name).values_list("state", flat=True))
        if states <= set(ENDED) if states else _written_before(path, long_ago):
            path.unlink(missing_ok=True)


def _written_before(path: Path, moment: float) -> bool:
    try:
        return path.stat().st_mtime < moment
    except FileNotFoundError:
        return False  # another import removed it meanwhile
