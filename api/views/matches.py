"""Matches."""

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
