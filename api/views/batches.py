"""Many returns in one call, so that a phone can hold a week's and send them from home."""

from itertools import count
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import problem_of
from api.parsers import BoundedJsonParser
from api.serializers.batches import BatchAnswerSerializer, BatchRequestSerializer, BatchSerializer
from api.serializers.hand_in import HandInSerializer, as_sent
from api.serializers.returns import ReturnSerializer
from api.views.base import ClubView
from clubdata.services.batches import Kept, hand_in_many
from clubdata.services.hand_ins import HandIn
from clubdata.services.returns import visible_returns, with_children


class BatchParser(BoundedJsonParser):
    """A hundred returns with their notes."""

    largest_bytes = 2 * 1024 * 1024


class BatchView(ClubView):
    """Returns handed in together."""

    parser_classes = [BatchParser]

    @extend_schema(
        operation_id="returns_hand_in_many",
        request=BatchRequestSerializer,
        responses={200: BatchAnswerSerializer},
    )
    def post(self, request: Request, **_: Any) -> Response:
        """Each is kept or refused by itself. With a `uid` of your own in each, send them again if unsure."""
        serializer = BatchSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        read = [_read(item) for item in serializer.validated_data["returns"]]
        well_formed = [item for item in read if isinstance(item, HandIn)]
        kept = iter(hand_in_many(who=self.who, now=self.now, many=well_formed))
        outcomes = [next(kept) if isinstance(item, HandIn) else item for item in read]
        shown = self._shown(request, [item for item in outcomes if isinstance(item, Kept)])
        sent = serializer.validated_data["returns"]
        return Response({"results": [_result(*one, shown) for one in zip(count(), outcomes, sent)]})

    def _shown(self, request: Request, kept: list[Kept]) -> dict[str, Any]:
        """Every return that was kept, as shown, by uid: read together."""
        rows = visible_returns(self.who).filter(uid__in=[item.uid for item in kept if item.uid])
        found = ReturnSerializer(with_children(rows), many=True, context={"request": request}).data
        return {row["uid"]: row for row in found}


def _read(item: dict[str, Any]) -> HandIn | ValidationError:
    try:
        return HandInSerializer.read(item)
    except ValidationError as malformed:
        return malformed


def _result(
    index: int, item: Kept | ValidationError, sent: dict[str, Any], shown: dict[str, Any]
) -> dict[str, Any]:
    refusal = item.refusal if isinstance(item, Kept) else item
    if refusal is not None:
        problem = problem_of(as_sent(refusal, sent))
        return {"index": index, "status": problem["status"], "kept": None, "problem": problem}
    assert isinstance(item, Kept)  # noqa: S101 - what is no refusal was kept
    return {
        "index": index,
        "status": 201 if item.is_new else 200,
        "kept": shown[str(item.uid)],
        "problem": None,
    }
