"""Amendments: asked for, and as they are kept."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.pagination import PageQuery
from api.serializers.hand_in import SHORT_FORM, HandInSerializer
from api.serializers.shapes import OutputSerializer, StrictSerializer
from clubdata.models import Amendment, AmendmentKind, AmendmentState
from clubdata.services.amendments import Wish
from clubdata.services.hand_ins import CatchInput, ConditionsInput, PartInput
from clubdata.services.members import number_of


class ReasonSerializer(StrictSerializer):
    """Why: it is kept with the change."""

    reason = serializers.CharField(max_length=400)


class AmendSerializer(HandInSerializer):
    """The fields of a hand-in that change, and why; what is left out stays.

    Parts, catch and conditions change whole.
    """

    reason = serializers.CharField(max_length=400)

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]
        known = super().get_fields()
        # Whose return it is, and whether it was typed from memory, was settled when it was handed in.
        for name in ("uid", "member", "from_memory"):
            known.pop(name)
        return known

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A reason, whatever else is left out."""
        if "reason" not in attrs:
            raise serializers.ValidationError({"reason": "Say why."}, code="required")
        return super().validate(attrs)

    def to_wish(self, version: int) -> Wish:
        """The validated input as the service takes it."""
        given = dict(self.validated_data)
        reason = given.pop("reason")
        short = {name: given.pop(name) for name in SHORT_FORM if name in given}
        if "parts" in given:
            given["parts"] = tuple(PartInput(**part) for part in given["parts"])
        if "catch" in given:
            given["catch"] = tuple(CatchInput(**line) for line in given["catch"])
        if given.get("conditions") is not None:
            given["conditions"] = ConditionsInput(**given["conditions"])
        part = PartInput(**short) if short else None
        return Wish(AmendmentKind.CHANGE, version, reason, given, part)


class ChangeSerializer(OutputSerializer):
    """One field of the hand-in, before and after; null where it was not there."""

    field = serializers.CharField()
    to = serializers.JSONField(allow_null=True)

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]
        # 'from' is a word of the language and cannot be an attribute.
        return {**super().get_fields(), "from": serializers.JSONField(allow_null=True)}


class AmendmentSerializer(OutputSerializer):
    """What changed, when, by whom and why; and the second person's word where one was needed."""

    uid = serializers.UUIDField()
    return_uid = serializers.UUIDField(source="session.uid")
    kind = serializers.ChoiceField(choices=AmendmentKind.choices)
    state = serializers.ChoiceField(choices=AmendmentState.choices)
    reason = serializers.CharField()
    changes = serializers.SerializerMethodField()
    version_before = serializers.IntegerField()
    asked_by = serializers.SerializerMethodField()
    asked_at = serializers.DateTimeField()
    settled_by = serializers.SerializerMethodField()
    settled_at = serializers.DateTimeField(allow_null=True)
    settled_reason = serializers.CharField(allow_blank=True)

    @extend_schema_field(ChangeSerializer(many=True))
    def get_changes(self, row: Amendment) -> Any:
        return row.changes

    def get_asked_by(self, row: Amendment) -> str | None:
        return number_of(row.asked_by, row.club_id)

    def get_settled_by(self, row: Amendment) -> str | None:
        return number_of(row.settled_by, row.club_id)


class AmendmentQuery(PageQuery):
    """Pages of amendments."""
