"""Advice for a water, a peg and a month."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.answers.advice import advise
from analytics.answers.question import AdviceQuestion
from api.serializers.advice import AdviceQuery, AdviceSerializer, hinting_at_separator
from api.views.base import ClubView
from clubdata.services.waters import find_water, local_date


class AdviceView(ClubView):
    """What the club's returns say of a water or a peg in a month."""

    query = {"GET": AdviceQuery}

    @extend_schema(operation_id="advice_read", responses=AdviceSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Hook bait, distance and rig type in order of the weight expected, within your own limits.

        Expected weights are means over many such sessions; a single session differs far more.
        """
        water = find_water(self.who, uid)
        question = AdviceQuestion(water=str(uid), **self.parameters)
        with hinting_at_separator(self.parameters):
            advice = advise(club=self.who.club, question=question, today=local_date(water, self.now))
        return Response(AdviceSerializer(advice).data)
