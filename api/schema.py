"""The OpenAPI 3.1 document: what drf-spectacular reads from the views, with our problems and our key."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from api.authentication import SCHEME
from api.errors import MEDIA_TYPE
from api.replays import HEADER, MARK
from api.serializers.problems import ProblemSerializer

PROBLEMS = {
    "400": "The request cannot be read, or its input cannot be accepted.",
    "401": "No key, or one that is not valid.",
    "403": "The role that this needs is missing.",
    "404": "No such thing, or not the caller's to see.",
    "default": "Any other problem.",
}
IDEMPOTENCY_KEY = OpenApiParameter(
    HEADER,
    str,
    OpenApiParameter.HEADER,
    description="Your own key for this request, in quotes: sent again with it, it is answered as before.",
)
NOUN_POSITION = 4  # /api/v1/clubs/{slug}/<noun>/


class ClubdataSchema(AutoSchema):
    """Takes query parameters from a view's `query` and gives every operation its problem responses."""

    def get_override_parameters(self) -> list[Any]:
        declared = getattr(self.view, "declared_parameters", None)
        parameters: list[Any] = list(declared(self.method)) if declared else []
        if getattr(getattr(self.view, self.method.lower(), None), MARK, False):
            parameters.append(IDEMPOTENCY_KEY)
        return parameters

    def get_summary(self) -> str:
        """The first sentence of the method's own description."""
        return str(self.get_description()).partition(".")[0].replace("\n", " ")

    def get_tags(self) -> list[str]:
        parts = self.path.strip("/").split("/")
        return ["advice"] if "advice" in parts else parts[NOUN_POSITION:][:1] or parts[2:3]

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        operation: dict[str, Any] | None = super().get_operation(*args, **kwargs)
        if operation is None or not self.path.startswith("/api/v1/"):
            return operation
        reference = self.resolve_serializer(ProblemSerializer, "response").ref
        for status, description in PROBLEMS.items():
            operation["responses"].setdefault(
                status, {"description": description, "content": {MEDIA_TYPE: {"schema": reference}}}
            )
        return operation


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Names our key in the document, so that the documentation page can carry it."""

    target_class = "api.authentication.TokenAuthentication"
    name = "deviceKey"

    def get_security_definition(self, _auto_schema: AutoSchema) -> dict[str, Any]:
        return {"type": "http", "scheme": SCHEME.lower(), "description": "A key issued for one device."}
