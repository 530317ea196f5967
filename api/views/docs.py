"""The schema and its documentation page."""

from typing import Any

from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularJSONAPIView, SpectacularSwaggerSplitView
from rest_framework.request import Request
from rest_framework.response import Response

# The page needs nothing from outside, and says so to the browser.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


class SchemaView(SpectacularJSONAPIView):
    """OpenAPI 3.1 as JSON."""


class DocsView(SpectacularSwaggerSplitView):
    """Swagger UI from our own static files."""

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        response: Response = super().get(request, *args, **kwargs)  # type: ignore[no-untyped-call]
        response["Content-Security-Policy"] = POLICY
        return response
