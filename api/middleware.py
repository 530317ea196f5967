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


#: What a browser may do with an answer to a program: nothing. Pages with other needs say so themselves.
_OF_DATA = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
#: Of the books' pages and the way in: their own files, their own forms.
_OF_PAGES = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
_NO_DEVICES = "camera=(), geolocation=(), microphone=(), payment=(), usb=()"


class SafetyHeadersMiddleware:
    """What a browser is to refuse; and personal answers are in nobody's shared cache."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        is_data = request.path.startswith(("/api/v1/", "/health/"))
        response.headers.setdefault("Content-Security-Policy", _OF_DATA if is_data else _OF_PAGES)
        response.headers.setdefault("Permissions-Policy", _NO_DEVICES)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        if is_data:
            response.headers.setdefault("Cache-Control", "private, no-cache")
        return response


def _ids(request: HttpRequest) -> dict[str, object]:
    # The route's pattern, not the path: a path carries public ids.
    route = request.resolver_match.route if request.resolver_match else "unmatched"
    return {"request_id": request.META["clubdata.request_id"], "method": request.method, "route": route}
