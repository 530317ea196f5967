"""Beginning a return."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.serializers.starts import StartQuery, StartSerializer
from api.views.base import ClubView
from clubdata.services.starts import start_return


class StartReturnView(ClubView):
    """The blank of a return."""

    query = {"GET": StartQuery}

    @extend_schema(operation_id="returns_start", responses=StartSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """The peg's depths, the water's usual baits of the month, and your own habits, as a draft to send."""
        start = start_return(
            who=self.who,
            water_uid=uid,
            label=self.parameters["peg"],
            on=self.parameters["on"],
            now=self.now,
        )
        return Response(StartSerializer(start).data)
