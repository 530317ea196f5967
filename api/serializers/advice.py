"""Advice: the question's parameters, and the answer with what it rests on."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from rest_framework import serializers

from api.pagination import PageQuery
from api.query import QuerySerializer
from api.serializers.fits import FitSummarySerializer
from api.serializers.returns import PegLabelSerializer
from api.serializers.shapes import CautionSerializer, NamedSerializer, OutputSerializer
from clubdata.errors import InvalidInput
from clubdata.models import SessionKind
from clubdata.models.returns import Tow

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


class MonthField(serializers.IntegerField):
    """A month by its number."""

    _RANGE = "A month goes from 1 to 12."
    default_error_messages = {"invalid": _RANGE, "min_value": _RANGE, "max_value": _RANGE}

    def __init__(self, **options: Any) -> None:
        super().__init__(min_value=1, max_value=12, required=False, **options)


@contextmanager
def hinting_at_separator(parameters: Mapping[str, Any]) -> Iterator[None]:
    """Say how words or pegs are separated when an unknown one reads like a list with commas."""
    try:
        yield
    except InvalidInput as unknown:
        words = parameters.get(unknown.field)
        if not (isinstance(words, tuple) and len(words) == 1 and "," in words[0]):
            raise
        message = f"{unknown.message} Separate several by ';'."
        raise InvalidInput(message, field=unknown.field, code=unknown.code) from None


class AdviceQuery(QuerySerializer):
    """What a member asks, and the limits that a member really has: about a month, or about a day."""

    month = MonthField()
    on = serializers.DateField(
        required=False,
        help_text="A day instead of a month.",
        error_messages={"invalid": "Write a day of the calendar as 2025-03-31."},
    )
    peg = serializers.CharField(required=False, max_length=40, help_text="A label, or a peg's uid.")
    hours = serializers.FloatField(required=False, default=5.0, help_text="Of the session, up to 48.")
    baits = WordsField(help_text="The hook baits to hand, separated by ';'.")
    rig_types = WordsField(help_text="Separated by ';'.")
    methods = WordsField(help_text="Separated by ';'.")
    longest_pole_m = serializers.FloatField(required=False)
    target = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        max_length=30,
        help_text="A group of species; without one everything caught.",
    )
    session_kind = serializers.ChoiceField(choices=SessionKind.choices, required=False)
    water_temperature_c = serializers.FloatField(required=False, help_text="Of the day.")
    wind_force = serializers.CharField(
        required=False, max_length=40, help_text="Of the day: a Beaufort force, its name or the club's word."
    )
    tow = serializers.ChoiceField(choices=Tow.choices, required=False, help_text="Of the day.")


class OwnReturnQuery(PageQuery):
    """The part of one's own returns to see."""

    peg = serializers.CharField(required=False, max_length=40, help_text="A label, or a peg's uid.")
    month = MonthField()


class DriverSerializer(OutputSerializer):
    """A factor of the expected weight with its intervals: 1.2 is a fifth more than the base."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    multiplier = serializers.FloatField()
    lower_50 = serializers.FloatField()
    upper_50 = serializers.FloatField()
    lower_90 = serializers.FloatField()
    upper_90 = serializers.FloatField()


class BehindSerializer(OutputSerializer):
    """How many used returns stand behind a part, how recent, of how many members.

    Of fewer than five members neither their number nor the day is shown: null.
    """

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    returns = serializers.IntegerField()
    last_on = serializers.DateField(allow_null=True)
    last_year = serializers.IntegerField(allow_null=True)
    members = serializers.IntegerField(allow_null=True)
    members_in_words = serializers.CharField()


class PercentileSerializer(OutputSerializer):
    """A share of single sessions, and the weight that they stay below."""

    share = serializers.FloatField()
    weight_g = serializers.FloatField()
    weight_lb_oz = serializers.CharField()


class OneSessionSerializer(OutputSerializer):
    """What a single session may bring, blanks included."""

    percentiles = PercentileSerializer(many=True)
    chance_of_blank = serializers.FloatField()
    words = serializers.CharField()


class EvidenceSerializer(OutputSerializer):
    """How many used returns of this water speak for a choice; null where it was not asked."""

    on_water = serializers.IntegerField()
    on_peg = serializers.IntegerField(allow_null=True)
    in_month = serializers.IntegerField()
    near_distance = serializers.IntegerField(allow_null=True)
    on_rig_type = serializers.IntegerField()
    parts = BehindSerializer(many=True)


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
    lower_50_g = serializers.FloatField()
    lower_50_lb_oz = serializers.CharField()
    upper_50_g = serializers.FloatField()
    upper_50_lb_oz = serializers.CharField()
    one_session = OneSessionSerializer()
    chance_best = serializers.FloatField(help_text="Share of joint draws in which it leads the list.")
    chance_beats_first = serializers.FloatField(
        allow_null=True, help_text="Share of them in which it lies above the first."
    )
    regret_g = serializers.FloatField(help_text="Given up on average against the best of each draw.")
    regret_lb_oz = serializers.CharField()
    regret_share = serializers.FloatField(help_text="The same as a share of that best's mean.")
    how_much_we_know = serializers.CharField()
    worth_trying = serializers.CharField(help_text="Why it is; empty where the rule does not say so.")
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


class PooledWeightSerializer(OutputSerializer):
    """A weight for the hours asked about."""

    grams = serializers.FloatField()
    lb_oz = serializers.CharField()


class PastReturnsSerializer(OutputSerializer):
    """Past returns most like the first choice, pooled over at least five anglers; null of fewer."""

    like = serializers.CharField()
    widened = serializers.ListField(child=serializers.CharField())
    returns = serializers.IntegerField(allow_null=True)
    anglers = serializers.IntegerField(allow_null=True)
    blanks = serializers.IntegerField(allow_null=True)
    mean = PooledWeightSerializer(allow_null=True)
    quartiles = PooledWeightSerializer(many=True)
    first_year = serializers.IntegerField(allow_null=True)
    last_year = serializers.IntegerField(allow_null=True)
    rule = serializers.CharField()


class AdvisedWaterSerializer(OutputSerializer):
    """The water asked about."""

    uid = serializers.UUIDField(source="water_uid")
    name = serializers.CharField(source="water")


class AdviceSerializer(OutputSerializer):
    """Ranked choices, or `no_advice` and none; always with the cautions."""

    headline = serializers.CharField(help_text="One sentence for a phone.")
    water = AdvisedWaterSerializer(source="*")
    peg = PegLabelSerializer(allow_null=True)
    month = serializers.IntegerField()
    on = serializers.DateField(allow_null=True)
    hours = serializers.FloatField()
    target = serializers.CharField()
    answers_for = serializers.ChoiceField(choices=["peg", "water"])
    choices = ChoiceSerializer(many=True)
    no_advice = NoAdviceSerializer(allow_null=True)
    reference = ReferenceSerializer(allow_null=True)
    association = serializers.CharField()
    notes = serializers.ListField(child=serializers.CharField())
    cautions = CautionSerializer(many=True)
    hazards = StandingHazardSerializer(many=True)
    pegs_without_advice = PegLabelSerializer(many=True)
    pegs_out_of_use = PegLabelSerializer(many=True)
    other_pegs = PegLabelSerializer(many=True)
    not_ranked = serializers.ListField(child=serializers.CharField())
    evidence = BehindSerializer(many=True)
    past_returns = PastReturnsSerializer(allow_null=True)
    fit = FitSummarySerializer(allow_null=True)
    knowledge_rule = serializers.CharField()
    worth_trying_rule = serializers.CharField()
