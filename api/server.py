"""How gunicorn serves the API: `gunicorn --config api/server.py api.wsgi:application`.

Threads rather than processes: a request waits on the database more than it computes, and one
process keeps one cache of the fits. `CLUBDATA_BIND` and `CLUBDATA_THREADS` change the rest.
"""

import os
from typing import Any

from analytics.worker import lifeline

# The names are gunicorn's.
bind = os.environ.get("CLUBDATA_BIND", "127.0.0.1:8000")
worker_class = "gthread"
threads = int(os.environ.get("CLUBDATA_THREADS", "8"))
timeout = 60
graceful_timeout = 5
# Our own log has a line a request, without its query; gunicorn's would have it with.
accesslog = None
control_socket_disable = True


def on_starting(server: Any) -> None:  # noqa: ARG001 - gunicorn's signature
    """The demo's web process ends with the demo; its workers follow gunicorn by themselves."""
    lifeline.follow_starter(os.environ)
