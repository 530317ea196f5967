"""One log line a request: ids, route and status; never a query, a body, a name or a token."""

import logging
import time
import uuid
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

logger = logging.getLogger("clubdata.request")


class RequestLogMiddleware:
    """Gives each request an id, sends it back as `X-Request-Id`, and logs what came of it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request_id = uuid.uuid4().hex
        request.META["clubdata.request_id"] = request_id
        begun = time.monotonic()
        response = self.get_response(request)
        response["X-Request-Id"] = request_id
        duration_ms = round((time.monotonic() - begun) * 1000, 1)
        logger.info(
            "request", extra={**_ids(request), "status": response.status_code, "duration_ms": duration_ms}
        )
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> None:
        """A defect is logged here, by route: the framework's own line would quote the path."""
        logger.error("defect", exc_info=exception, extra=_ids(request))


def _ids(request: HttpRequest) -> dict[str, object]:
    # The route's pattern, not the path: a path carries public ids.
    route = request.resolver_match.route if request.resolver_match else "unmatched"
    return {"request_id": request.META["clubdata.request_id"], "method": request.method, "route": route}
