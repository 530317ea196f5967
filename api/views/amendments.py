"""One return: read, amended, removed, brought back; its history, and what waits for a second person."""

import uuid
from typing import Any

from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import Keyset, PageQuery
from api.preconditions import is_unchanged, version_to_change
from api.serializers.amendments import AmendmentSerializer, AmendSerializer, ReasonSerializer
from api.serializers.hand_in import told_as_sent
from api.serializers.returns import ReturnDetailSerializer, ReturnSerializer
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.returns import return_etag
from clubdata.models import Amendment, AmendmentKind, AmendmentState
from clubdata.services.amendments import (
    Wish,
    ask,
    awaiting_amendments,
    history_of,
    removed_returns,
    restore,
    settle,
)
from clubdata.services.returns import find_return, with_children

IF_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="The ETag of the version that was read. Else 428; 412 when it has changed since.",
)
WAITS = OpenApiResponse(AmendmentSerializer, "It waits for a second person.")


class ReturnDetailView(ClubView):
    """One return."""

    @extend_schema(operation_id="returns_read", responses=ReturnDetailSerializer)
    def get(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """With the Sun and Moon of its day. The ETag is its version's, for If-Match and If-None-Match."""
        found = find_return(self.who, uid)
        headers = {"ETag": return_etag(self.who, found), "Cache-Control": "private, no-cache"}
        if is_unchanged(request, headers["ETag"]):
            return Response(status=status.HTTP_304_NOT_MODIFIED, headers=headers)
        return Response(ReturnDetailSerializer(found, context={"request": request}).data, headers=headers)

    @extend_schema(
        operation_id="returns_amend",
        parameters=[IF_MATCH],
        request=AmendSerializer,
        responses={200: ReturnDetailSerializer, 202: WAITS},
    )
    def patch(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Amend a return; every change is kept, with who, when and why."""
        version = version_to_change(request)
        serializer = AmendSerializer(data=request.data, partial=True)
        serializer.is_valid(raise_exception=True)
        with told_as_sent(request.data):
            made = ask(who=self.who, uid=uid, now=self.now, wish=serializer.to_wish(version))
        if made.state == AmendmentState.AWAITING:
            return Response(AmendmentSerializer(made).data, status=status.HTTP_202_ACCEPTED)
        return self.get(request, uid)

    @extend_schema(
        operation_id="returns_remove",
        parameters=[IF_MATCH],
        request=ReasonSerializer,
        responses={200: AmendmentSerializer, 202: WAITS},
    )
    def delete(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Remove a return, with the reason. It counts nowhere; the secretary can bring it back."""
        version = version_to_change(request)
        serializer = ReasonSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        wish = Wish(AmendmentKind.REMOVAL, version, serializer.validated_data["reason"], {})
        made = ask(who=self.who, uid=uid, now=self.now, wish=wish)
        waits = made.state == AmendmentState.AWAITING
        return Response(
            AmendmentSerializer(made).data, status=status.HTTP_202_ACCEPTED if waits else status.HTTP_200_OK
        )


class RestoreView(ClubView):
    """A removed return."""

    @extend_schema(operation_id="returns_restore", request=ReasonSerializer, responses=AmendmentSerializer)
    def post(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Bring it back; the secretary's to do."""
        serializer = ReasonSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        row = restore(who=self.who, uid=uid, now=self.now, reason=serializer.validated_data["reason"])
        return Response(AmendmentSerializer(row).data)


class RemovedListView(ClubView):
    """Removed returns."""

    query = {"GET": PageQuery}
    order = Keyset(("-fished_on", "-uid"))

    @extend_schema(operation_id="returns_removed", responses=page_of(ReturnSerializer, "RemovedPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """For the secretary, who can bring them back."""
        return self.page_response(
            request, with_children(removed_returns(self.who)), self.order, ReturnSerializer
        )


class HistoryView(ClubView):
    """The amendments of one return."""

    query = {"GET": PageQuery}
    order = Keyset(("asked_at", "uid"))

    @extend_schema(operation_id="returns_history", responses=page_of(AmendmentSerializer, "HistoryPage"))
    def get(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """The oldest first; for who reads the return in full."""
        return self.page_response(request, history_of(self.who, uid), self.order, AmendmentSerializer)


class AwaitingListView(ClubView):
    """Amendments that wait for a second person."""

    query = {"GET": PageQuery}
    order = Keyset(("asked_at", "uid"))

    @extend_schema(operation_id="amendments_awaiting", responses=page_of(AmendmentSerializer, "AwaitingPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """For organisers and the secretary."""
        return self.page_response(request, awaiting_amendments(self.who), self.order, AmendmentSerializer)


class SettleView(ClubView):
    """A second person's word on an amendment."""

    agrees = True

    def _settled(self, request: Request, uid: uuid.UUID) -> Response:
        serializer = ReasonSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        reason = serializer.validated_data["reason"]
        row: Amendment = settle(who=self.who, uid=uid, now=self.now, agrees=self.agrees, reason=reason)
        return Response(AmendmentSerializer(row).data)


class ApproveView(SettleView):
    """Consent to an amendment."""

    @extend_schema(operation_id="amendments_approve", request=ReasonSerializer, responses=AmendmentSerializer)
    def post(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Agree: the return changes now. Not for who asked, nor for whose result it is."""
        return self._settled(request, uid)


class DeclineView(SettleView):
    """Refusal of an amendment."""

    agrees = False

    @extend_schema(operation_id="amendments_decline", request=ReasonSerializer, responses=AmendmentSerializer)
    def post(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Decline: the return stays as it is, and the wish is kept."""
        return self._settled(request, uid)
