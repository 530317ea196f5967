"""A return begun, as shown, and what it is asked with."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.query import QuerySerializer
from api.serializers.hand_in import HandInSerializer
from api.serializers.returns import PegLabelSerializer, SkySerializer
from api.serializers.shapes import CautionSerializer, NamedSerializer, OutputSerializer
from api.serializers.waters import PegDepthSerializer
from clubdata.services.starts import Start


class UsualWordSerializer(OutputSerializer):
    """A word of this water in this month, and how many returns of at least five anglers name it."""

    name = serializers.CharField()
    returns = serializers.IntegerField()


class StartSerializer(OutputSerializer):
    """What is known before the first cast. Add a weight to `draft` and hand it in."""

    water = NamedSerializer()
    peg = PegLabelSerializer(allow_null=True)
    on = serializers.DateField()
    depth_cm = serializers.SerializerMethodField()
    lines = PegDepthSerializer(many=True)
    cautions = CautionSerializer(many=True)
    sky = SkySerializer()
    usual_baits = UsualWordSerializer(many=True)
    usual_rig_types = UsualWordSerializer(many=True)
    draft = serializers.SerializerMethodField()

    def get_depth_cm(self, start: Start) -> int | None:
        return None if start.peg is None else start.peg.depth_cm

    @extend_schema_field(HandInSerializer)
    def get_draft(self, start: Start) -> Any:
        return start.draft


class StartQuery(QuerySerializer):
    """Where, as far as it is known, and which day."""

    peg = serializers.CharField(required=False, max_length=12, default=None, help_text="As painted.")
    on = serializers.DateField(required=False, default=None, help_text="Today unless given, ISO 8601.")
