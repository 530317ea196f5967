"""`python -m analytics.worker` starts a worker, `python -m analytics.worker schedule` its schedule."""

import logging
import os
import sys
from typing import Any

from celery.signals import setup_logging

from analytics.worker import lifeline
from analytics.worker.app import app

# One process, one core: the linear algebra's own threads would only fight over it. Read when NumPy
# loads, which it does with the tasks; Django's checks belong to the web process, where they have run.
START = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "CELERY_SKIP_CHECKS": "1",
}

WORKER = ["--quiet", "worker", "--concurrency", "1", "--without-gossip", "--without-mingle"]
SCHEDULE = ["--quiet", "beat", "--max-interval", "5"]


@setup_logging.connect  # type: ignore[untyped-decorator]
def keep_our_logging(**_: Any) -> None:
    """The settings' log, JSON with ids; of the queue's own lines, a few every ten seconds, the warnings."""
    logging.getLogger("celery").setLevel(logging.WARNING)


def main(arguments: list[str]) -> None:
    """Hand over to Celery, which serves until it is told to stop."""
    os.environ.update(START)
    lifeline.follow_starter(os.environ)
    app.start(SCHEDULE if arguments == ["schedule"] else WORKER + arguments)


if __name__ == "__main__":
    main(sys.argv[1:])
