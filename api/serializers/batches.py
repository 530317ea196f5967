"""Many returns on their way in, and what became of each."""

from rest_framework import serializers

from api.serializers.hand_in import HandInSerializer
from api.serializers.problems import ProblemSerializer
from api.serializers.returns import ReturnSerializer
from api.serializers.shapes import OutputSerializer, StrictSerializer

MOST_AT_ONCE = 100


class BatchSerializer(StrictSerializer):
    """Up to a hundred returns; each is read, and kept or refused, by itself."""

    returns = serializers.ListField(
        child=serializers.DictField(),
        min_length=1,
        max_length=MOST_AT_ONCE,
        help_text="Each as handed in alone.",
    )


class BatchRequestSerializer(StrictSerializer):
    """As the document shows it."""

    returns = HandInSerializer(many=True, max_length=MOST_AT_ONCE)  # type: ignore[call-arg]


class BatchResultSerializer(OutputSerializer):
    """Of one of the returns, by its place in what was sent: 201 kept, 200 kept before, else the problem."""

    index = serializers.IntegerField()
    status = serializers.IntegerField()
    kept = ReturnSerializer(allow_null=True)
    problem = ProblemSerializer(allow_null=True)


class BatchAnswerSerializer(OutputSerializer):
    """A result for each return, in the order they were sent."""

    results = BatchResultSerializer(many=True)
