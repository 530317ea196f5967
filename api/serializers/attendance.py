"""Who was seen, how many have handed in, and what is outstanding."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.pagination import PageQuery
from api.query import QuerySerializer
from api.serializers.matches import day_span
from api.serializers.shapes import MemberSerializer, NamedSerializer, OutputSerializer, StrictSerializer
from clubdata.models import Attendance, AttendanceSource
from clubdata.services.attendance import MOST_AT_ONCE, HandedIn, Seen


class SeenSerializer(StrictSerializer):
    """A member at a water on a day."""

    member = serializers.CharField(max_length=20, help_text="The member's number.")
    water = serializers.CharField(max_length=80, help_text="Its name or uid.")
    fished_on = serializers.DateField()
    source = serializers.ChoiceField(choices=AttendanceSource.choices)  # type: ignore[assignment]
    match = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")


class NoteSerializer(StrictSerializer):
    """Whoever was seen, all at once."""

    seen = serializers.ListField(child=SeenSerializer(), allow_empty=False, max_length=MOST_AT_ONCE)

    def to_seen(self) -> list[Seen]:
        return [
            Seen(**{**one, "source": AttendanceSource(one["source"])}) for one in self.validated_data["seen"]
        ]


class NotedSerializer(OutputSerializer):
    """How many were new; what was known already changes nothing."""

    noted = serializers.IntegerField()


class AttendanceSerializer(OutputSerializer):
    """A member seen at a water on a day."""

    uid = serializers.UUIDField()
    member = MemberSerializer()
    water = NamedSerializer()
    fished_on = serializers.DateField()
    source = serializers.ChoiceField(choices=AttendanceSource.choices)  # type: ignore[assignment]
    match = serializers.SerializerMethodField()

    def get_match(self, row: Attendance) -> str | None:
        return None if row.match is None else row.match.code


class TallySerializer(OutputSerializer):
    """How many were seen, each once, and how many of those have handed in."""

    seen = serializers.IntegerField()
    handed_in = serializers.IntegerField()
    outstanding = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)


class SourceTallySerializer(TallySerializer):
    """The same of one source alone."""

    source = serializers.ChoiceField(choices=AttendanceSource.choices)  # type: ignore[assignment]


class HandedInSerializer(OutputSerializer):
    """A month or a match. Whom two sources saw counts once in the total."""

    key = serializers.CharField(help_text="The month, as 2024-05, or the match's code.")
    total = TallySerializer()
    by_source = serializers.SerializerMethodField()

    @extend_schema_field(SourceTallySerializer(many=True))
    def get_by_source(self, row: HandedIn) -> list[dict[str, Any]]:
        return [{**TallySerializer(tally).data, "source": source} for source, tally in row.by_source.items()]


class HandedInListSerializer(OutputSerializer):
    """Returns handed in of everyone who was seen."""

    counted_against = serializers.CharField()
    results = HandedInSerializer(many=True)


class DaysQuery(QuerySerializer):
    """From a day to a day, both included; without them all."""

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]
        return {**super().get_fields(), **day_span()}


class OutstandingQuery(DaysQuery, PageQuery):
    """From a day to a day, in pages."""


class HandedInQuery(DaysQuery):
    """By month unless `match` is asked for."""

    by = serializers.ChoiceField(choices=["month", "match"], required=False, default="month")


class ReminderSerializer(OutputSerializer):
    """What one member has still to hand in."""

    member = MemberSerializer()
    name = serializers.CharField(source="member.name")
    write_to = serializers.CharField(
        help_text="A junior's or an adult at risk's goes to the responsible adult."
    )
    outstanding = AttendanceSerializer(many=True)


class ReminderListSerializer(OutputSerializer):
    """The list to send."""

    results = ReminderSerializer(many=True)


class RemindersQuery(DaysQuery):
    """As JSON unless `csv` is asked for."""

    format = serializers.ChoiceField(choices=["json", "csv"], required=False, default="json")
