"""Shapes that several nouns share: strict input, pages, weights, and the short form of a named thing."""

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, NamedTuple, Self

from django.utils.functional import cached_property
from rest_framework import serializers
from rest_framework.fields import is_simple_callable

from clubdata.rules.units import format_pounds_ounces

#: Values of these very types are shown by these very fields as they are.
_AS_THEY_ARE: dict[type, type] = {
    serializers.BooleanField: bool,
    serializers.CharField: str,
    serializers.FloatField: float,
    serializers.IntegerField: int,
}


class _Shown(NamedTuple):
    """A field, and where its value is: the serializer's own method, or the attribute of the record that it
    shows, if it is one; and the type shown as it is."""

    name: str
    method: str
    attribute: str | None
    as_it_is: type | None
    field: serializers.Field[Any, Any, Any, Any]


class OutputSerializer(serializers.Serializer[Any]):
    """A serializer that only shows, as its base does and several times as quickly: answers have thousands of
    values, and nearly all of them are shown as they are."""

    def to_representation(self, instance: Any) -> dict[str, Any]:
        by_name = isinstance(instance, Mapping)
        shown: dict[str, Any] = {}
        for name, method, attribute, as_it_is, field in self._shown:
            if method:
                shown[name] = getattr(self, method)(instance)
                continue
            try:
                value = instance[attribute] if by_name else getattr(instance, attribute)  # type: ignore[arg-type]
            except (AttributeError, KeyError, TypeError):
                try:
                    value = field.get_attribute(instance)
                except serializers.SkipField:
                    continue
            if value is None or type(value) is as_it_is:
                shown[name] = value
            else:
                # A related manager can be called too, but is no method that gives a value.
                shown[name] = field.to_representation(value() if is_simple_callable(value) else value)
        return shown

    @cached_property
    def _shown(self) -> tuple[_Shown, ...]:
        """The fields of the one shape, unless one of them may look for the context of this answer."""
        return self._own_shown if self._has_context_of_its_own() else self.shape()._own_shown

    @classmethod
    @cache
    def _has_context_of_its_own(cls) -> bool:
        return any(_may_look_for_context(field) for field in cls.shape().fields.values())

    @cached_property
    def _own_shown(self) -> tuple[_Shown, ...]:
        return tuple(
            _Shown(
                str(name),
                str(field.method_name) if isinstance(field, serializers.SerializerMethodField) else "",
                field.source_attrs[0] if len(field.source_attrs) == 1 else None,
                _AS_THEY_ARE.get(type(field)),
                field,
            )
            for name, field in self.fields.items()
            if not field.write_only
        )

    @classmethod
    @cache
    def shape(cls) -> Self:
        """One of its kind for all answers, without context: building its fields costs more than their use."""
        return cls()

    @classmethod
    def shown(cls, rows: Iterable[Any]) -> list[dict[str, Any]]:
        """Each of them as that one shows it."""
        shape = cls.shape()
        return [shape.to_representation(row) for row in rows]


def _may_look_for_context(field: Any) -> bool:
    """Whether it is a serializer, or a list of them, with methods of its own somewhere."""
    inner = getattr(field, "child", field)
    if not isinstance(inner, serializers.BaseSerializer):
        return False
    if type(inner).to_representation is not OutputSerializer.to_representation:
        return True
    fields = inner.fields.values()  # type: ignore[attr-defined]
    return any(
        isinstance(one, serializers.SerializerMethodField) or _may_look_for_context(one) for one in fields
    )


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
