"""Advice for a water, and the asker's own returns like the question."""

import uuid
from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.answers.advice import Advice, advise
from analytics.answers.question import AdviceQuestion
from api.forms.sheets import Sheet
from api.pagination import Keyset
from api.serializers.advice import (
    AdviceQuery,
    AdviceSerializer,
    OwnReturnQuery,
    hinting_at_separator,
)
from api.serializers.returns import ReturnSerializer
from api.serializers.shapes import page_of
from api.views.advice_charts import choices_chart, distances_chart, months_chart
from api.views.advice_tables import advice_sheets
from api.views.answers import AnswerView, described
from api.views.base import ClubView
from api.views.filters import narrowed
from clubdata.services.returns import of_peg, own_returns, with_children
from clubdata.services.waters import find_water


@described("advice_read")
class AdviceView(AnswerView):
    """Hook bait, distance and rig type in order of the weight expected, within your own limits.

    For a water or a peg, in a month or on a day. Expected weights are means over many such sessions; what
    one session may bring stands beside them. An association, adjusted for who fished, where and when, not
    proof of cause.
    """

    query = {"GET": AdviceQuery}
    serializer = AdviceSerializer
    noun = "advice"
    charts = {"choices": choices_chart, "distances": distances_chart, "months": months_chart}

    def build(self, parameters: Mapping[str, Any]) -> Advice:
        question = AdviceQuestion(water=str(self.kwargs["uid"]), **parameters)
        with hinting_at_separator(parameters):
            return advise(club=self.who.club, question=question, today=self.today)

    def sheets(self, answer: Advice) -> tuple[Sheet, ...]:
        return advice_sheets(answer)


class OwnReturnListView(ClubView):
    """The asker's own returns of a water."""

    query = {"GET": OwnReturnQuery}
    order = Keyset(("-fished_on", "-uid"))
    filters = {"month": "fished_on__month"}

    @extend_schema(operation_id="own_returns_list", responses=page_of(ReturnSerializer, "OwnReturnPage"))
    def get(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """The latest first, in full: a check by eye of what advice says. Nobody else's are among them."""
        mine = own_returns(self.who).filter(water=find_water(self.who, uid))
        rows = narrowed(with_children(mine), self.filters, self.parameters)
        if "peg" in self.parameters:
            rows = of_peg(rows, self.parameters["peg"])
        return self.page_response(request, rows, self.order, ReturnSerializer)
