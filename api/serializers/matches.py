"""Matches and the parameters that narrow their list."""

from rest_framework import serializers

from api.pagination import PageQuery
from api.serializers.shapes import NamedSerializer, OutputSerializer


class MatchSerializer(OutputSerializer):
    """A match: the club's code for a day on a water."""

    uid = serializers.UUIDField()
    code = serializers.CharField()
    title = serializers.CharField(allow_blank=True)
    held_on = serializers.DateField()
    water = NamedSerializer()
    final_at = serializers.DateTimeField(allow_null=True, help_text="When the result was declared final.")


class MatchQuery(PageQuery):
    """By water and by day; both days belong to the span."""

    water = serializers.UUIDField(required=False, help_text="A water's uid.")

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]
        # 'from' is a word of the language and cannot be an attribute.
        return {**super().get_fields(), **day_span()}


def day_span() -> dict[str, serializers.Field]:  # type: ignore[type-arg]
    """The parameters `from` and `to`, found as `first_day` and `last_day`."""
    return {
        "from": serializers.DateField(required=False, source="first_day", help_text="First day, ISO 8601."),
        "to": serializers.DateField(required=False, source="last_day", help_text="Last day, ISO 8601."),
    }
