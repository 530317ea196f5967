"""Erasure of a member, and everything that the club holds on one."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.query import QuerySerializer
from api.serializers.shapes import OutputSerializer, StrictSerializer
from clubdata.services.erasure import Ground
from clubdata.services.held_data import Held


class EraseSerializer(StrictSerializer):
    """Why: one of the grounds of Article 17(1) of the GDPR; a sentence would say something of the member."""

    ground = serializers.ChoiceField(choices=Ground.choices)


class ErasedSerializer(OutputSerializer):
    """What is left: a number that says nothing, and so many returns without a person."""

    uid = serializers.UUIDField()
    number = serializers.CharField()
    erased_at = serializers.DateTimeField()
    returns_kept = serializers.IntegerField()


class HeldQuery(QuerySerializer):
    """As JSON, or as a folder of CSV tables in one zip file."""

    format = serializers.ChoiceField(choices=("json", "csv"), default="json")


class HeldSerializer(OutputSerializer):
    """Every record by table, each with its columns by name."""

    member = serializers.UUIDField()
    told_at = serializers.DateTimeField()
    tables = serializers.SerializerMethodField()

    @extend_schema_field(serializers.DictField(child=serializers.ListField(child=serializers.DictField())))
    def get_tables(self, held: Held) -> dict[str, list[dict[str, Any]]]:
        return {
            name: [dict(zip(table.columns, row, strict=True)) for row in table.rows]
            for name, table in held.tables.items()
        }
