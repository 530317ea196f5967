"""The queue of doubts: looked at, taken, held; and what taking one would change."""

import uuid
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.answers.doubt_effect import effect_of
from api.pagination import Keyset
from api.serializers.amendments import ReasonSerializer
from api.serializers.doubts import DoubtQuery, DoubtSerializer, EffectSerializer
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.filters import narrowed
from clubdata.services.doubts import find_doubt, hold, queue, take


class DoubtListView(ClubView):
    """Figures to look at."""

    query = {"GET": DoubtQuery}
    order = Keyset(("-raised_at", "-uid"))

    @extend_schema(operation_id="doubts_list", responses=page_of(DoubtSerializer, "DoubtPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """The latest first: an organiser's are of matches, the analyst's and the secretary's all.

        A figure is corrected by amending its return (`session.etag` is the If-Match); that settles the doubt.
        """
        rows = narrowed(queue(self.who), {"state": "state"}, self.parameters)
        return self.page_response(request, rows, self.order, DoubtSerializer)


class TakeView(ClubView):
    """A figure that stands."""

    @extend_schema(operation_id="doubts_take", request=ReasonSerializer, responses=DoubtSerializer)
    def post(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Take it as it stands, and say why: the next fit uses the return."""
        serializer = ReasonSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        reason = serializer.validated_data["reason"]
        doubt = take(who=self.who, uid=uid, now=self.now, reason=reason)
        return Response(DoubtSerializer(doubt, context={"request": request}).data)


class HoldView(ClubView):
    """A figure that somebody is asked about."""

    @extend_schema(operation_id="doubts_hold", request=ReasonSerializer, responses=DoubtSerializer)
    def post(self, request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """Hold it for query, and say why: no fit uses the return until it is taken or corrected."""
        serializer = ReasonSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        reason = serializer.validated_data["reason"]
        doubt = hold(who=self.who, uid=uid, now=self.now, reason=reason)
        return Response(DoubtSerializer(doubt, context={"request": request}).data)


class EffectView(ClubView):
    """What a doubt is worth."""

    @extend_schema(operation_id="doubts_effect", responses=EffectSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """What the fit's multipliers of its peg, bait, month and water become when it is taken as it stands.

        One step from where the fit stands, variances held: an approximation, not a fit.
        """
        return Response(EffectSerializer(effect_of(find_doubt(self.who, uid))).data)
