"""Waiting for a job's end, with a bar, and for a page, while the children are looked after."""

import json
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from typing import Any

from tqdm import tqdm

from clubdata.models import Job
from clubdata.models.jobs import ENDED

LOOK_EVERY_S = 0.2

Meanwhile = Callable[[], None]


class NoAnswer(Exception):
    """A page did not come with status 200 in time; the text says what came instead."""


def await_job(job: Job, *, title: str, meanwhile: Meanwhile) -> Job:
    """The job once it has ended, however it ended. Its row is the only thing that is looked at."""
    with tqdm(
        desc=title,
        total=1,
        bar_format="  {desc:<10} {bar:32} {percentage:3.0f} %{postfix}",
        disable=not sys.stdout.isatty(),
        file=sys.stdout,
        leave=False,
        ascii=" ━",
    ) as bar:
        while job.state not in ENDED:
            meanwhile()
            time.sleep(LOOK_EVERY_S)
            job.refresh_from_db()
            bar.total = job.progress_total or 1
            bar.n = job.progress_done
            bar.set_postfix_str(job.progress_step or "waiting for the worker")
    return job


def await_page(url: str, *, token: str, patience_s: float, meanwhile: Meanwhile) -> Any:
    """The JSON at `url` as soon as it comes with status 200. Raises `NoAnswer` after `patience_s`."""
    request = urllib.request.Request(url, headers={"Authorization": f"Bearer {token}"})  # noqa: S310 - loopback
    deadline = time.monotonic() + patience_s
    while True:
        meanwhile()
        try:
            with urllib.request.urlopen(request, timeout=10) as response:  # noqa: S310 - loopback
                return json.load(response)
        except urllib.error.HTTPError as error:
            trouble = f"status {error.code}"
        except (urllib.error.URLError, OSError) as error:
            trouble = type(error).__name__
        if time.monotonic() > deadline:
            raise NoAnswer(trouble)
        time.sleep(LOOK_EVERY_S)
