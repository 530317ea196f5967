"""Waters and their pegs."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import Keyset, PageQuery
from api.serializers.shapes import page_of
from api.serializers.waters import PegListSerializer, WaterDetailSerializer, WaterSerializer
from api.views.base import ClubView
from clubdata.services.waters import (
    describe_water,
    find_water,
    local_date,
    neighbours_of,
    pegs_along_the_bank,
    visible_waters,
)


class WaterListView(ClubView):
    """The club's waters."""

    query = {"GET": PageQuery}
    order = Keyset(("name", "uid"))

    @extend_schema(operation_id="waters_list", responses=page_of(WaterSerializer, "WaterPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """By name."""
        return self.page_response(request, visible_waters(self.who), self.order, WaterSerializer)


class WaterDetailView(ClubView):
    """One water."""

    @extend_schema(operation_id="waters_read", responses=WaterDetailSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """The water, what happened to it, and what is dangerous along its banks today."""
        return Response(WaterDetailSerializer(describe_water(self.who, uid, now=self.now)).data)


class PegListView(ClubView):
    """The pegs of a water."""

    @extend_schema(operation_id="pegs_list", responses=PegListSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Every peg in bank order, with its neighbours, depths by line and standing hazards."""
        water = find_water(self.who, uid)
        pegs = pegs_along_the_bank(water, today=local_date(water, self.now))
        context = {"neighbours": neighbours_of(pegs)}
        return Response(PegListSerializer({"results": pegs}, context=context).data)
