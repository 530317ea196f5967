"""Shapes that several nouns share: strict input, pages, weights, and the short form of a named thing."""

from typing import Any

from rest_framework import serializers

from clubdata.rules.units import format_pounds_ounces


class OutputSerializer(serializers.Serializer[Any]):
    """A serializer that only shows."""


class StrictSerializer(serializers.Serializer[Any]):
    """Input whose unknown fields are told: a misspelt field that is dropped in silence is a lost record."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict):
            unknown = sorted(str(name)[:60] for name in data if name not in self.fields)
            if unknown:
                known = ", ".join(self.fields)
                raise serializers.ValidationError(
                    {name: [f"There is no such field; known: {known}."] for name in unknown},
                    code="unknown_field",
                )
        return super().to_internal_value(data)


class NamedSerializer(OutputSerializer):
    """A water or a word: its public id and its name."""

    uid = serializers.UUIDField()
    name = serializers.CharField()


class MemberSerializer(OutputSerializer):
    """A member by number; names are for those whose work needs them."""

    uid = serializers.UUIDField()
    number = serializers.CharField()


class CautionSerializer(OutputSerializer):
    """A caution for the bank side: stable code, plain sentences."""

    code = serializers.CharField()
    sentence = serializers.CharField()


class GramsField(serializers.IntegerField):
    """Whole grams, or null where the weight is not known."""


class PoundsOuncesField(serializers.CharField):
    """Grams for reading: '6 lb 3 oz'."""

    def to_representation(self, value: Any) -> str:
        return format_pounds_ounces(int(value))


def page_of(row: type[serializers.BaseSerializer[Any]], name: str) -> type[OutputSerializer]:
    """The shape of a page of rows, for the schema: `results`, and `next` or null."""
    return type(
        name,
        (OutputSerializer,),
        {
            "__doc__": "One page; `next` is the address of the next one, or null.",
            "results": row(many=True),
            "next": serializers.URLField(allow_null=True),
        },
    )
