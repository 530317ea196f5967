"""What every view shares: bounded bodies, known parameters, one page shape, the actor and the clock."""

from datetime import datetime
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.utils import timezone
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.settings import DEFAULTS, APISettings
from rest_framework.views import APIView

from api.limits import CallerLimit
from api.pagination import Keyset
from api.parsers import BoundedJsonParser
from api.permissions import IsCurrentMember, Need, member_of
from api.query import QuerySerializer, read_query
from api.replays import answered_once
from clubdata.services.members import Membership


class HeaderNegotiation(DefaultContentNegotiation):
    """By the Accept header alone: a `format` parameter is as unknown as any other."""

    settings: Any = APISettings({"URL_FORMAT_OVERRIDE": None}, DEFAULTS)  # type: ignore[arg-type]


class ApiView(APIView):
    """A view whose parameters are declared in `query`, by method, and read before anything is done."""

    parser_classes = [BoundedJsonParser]
    content_negotiation_class = HeaderNegotiation
    query: ClassVar[dict[str, type[QuerySerializer]]] = {}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        self._count(request)
        super().initial(request, *args, **kwargs)
        self.parameters = read_query(request, *self.declared_parameters(request.method or ""))

    def _count(self, request: Request) -> None:
        """Before anything else: who may not, whose key is wrong and who asks in vain is counted too."""
        try:
            self.perform_authentication(request)
        finally:
            self.limit = CallerLimit()
            if not self.limit.allow_request(request, self):
                self.throttled(request, self.limit.wait())

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        final = super().finalize_response(request, response, *args, **kwargs)
        standing = self.limit.standing if hasattr(self, "limit") else None
        for name, value in ({} if standing is None else standing.headers()).items():
            final[name] = value
        return final

    def declared_parameters(self, method: str) -> tuple[type[QuerySerializer], ...]:
        """The serializers of the method's parameters; HEAD takes those of GET (RFC 9110, section 9.3.2)."""
        declared = self.query.get("GET" if method == "HEAD" else method)
        return () if declared is None else (declared,)

    @property
    def now(self) -> datetime:
        """The clock, which only this edge reads."""
        return timezone.now()

    def page_response(
        self,
        request: Request,
        rows: QuerySet[Any],
        keyset: Keyset,
        serializer: type[BaseSerializer[Any]],
    ) -> Response:
        """One page as `{results, next}`, its successor in a Link header too (RFC 8288)."""
        page = keyset.page(rows, request, self.parameters)
        results = serializer(page.rows, many=True, context={"request": request}).data
        headers = {"Link": f'<{page.next_url}>; rel="next"'} if page.next_url else {}
        return Response({"results": results, "next": page.next_url}, headers=headers)


class ClubView(ApiView):
    """A view under one club: `who` is the actor's membership, `roles` what a method needs.

    Every POST may be sent again under an Idempotency-Key, except where the answer holds a secret that is
    shown once (`keeps_replies`).
    """

    permission_classes = [IsAuthenticated, IsCurrentMember]
    roles: ClassVar[dict[str, Need]] = {}
    keeps_replies: ClassVar[bool] = True

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if cls.keeps_replies and "post" in vars(cls):
            setattr(cls, "post", answered_once(vars(cls)["post"]))  # noqa: B010 - mypy knows no such method

    @property
    def who(self) -> Membership:
        return member_of(self.request)
