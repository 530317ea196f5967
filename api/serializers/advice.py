"""Advice: the question's parameters, and the answer with what it rests on."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from rest_framework import serializers

from api.query import QuerySerializer
from api.serializers.fits import FitSummarySerializer
from api.serializers.returns import PegLabelSerializer
from api.serializers.shapes import CautionSerializer, NamedSerializer, OutputSerializer
from clubdata.errors import InvalidInput
from clubdata.models import SessionKind

MOST_WORDS = 40


class WordsField(serializers.CharField):
    """Several of the club's words, separated by a semicolon (a bait may have a comma in its name)."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=1000, required=False, **options)

    def to_internal_value(self, data: Any) -> Any:
        words = tuple(word.strip() for word in super().to_internal_value(data).split(";") if word.strip())
        if not 0 < len(words) <= MOST_WORDS:
            raise serializers.ValidationError(f"Give one to {MOST_WORDS} words, separated by ';'.")
        return words


@contextmanager
def hinting_at_separator(parameters: Mapping[str, Any]) -> Iterator[None]:
    """Say how words are separated when an unknown one reads like a list with commas."""
    try:
        yield
    except InvalidInput as unknown:
        words = parameters.get(unknown.field)
        if not (isinstance(words, tuple) and len(words) == 1 and "," in words[0]):
            raise
        message = f"{unknown.message} Separate several words by ';'."
        raise InvalidInput(message, field=unknown.field, code=unknown.code) from None


class AdviceQuery(QuerySerializer):
    """What a member asks, and the limits that a member really has."""

    month = serializers.IntegerField(min_value=1, max_value=12)
    peg = serializers.CharField(required=False, max_length=40, help_text="A label, or a peg's uid.")
    hours = serializers.FloatField(required=False, default=5.0, help_text="Of the session, up to 48.")
    baits = WordsField(help_text="The hook baits to hand, separated by ';'.")
    rig_types = WordsField(help_text="Separated by ';'.")
    methods = WordsField(help_text="Separated by ';'.")
    longest_pole_m = serializers.FloatField(required=False)
    session_kind = serializers.ChoiceField(choices=SessionKind.choices, required=False)


class DriverSerializer(OutputSerializer):
    """A factor of the expected weight: 1.2 is a fifth more than the base."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    multiplier = serializers.FloatField()


class EvidenceSerializer(OutputSerializer):
    """How many used returns of this water speak for a choice; null where it was not asked."""

    on_water = serializers.IntegerField()
    on_peg = serializers.IntegerField(allow_null=True)
    in_month = serializers.IntegerField()
    near_distance = serializers.IntegerField(allow_null=True)
    on_rig_type = serializers.IntegerField()


class AlternativeSerializer(OutputSerializer):
    """The same bait on another rig type, at that one's best distance."""

    distance_m = serializers.FloatField(allow_null=True)
    rig_type = NamedSerializer(allow_null=True)
    expected_g = serializers.FloatField()
    expected_lb_oz = serializers.CharField()


class ChoiceSerializer(OutputSerializer):
    """A hook bait with its best distance and rig type, and the mean weight expected (90 % interval)."""

    hook_bait = NamedSerializer()
    distance_m = serializers.FloatField(allow_null=True)
    good_from_m = serializers.FloatField(allow_null=True)
    good_to_m = serializers.FloatField(allow_null=True)
    rig_type = NamedSerializer(allow_null=True)
    expected_g = serializers.FloatField()
    expected_lb_oz = serializers.CharField()
    lower_g = serializers.FloatField()
    lower_lb_oz = serializers.CharField()
    upper_g = serializers.FloatField()
    upper_lb_oz = serializers.CharField()
    chance_best = serializers.FloatField(help_text="Share of joint draws in which it leads the list.")
    how_much_we_know = serializers.CharField()
    evidence = EvidenceSerializer()
    hours = serializers.FloatField()
    base_g_per_hour = serializers.FloatField()
    drivers = DriverSerializer(many=True)
    alternatives = AlternativeSerializer(many=True)


class NoAdviceSerializer(OutputSerializer):
    """Why there are no choices, and how many returns would have done where that is the reason."""

    code = serializers.CharField()
    reason = serializers.CharField()
    needed = serializers.IntegerField(allow_null=True)


class ReferenceSerializer(OutputSerializer):
    """The conditions under which the expected weights stand."""

    session_kind = serializers.CharField()
    hours = serializers.FloatField()
    year = serializers.CharField()
    wind = serializers.CharField()
    water_temperature_c = serializers.FloatField(allow_null=True)
    averaged_over = serializers.ListField(child=serializers.CharField())
    sentence = serializers.CharField()


class StandingHazardSerializer(OutputSerializer):
    """A standing hazard, since when, and whom to tell."""

    peg = serializers.CharField()
    kind = serializers.CharField()
    since = serializers.DateField()
    whom_to_tell = serializers.CharField()


class AdvisedWaterSerializer(OutputSerializer):
    """The water asked about."""

    uid = serializers.UUIDField(source="water_uid")
    name = serializers.CharField(source="water")


class AdviceSerializer(OutputSerializer):
    """Ranked choices, or `no_advice` and none; always with the cautions."""

    water = AdvisedWaterSerializer(source="*")
    peg = PegLabelSerializer(allow_null=True)
    month = serializers.IntegerField()
    hours = serializers.FloatField()
    answers_for = serializers.ChoiceField(choices=["peg", "water"])
    choices = ChoiceSerializer(many=True)
    no_advice = NoAdviceSerializer(allow_null=True)
    reference = ReferenceSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
    cautions = CautionSerializer(many=True)
    hazards = StandingHazardSerializer(many=True)
    pegs_without_advice = PegLabelSerializer(many=True)
    pegs_out_of_use = PegLabelSerializer(many=True)
    other_pegs = PegLabelSerializer(many=True)
    not_ranked = serializers.ListField(child=serializers.CharField())
    fit = FitSummarySerializer(allow_null=True)
    knowledge_rule = serializers.CharField()
