"""Whether this process lives, and whether it can do its work."""

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from kombu.exceptions import KombuError

from analytics.models import FitRun
from analytics.worker.app import app


@never_cache
@require_safe
def live(_request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "ok"})


@never_cache
@require_safe
def ready(_request: HttpRequest) -> JsonResponse:
    """Database and migrations decide. The broker is only reported: without it work waits, nothing is lost.

    `recommendation` says that at least one club has a fit to answer from; a new club has none, and the
    service is ready all the same.
    """
    database = _database()
    is_ready = database == "ok"
    body = {
        "status": "ok" if is_ready else "not ready",
        "database": database,
        "broker": _broker(),
        "recommendation": is_ready and FitRun.objects.filter(promoted=True).exists(),
    }
    return JsonResponse(body, status=200 if is_ready else 503)


def _database() -> str:
    try:
        executor = MigrationExecutor(connection)
        waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return "away"
    return "migrations waiting" if waiting else "ok"


def _broker() -> str:
    if settings.BROKER_URL.startswith("filesystem"):
        return "ok" if settings.BROKER_DIR.is_dir() else "away"
    try:
        with app.connection_for_write() as link:
            link.ensure_connection(max_retries=1, interval_start=0, timeout=1)
    except (KombuError, OSError):
        return "away"
    return "ok"
