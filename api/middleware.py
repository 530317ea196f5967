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
        begun = time.monotonic()
        response = self.get_response(request)
        response["X-Request-Id"] = request_id
        # The route's pattern, not the path: a path carries public ids.
        route = request.resolver_match.route if request.resolver_match else "unmatched"
        logger.info(
            "request",
            extra={
                "request_id": request_id,
                "method": request.method,
                "route": route,
                "status": response.status_code,
                "duration_ms": round((time.monotonic() - begun) * 1000, 1),
            },
        )
        return response
