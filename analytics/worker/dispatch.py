"""Ringing the bell for a job, by the task's name: whoever rings loads no task, and so no model.

The row is the truth. A bell that nobody hears costs a wait until the schedule rings again, never
an error to the member whose request it was.
"""

import logging

from django.db import transaction
from kombu.exceptions import KombuError

from analytics.worker.app import QUEUE, app

logger = logging.getLogger(__name__)

RUN_JOB = "clubdata.run_job"
# The whole of it is over in about two seconds, should the broker be away.
_ONE_TRY = {"max_retries": 0, "interval_start": 0, "interval_step": 0, "interval_max": 0}


def ring(*, job_id: int) -> None:
    """Queue the job's id. A broker that is away is logged and otherwise ignored."""
    try:
        with app.connection_for_write() as connection:
            # Nothing is declared: the default exchange delivers by the queue's name.
            app.send_task(
                RUN_JOB,
                kwargs={"job_id": job_id},
                queue=QUEUE,
                connection=connection,
                declare=[],
                retry=True,
                retry_policy=_ONE_TRY,
                ignore_result=True,
            )
    except (KombuError, OSError) as trouble:
        logger.warning(
            "the broker is away (%s): the schedule rings for job %d", type(trouble).__name__, job_id
        )


def ring_after_commit(*, job_id: int) -> None:
    """Ring once the transaction that made the job has committed; at once when there is none."""
    transaction.on_commit(lambda: ring(job_id=job_id))
