"""Returns: handed in, and read as a list."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import Keyset
from api.preconditions import etag_of
from api.serializers.hand_in import HandInSerializer, told_as_sent
from api.serializers.returns import ReturnDetailSerializer, ReturnQuery, ReturnSerializer
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.filters import narrowed
from clubdata.models import Return
from clubdata.services.doubts import open_doubts
from clubdata.services.members import Membership
from clubdata.services.returns import hand_in, of_peg, sees_in_full, visible_returns, with_children

FILTERS = {
    "water": "water__uid",
    "match": "match__code",
    "first_day": "fished_on__gte",
    "last_day": "fished_on__lte",
    "session_kind": "session_kind",
    "outcome": "outcome",
}


def wanted_returns(who: Membership, parameters: dict[str, Any]) -> QuerySet[Return]:
    """The returns that the reader may see, as `ReturnQuery` narrows them."""
    rows: QuerySet[Return] = narrowed(visible_returns(who), FILTERS, parameters)
    if parameters["mine"]:
        rows = rows.filter(member=who.member)
    if peg := parameters.get("peg"):
        rows = of_peg(rows, peg)
    return rows


def return_etag(who: Membership, session: Return) -> str:
    """Beside its version a return shows places, filled weather and, to some, open doubts."""
    full = sees_in_full(who, session)
    day = getattr(session, "conditions", None)
    filled = 0 if day is None else len(day.filled)
    doubts = len(open_doubts(session)) if full else 0
    return etag_of(session.version, who.club.places_revision, "full" if full else "part", filled, doubts)


class ReturnListView(ClubView):
    """The club's returns, as far as they are the reader's to see (`clubdata.services.returns`)."""

    query = {"GET": ReturnQuery}
    order = Keyset(("-fished_on", "-uid"))

    @extend_schema(operation_id="returns_list", responses=page_of(ReturnSerializer, "ReturnPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """The latest first. A member reads own returns, and of others' match returns all but the notes."""
        rows = with_children(wanted_returns(self.who, self.parameters))
        return self.page_response(request, rows, self.order, ReturnSerializer)

    @extend_schema(
        operation_id="returns_hand_in",
        request=HandInSerializer,
        responses={
            201: ReturnDetailSerializer,
            200: OpenApiResponse(ReturnDetailSerializer, "The same return was handed in before."),
        },
    )
    def post(self, request: Request, **_: Any) -> Response:
        """Hand in a return: your own, or as organiser or secretary any member's.

        The ETag is its version's: with it in If-Match a slip is put right without reading the return anew.
        """
        data = HandInSerializer.read(request.data)
        now = self.now
        with told_as_sent(request.data):
            kept = hand_in(who=self.who, now=now, data=data)
        # One that was kept before was entered before.
        is_new = kept.entered_at == now
        shown = ReturnDetailSerializer(kept, context={"request": request})
        return Response(
            shown.data,
            status=status.HTTP_201_CREATED if is_new else status.HTTP_200_OK,
            headers={
                "Location": request.build_absolute_uri(f"{request.path}{kept.uid}/"),
                "ETag": return_etag(self.who, kept),
            },
        )
