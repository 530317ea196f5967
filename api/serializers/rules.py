"""Rules of the trade as shown, and as a club words them."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.query import QuerySerializer
from api.serializers.shapes import OutputSerializer
from clubdata.rules.trade import TOPICS

ANY_VALUE = {"type": ["string", "number", "boolean", "null"]}


class ConditionSerializer(OutputSerializer):
    """A fact compared with a value."""

    fact = serializers.CharField()
    comparator = serializers.CharField()
    value = serializers.SerializerMethodField()
    unit = serializers.CharField()
    up_to = serializers.FloatField(allow_null=True)
    words = serializers.SerializerMethodField()

    @extend_schema_field(ANY_VALUE)
    def get_value(self, condition: Any) -> Any:
        return condition.value

    def get_words(self, condition: Any) -> str:
        return str(condition)


class RuleSerializer(OutputSerializer):
    """One rule: when it speaks, what it says, why, who disagrees, whence, and how sure it is."""

    name = serializers.CharField()
    topic = serializers.CharField()
    conditions = ConditionSerializer(many=True)
    advice = serializers.CharField()
    value = serializers.SerializerMethodField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    size = serializers.CharField()
    place = serializers.CharField()
    bait = serializers.CharField()
    uses = serializers.ListField(child=serializers.CharField())
    minutes = serializers.FloatField(allow_null=True)
    reason = serializers.CharField()
    dissent = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    sure = serializers.CharField()
    edited = serializers.BooleanField(help_text="The club's own wording.")

    @extend_schema_field(ANY_VALUE)
    def get_value(self, rule: Any) -> Any:
        return rule.value


class RuleListSerializer(OutputSerializer):
    """The whole book."""

    rules = RuleSerializer(many=True)


class RulesQuery(QuerySerializer):
    """One topic, or all."""

    topic = serializers.ChoiceField(choices=TOPICS, required=False)


class SideSerializer(OutputSerializer):
    """One side of a comparison; of fewer than five anglers their number is null."""

    name = serializers.CharField()
    returns = serializers.IntegerField()
    anglers = serializers.IntegerField(allow_null=True)


class RuleEvidenceSerializer(OutputSerializer):
    """What the club's returns say of a rule: the first side's rate over the second's, with its interval."""

    rule = serializers.CharField()
    question = serializers.CharField()
    verdict = serializers.CharField()
    sentence = serializers.CharField()
    ratio = serializers.FloatField(allow_null=True)
    lower_90 = serializers.FloatField(allow_null=True)
    upper_90 = serializers.FloatField(allow_null=True)
    sides = SideSerializer(many=True)
    method = serializers.CharField()


class EvidenceOfRulesSerializer(OutputSerializer):
    """The rules that the returns can speak to, and what such a comparison cannot tell."""

    rules = RuleEvidenceSerializer(many=True)
    caution = serializers.CharField()
