"""Waters, their pegs and what happened there."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.serializers.shapes import NamedSerializer, OutputSerializer
from clubdata.models import Peg, Water, WaterEventKind, WaterKind
from clubdata.rules.water_rules import read_water_rules
from clubdata.services.waters import zone_of


class WaterSerializer(NamedSerializer):
    """A water and its position in degrees (WGS 84)."""

    kind = serializers.ChoiceField(choices=WaterKind.choices)
    latitude = serializers.FloatField()
    longitude = serializers.FloatField()
    time_zone = serializers.SerializerMethodField()

    def get_time_zone(self, water: Water) -> str:
        return zone_of(water)


class WaterRulesSerializer(OutputSerializer):
    """What the water's own rules do not allow; null is a rule that the club has not written down."""

    hook_baits_not_allowed = serializers.ListField(child=serializers.CharField())
    feeds_not_allowed = serializers.ListField(child=serializers.CharField())
    methods_not_allowed = serializers.ListField(child=serializers.CharField())
    most_rods = serializers.IntegerField(allow_null=True)
    night_fishing = serializers.BooleanField(allow_null=True)


class WaterEventSerializer(OutputSerializer):
    """A stocking, a removal, a fish kill, works or a change of rules."""

    uid = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=WaterEventKind.choices)
    started_on = serializers.DateField()
    ended_on = serializers.DateField(allow_null=True)
    note = serializers.CharField(allow_blank=True)


class HazardSerializer(OutputSerializer):
    """Something dangerous that stands at a peg today."""

    kind = serializers.CharField()
    noted_on = serializers.DateField()
    note = serializers.CharField(allow_blank=True)


class WaterHazardSerializer(HazardSerializer):
    """The same, with the peg at which it stands."""

    peg = serializers.CharField(source="peg.label")


class WaterDetailSerializer(OutputSerializer):
    """A water with its rules, its events, the newest first, and the hazards along its banks today."""

    water = WaterSerializer()
    rules = serializers.SerializerMethodField()
    events = WaterEventSerializer(many=True)
    hazards = WaterHazardSerializer(many=True)

    @extend_schema_field(WaterRulesSerializer)
    def get_rules(self, described: dict[str, Any]) -> Any:
        return WaterRulesSerializer(read_water_rules(described["water"].rules)).data


class PegDepthSerializer(OutputSerializer):
    """Depth in centimetres at a distance in metres from the bank."""

    distance_m = serializers.FloatField()
    depth_cm = serializers.IntegerField()


class PegSerializer(OutputSerializer):
    """A peg as painted, with the labels of the pegs beside it and the hazards that stand there today."""

    uid = serializers.UUIDField()
    label = serializers.CharField()  # type: ignore[assignment]
    bank = serializers.CharField(allow_blank=True)
    bank_order = serializers.IntegerField()
    neighbours = serializers.SerializerMethodField()
    in_use = serializers.BooleanField()
    accessible = serializers.BooleanField()
    access_note = serializers.CharField(allow_blank=True)
    depth_cm = serializers.IntegerField(allow_null=True)
    room_m = serializers.FloatField(allow_null=True)
    depths = PegDepthSerializer(many=True, source="lines")
    hazards = HazardSerializer(many=True, source="standing")

    def get_neighbours(self, peg: Peg) -> list[str]:
        found: list[str] = self.context["neighbours"][peg.pk]
        return found


class PegListSerializer(OutputSerializer):
    """All pegs of a water in bank order: one answer, because a bank is looked at as a whole."""

    results = PegSerializer(many=True)
