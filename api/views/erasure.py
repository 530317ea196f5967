"""What the club holds on a member, and a member's erasure."""

import uuid
from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.serializers.erasure import ErasedSerializer, EraseSerializer, HeldQuery, HeldSerializer
from api.views.base import ClubView
from api.views.csv_files import zipped_tables
from clubdata.services.erasure import Ground, erase
from clubdata.services.held_data import held_on

ZIP = "application/zip"


class EraseView(ClubView):
    """The erasure of a member. No answer is kept: nothing of the member is to be kept."""

    keeps_replies = False

    @extend_schema(operation_id="members_erase", request=EraseSerializer, responses=ErasedSerializer)
    def post(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Erase a member: the secretary anybody, a member themselves. There is no way back.

        The figures of the returns stay for the club's statistics, under a number that says nothing. Notes,
        reasons, names, contacts, the login with its devices, and what imports quoted go.
        """
        serializer = EraseSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        ground = Ground(serializer.validated_data["ground"])
        return Response(ErasedSerializer(erase(who=self.who, uid=uid, now=self.now, ground=ground)).data)


class HeldView(ClubView):
    """Everything that the club holds on a member."""

    query = {"GET": HeldQuery}

    def perform_content_negotiation(self, request: Request, force: bool = False) -> tuple[Any, str]:
        """Zip is the parameter's to say, or the Accept header's; problems are JSON."""
        if request.headers.get("Accept", "").startswith(ZIP):
            return JSONRenderer(), JSONRenderer.media_type
        negotiated: tuple[Any, str] = super().perform_content_negotiation(request, force)
        return negotiated

    @extend_schema(
        operation_id="members_held",
        responses={(200, "application/json"): HeldSerializer, (200, ZIP): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, uid: uuid.UUID, **_: Any) -> HttpResponseBase:
        """Yours, and for the secretary anybody's: every record, other people by their number alone.

        A login's devices, sign-ins and kept answers are told to their owner only.
        """
        held = held_on(who=self.who, uid=uid, now=self.now)
        if self.parameters["format"] == "csv" or request.headers.get("Accept", "").startswith(ZIP):
            return zipped_tables("held", {name: (one.columns, one.rows) for name, one in held.tables.items()})
        return Response(HeldSerializer(held).data, headers={"Cache-Control": "no-store"})
