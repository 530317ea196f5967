"""The queue's settings. This module is light: the web process loads it to ring the bell.

A message carries a job's id and nothing else; no result is kept, because the job's row holds it.
"""

import os
from typing import Any

from celery import Celery
from celery.schedules import crontab
from django.conf import settings
from kombu.transport import TRANSPORT_ALIASES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdata.settings")

QUEUE = "clubdata"
HOUR_S = 3600
# A soft limit first, so that a job that takes too long ends with its reason; then the hard one.
SOFT_LIMIT_MARGIN_S = 30
# Redis delivers again what is unacknowledged for this long: later than any job can still be running.
VISIBILITY_MARGIN_S = 600
IN_FILES = settings.BROKER_URL.startswith("filesystem")


def _broker_options() -> dict[str, Any]:
    """What each of the two brokers needs: folders, or time-outs."""
    if not IN_FILES:
        return {
            "visibility_timeout": settings.JOB_HARD_LIMIT_S + VISIBILITY_MARGIN_S,
            "socket_connect_timeout": 2,
            "socket_timeout": 30,
        }
    folders = {
        "data_folder_in": settings.BROKER_DIR / "messages",
        "data_folder_out": settings.BROKER_DIR / "messages",
        "control_folder": settings.BROKER_DIR / "control",
    }
    for folder in folders.values():
        folder.mkdir(parents=True, exist_ok=True)
    return {name: str(path) for name, path in folders.items()} | {"polling_interval": 0.2}


# kombu's table of schemes: ours stands in for the stock file-system transport.
TRANSPORT_ALIASES["filesystem"] = "analytics.worker.folder:Transport"

app = Celery("clubdata", include=["analytics.worker.tasks"])
app.conf.update(
    broker_url="filesystem://localhost//" if IN_FILES else settings.BROKER_URL,
    broker_transport_options=_broker_options(),
    broker_connection_retry_on_startup=True,
    result_backend=None,
    task_ignore_result=True,
    task_default_queue=QUEUE,
    task_acks_late=True,
    worker_prefetch_multiplier=1,
    task_soft_time_limit=max(settings.JOB_HARD_LIMIT_S - SOFT_LIMIT_MARGIN_S, 1),
    task_time_limit=settings.JOB_HARD_LIMIT_S,
    task_serializer="json",
    accept_content=["json"],
    enable_utc=True,
    worker_hijack_root_logger=False,
    worker_redirect_stdouts=False,
    worker_enable_remote_control=False,
    worker_send_task_events=False,
    # The schedule is some intervals: nothing of it is worth a file that a kill can damage.
    beat_scheduler="celery.beat:Scheduler",
    beat_schedule={
        "take back the jobs of lost workers": {
            "task": "clubdata.reap",
            "schedule": settings.JOB_REAP_EVERY_S,
            # A busy worker need not do at once all that it missed.
            "options": {"expires": settings.JOB_REAP_EVERY_S},
        },
        "fit again what is stale": {
            "task": "clubdata.refit",
            "schedule": settings.REFIT_EVERY_S,
            "options": {"expires": settings.REFIT_EVERY_S},
        },
        "fill in the weather": {
            "task": "clubdata.weather",
            "schedule": HOUR_S,
            "options": {"expires": HOUR_S},
        },
        "forget what was kept long enough": {
            "task": "clubdata.forget",
            # By the clock: an interval would begin anew with every start of the schedule.
            "schedule": crontab(hour="3", minute="17"),
            "options": {"expires": HOUR_S},
        },
    },
)
