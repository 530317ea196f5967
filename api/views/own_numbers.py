"""A member's own numbers, for that member alone."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.answers.own_numbers import own_numbers
from api.serializers.own_numbers import OwnNumbersSerializer
from api.views.base import ClubView
from clubdata.services.returns import own_returns


class OwnNumbersView(ClubView):
    """One's own numbers."""

    @extend_schema(operation_id="own_numbers_read", responses=OwnNumbersSerializer)
    def get(self, _request: Request, **_: Any) -> Response:
        """Seasons, personal bests, and each year's catch beside what the club's average angler was to expect.

        With how far luck alone takes such a total. Nobody else is shown it.
        """
        numbers = own_numbers(club=self.who.club, returns=own_returns(self.who))
        return Response(OwnNumbersSerializer(numbers).data)
