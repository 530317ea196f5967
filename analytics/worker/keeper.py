"""Renewing a job's lease from a side thread, so that one long step of the work does not lose it."""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

from django.conf import settings
from django.db import OperationalError, connection

from clubdata.services import jobs

logger = logging.getLogger(__name__)


@contextmanager
def kept(*, claim: jobs.Claim, clock: Callable[[], datetime]) -> Iterator[None]:
    """Hold the lease of `claim` while the body runs: four times as often as it would lapse.

    A lease lost meanwhile ends the keeping; the work learns of it at its next write.
    """
    ended = threading.Event()
    thread = threading.Thread(target=_keep, args=(claim, clock, ended), name="lease", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _keep(claim: jobs.Claim, clock: Callable[[], datetime], ended: threading.Event) -> None:
    try:
        while not ended.wait(settings.JOB_LEASE_S / 4):
            try:
                jobs.keep(claim=claim, now=clock())
            except jobs.LeaseLost:
                return
            except OperationalError as trouble:
                logger.warning("lease of job %d not renewed: %s", claim.job_id, type(trouble).__name__)
    finally:
        # A thread has a connection of its own, which nobody else would close.
        connection.close()
