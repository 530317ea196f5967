"""Matches, and the finality of their results."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import Keyset
from api.serializers.matches import MatchQuery, MatchSerializer
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.filters import narrowed
from clubdata.models import Match
from clubdata.services.matches import declare_final, reopen


class MatchListView(ClubView):
    """The club's matches."""

    query = {"GET": MatchQuery}
    order = Keyset(("-held_on", "-uid"))
    filters = {"water": "water__uid", "first_day": "held_on__gte", "last_day": "held_on__lte"}

    @extend_schema(operation_id="matches_list", responses=page_of(MatchSerializer, "MatchPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """The latest first."""
        matches = Match.objects.visible_to(self.who.account).filter(club=self.who.club)
        rows = narrowed(matches.select_related("water"), self.filters, self.parameters)
        return self.page_response(request, rows, self.order, MatchSerializer)


class FinalResultView(ClubView):
    """Whether a match's result is final."""

    @extend_schema(operation_id="matches_declare_final", request=None, responses=MatchSerializer)
    def put(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Declare it final: from then on only an organiser amends its returns."""
        return Response(MatchSerializer(declare_final(who=self.who, uid=uid, now=self.now)).data)

    @extend_schema(operation_id="matches_reopen", request=None, responses={200: MatchSerializer})
    def delete(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Take that back."""
        return Response(MatchSerializer(reopen(who=self.who, uid=uid)).data)
