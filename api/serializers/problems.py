"""The shape of problem details (RFC 9457), for the schema."""

from typing import Any

from rest_framework import serializers


class FaultSerializer(serializers.Serializer[Any]):
    """One field at fault: dotted name, stable code, a sentence that says what would do."""

    field = serializers.CharField()
    code = serializers.CharField()
    detail = serializers.CharField()


class ProblemSerializer(serializers.Serializer[Any]):
    """What went wrong. `type` is stable; `detail` is for people."""

    type = serializers.CharField(help_text="A relative reference such as /problems/invalid-input.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = FaultSerializer(many=True)  # type: ignore[assignment]
