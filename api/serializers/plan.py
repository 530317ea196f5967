"""The session plan: the question's parameters, the sheet, what to do next, and a rig as tied."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.query import QuerySerializer
from api.serializers.advice import (
    AdvisedWaterSerializer,
    MonthField,
    NoAdviceSerializer,
    StandingHazardSerializer,
    WordsField,
)
from api.serializers.returns import PegLabelSerializer
from api.serializers.rules import ANY_VALUE, RuleSerializer
from api.serializers.shapes import CautionSerializer, OutputSerializer, StrictSerializer
from clubdata.models.returns import Tow
from clubdata.rules.rigs import MOST_SHOT
from clubdata.rules.tackle import SPLIT_SHOT_G

SHOT_SIZES = [(size, size) for size in SPLIT_SHOT_G]


class NumbersField(serializers.CharField):
    """Several numbers separated by a semicolon."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=200, required=False, **options)

    def to_internal_value(self, data: Any) -> Any:
        try:
            numbers = tuple(
                float(word) for word in super().to_internal_value(data).split(";") if word.strip()
            )
        except ValueError:
            numbers = ()
        if not 0 < len(numbers) <= 20 or not all(0 < number <= 100 for number in numbers):
            raise serializers.ValidationError("Give one to 20 numbers above 0, separated by ';'.")
        return numbers


class WhereQuery(QuerySerializer):
    """Which peg, when, and what the day is like."""

    peg = serializers.CharField(max_length=40, help_text="A label, or a peg's uid.")
    month = MonthField()
    on = serializers.DateField(required=False, help_text="A day instead of a month.")
    water_temperature_c = serializers.FloatField(required=False, help_text="Of the day.")
    wind_force = serializers.CharField(
        required=False, max_length=40, help_text="Of the day: a Beaufort force, its name or the club's word."
    )
    tow = serializers.ChoiceField(choices=Tow.choices, required=False, help_text="Of the day.")


class PlanQuery(WhereQuery):
    """And what the angler has: what is not said is taken to be there."""

    hours = serializers.FloatField(required=False, default=5.0, help_text="Of the session, up to 48.")
    longest_pole_m = serializers.FloatField(required=False)
    baits = WordsField(help_text="The hook baits to hand, separated by ';'.")
    feeds = WordsField(help_text="What there is to feed, separated by ';'.")
    floats = WordsField(help_text="Codes of the floats to hand, separated by ';'.")
    main_lines_mm = NumbersField(help_text="Diameters to hand, separated by ';'.")
    hooklengths_mm = NumbersField(help_text="Diameters to hand, separated by ';'.")
    hook_sizes = NumbersField(help_text="Sizes to hand, separated by ';'.")
    clarity_cm = serializers.IntegerField(required=False, min_value=0, max_value=2000)
    target = serializers.CharField(
        required=False, max_length=30, help_text="A group of species; without one everything caught."
    )
    small_fish = serializers.BooleanField(required=False, default=None, allow_null=True)
    fish_confident = serializers.BooleanField(required=False, default=None, allow_null=True)


class RigQuery(PlanQuery):
    """Which of the plan's rigs is drawn."""

    place = serializers.ChoiceField(choices=["long", "short"], required=False, default="long")


class SeenQuery(WhereQuery):
    """What has happened so far, and what there is: of what is not said nothing is known, or it is there."""

    baits = WordsField(help_text="The hook baits to hand, separated by ';'.")
    feeds = WordsField(help_text="What there is to feed, separated by ';'.")

    hook_bait = serializers.ChoiceField(choices=["maggot", "corn", "caster", "worm", "bread"], required=False)
    minutes_without_sign = serializers.FloatField(required=False, min_value=0, max_value=1440)
    fish_expected = serializers.BooleanField(required=False, default=None, allow_null=True)
    small_fish = serializers.BooleanField(required=False, default=None, allow_null=True)
    perch_over_feed = serializers.BooleanField(required=False, default=None, allow_null=True)
    bubbles = serializers.ChoiceField(choices=["none", "small", "large"], required=False)
    missed_bites = serializers.IntegerField(required=False, min_value=0, max_value=1000)
    tow_rising = serializers.BooleanField(required=False, default=None, allow_null=True)
    float_does_not_settle = serializers.BooleanField(required=False, default=None, allow_null=True)


class BecauseSerializer(OutputSerializer):
    """A reason: the club's returns, the trade (rule by name), the peg's record, or the kit."""

    kind = serializers.CharField()
    words = serializers.CharField()
    rule = serializers.CharField()
    dissent = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    sure = serializers.CharField()


class ItemSerializer(OutputSerializer):
    """One line of the plan; `also` are rules that say otherwise."""

    topic = serializers.CharField()
    says = serializers.CharField()
    value = serializers.SerializerMethodField()
    unit = serializers.CharField()
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    because = BecauseSerializer(many=True)
    also = RuleSerializer(many=True)

    @extend_schema_field(ANY_VALUE)
    def get_value(self, item: Any) -> Any:
        return item.value


class ShotSerializer(OutputSerializer):
    """A split shot: centimetres above the hook along the line, size, grams."""

    above_hook_cm = serializers.FloatField()
    size = serializers.CharField()
    weight_g = serializers.FloatField()


class StageSerializer(OutputSerializer):
    """Shot that settle together, from the float down, with their share of the weight."""

    above_hook_cm = serializers.FloatField()
    sizes = serializers.ListField(child=serializers.CharField())
    share = serializers.FloatField()


class RigSerializer(OutputSerializer):
    """A rig as positions on the line: depth and lengths in centimetres, loads in grams."""

    depth_cm = serializers.FloatField()
    hooklength_cm = serializers.FloatField()
    load_g = serializers.FloatField()
    shot = ShotSerializer(many=True)
    shot_total_g = serializers.FloatField()
    trimming = serializers.ListField(child=serializers.CharField())
    left_g = serializers.FloatField()
    back_shot = ShotSerializer(many=True)


class DepthSerializer(OutputSerializer):
    """A depth on record, and where it was found."""

    depth_cm = serializers.FloatField()
    found = serializers.CharField()


class PlannedLineSerializer(OutputSerializer):
    """One line to fish and the rig for it; `rig` is null where no pattern fits."""

    place = serializers.CharField()
    distance_m = serializers.FloatField()
    joints = serializers.IntegerField(allow_null=True)
    depth = DepthSerializer(allow_null=True)
    depth_in_words = serializers.CharField()
    why = ItemSerializer()
    rig = RigSerializer(allow_null=True)
    pattern = serializers.CharField()
    settles = StageSerializer(many=True)
    items = ItemSerializer(many=True)


class PlanSerializer(OutputSerializer):
    """Lines, baits, feed, and what to watch for; `left_out` is what the water's rules or the kit exclude."""

    lines = PlannedLineSerializer(many=True)
    first_bait = ItemSerializer(allow_null=True)
    next_bait = ItemSerializer(allow_null=True)
    hooking = ItemSerializer(many=True)
    items = ItemSerializer(many=True)
    watch = RuleSerializer(many=True)
    left_out = serializers.ListField(child=serializers.CharField())


class SessionPlanSerializer(OutputSerializer):
    """A plan for a peg, or `no_plan` and why; always with the cautions, which come before everything else."""

    headline = serializers.CharField()
    cautions = CautionSerializer(many=True, source="advice.cautions")
    hazards = StandingHazardSerializer(many=True, source="advice.hazards")
    other_pegs = PegLabelSerializer(many=True, source="advice.other_pegs")
    water = AdvisedWaterSerializer(source="advice")
    peg = PegLabelSerializer(source="advice.peg")
    month = serializers.IntegerField(source="advice.month")
    on = serializers.DateField(source="advice.on", allow_null=True)
    returns_say = serializers.CharField(source="advice.headline")
    no_plan = NoAdviceSerializer(allow_null=True)
    plan = PlanSerializer(allow_null=True)


class NextStepsSerializer(OutputSerializer):
    """What to do next, the more particular first; rules that disagree are all there."""

    steps = RuleSerializer(many=True)


class ShotInputSerializer(StrictSerializer):
    """A split shot as tied."""

    above_hook_cm = serializers.FloatField(min_value=0, max_value=5000)
    size = serializers.ChoiceField(choices=SHOT_SIZES)


class RigInputSerializer(StrictSerializer):
    """A rig as tied: what the float takes, the shot, and the lines' diameters where they are known."""

    depth_cm = serializers.FloatField(min_value=10, max_value=5000)
    hooklength_cm = serializers.FloatField(min_value=1, max_value=200)
    load_g = serializers.FloatField(min_value=0.01, max_value=20)
    shot = ShotInputSerializer(many=True, max_length=MOST_SHOT)  # type: ignore[call-arg]
    trimming = serializers.ListField(
        child=serializers.ChoiceField(choices=SHOT_SIZES), required=False, default=list, max_length=20
    )
    main_line_mm = serializers.FloatField(required=False, min_value=0.03, max_value=1, allow_null=True)
    hooklength_mm = serializers.FloatField(required=False, min_value=0.03, max_value=1, allow_null=True)
    hook_size = serializers.IntegerField(required=False, min_value=1, max_value=30, allow_null=True)
    hook_bait = serializers.CharField(required=False, max_length=60, allow_blank=True)
    elastic = serializers.IntegerField(required=False, min_value=1, max_value=30, allow_null=True)
    biggest_expected_g = serializers.IntegerField(
        required=False, min_value=1, max_value=50_000, allow_null=True
    )


class FindingSerializer(OutputSerializer):
    """Something to look at on a rig."""

    code = serializers.CharField()
    sentence = serializers.CharField()


class RigCheckSerializer(OutputSerializer):
    """A rig as tied: its arithmetic, how it settles, what to look at, and the drawing."""

    rig = RigSerializer()
    pattern = serializers.CharField()
    settles = StageSerializer(many=True)
    falls_evenly = serializers.BooleanField()
    trimming_wanted = serializers.ListField(child=serializers.CharField())
    findings = FindingSerializer(many=True)
    drawing = serializers.CharField(help_text="SVG, to scale.")
