"""Peg form, two pegs compared, and how even a draw is: their parameters, and the answers."""

from typing import Any

from rest_framework import serializers

from analytics.answers.peg_form import SORTS
from analytics.answers.peg_trend import TREND_RULE
from analytics.answers.peg_wording import EVENNESS_RULE, PAIR_RULE, WORDING_RULE
from api.query import QuerySerializer
from api.serializers.advice import MonthField, ReferenceSerializer
from api.serializers.fits import FitSummarySerializer
from api.serializers.returns import PegLabelSerializer
from api.serializers.shapes import OutputSerializer, PoundsOuncesField
from clubdata.rules.season import Season

MOST_PEGS = 400


class PegFormQuery(QuerySerializer):
    """Which part of the year the raw figures are of, and the order of the pegs."""

    season = serializers.ChoiceField(
        choices=[season.value for season in Season],
        required=False,
        help_text="Of raw figures and counts; multipliers are of the whole year.",
    )
    month = MonthField(help_text="Instead of a season.")
    sort = serializers.ChoiceField(
        choices=SORTS,
        default="bank",
        required=False,
        help_text="'effect' and 'raw': the greatest first; 'last_drawn': the longest undrawn first.",
    )


class PegPairQuery(QuerySerializer):
    """Two pegs of the water."""

    first = serializers.CharField(max_length=40, help_text="A label, or a peg's uid.")
    second = serializers.CharField(max_length=40, help_text="A label, or a peg's uid.")


class PegLabelsField(serializers.CharField):
    """Several pegs, separated by a semicolon."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=40 * MOST_PEGS, required=False, **options)

    def to_internal_value(self, data: Any) -> Any:
        labels = tuple(label.strip() for label in super().to_internal_value(data).split(";") if label.strip())
        if not 0 < len(labels) <= MOST_PEGS:
            raise serializers.ValidationError(f"Give one to {MOST_PEGS} pegs, separated by ';'.")
        return labels


class EvennessQuery(QuerySerializer):
    """The draw."""

    pegs = PegLabelsField(help_text="The pegs put in, by label or uid, separated by ';'; all of them.")
    anglers = serializers.IntegerField(
        min_value=2, max_value=1000, required=False, help_text="As many as there are pegs."
    )
    hours = serializers.FloatField(required=False, default=5.0, help_text="Of the match, up to 48.")
    month = MonthField(help_text="This month, or the match's.")
    match = serializers.CharField(
        required=False, max_length=40, help_text="A match's code or uid, for its pegs and month."
    )


class PlainSerializer(OutputSerializer):
    """Numbers and words that stand as they are: a water has thousands, and none needs a translation."""

    def to_representation(self, instance: Any) -> dict[str, Any]:
        return {name: getattr(instance, name) for name in self.fields.keys()}  # noqa: SIM118 - fields iterate as mappings of the stubs do not


class PegIntervalSerializer(PlainSerializer):
    """The ends of the 50 % and 90 % intervals."""

    lower_90 = serializers.FloatField()
    lower_50 = serializers.FloatField()
    upper_50 = serializers.FloatField()
    upper_90 = serializers.FloatField()


class PegStandingSerializer(PegIntervalSerializer):
    """A multiplier on the water's typical peg, and ranks from joint draws: rank 1 makes most."""

    multiplier = serializers.FloatField()
    chance_above_middle = serializers.FloatField()
    in_words = serializers.CharField()
    expected_rank = serializers.FloatField()
    rank_from_90 = serializers.IntegerField()
    rank_from_50 = serializers.IntegerField()
    rank_to_50 = serializers.IntegerField()
    rank_to_90 = serializers.IntegerField()
    chance_top_quarter = serializers.FloatField()
    rank_chances = serializers.ListField(
        child=serializers.FloatField(), help_text="One a rank; they sum to one."
    )


class OverExpectedSerializer(PegIntervalSerializer):
    """Weight over what the fit expects of the same anglers, days and tackle at this peg."""

    ratio = serializers.FloatField()


class WhyTheyDifferSerializer(PlainSerializer):
    """`raw_ratio` = `multiplier` × every one of `parts` × `remainder`."""

    raw_ratio = serializers.FloatField()
    multiplier = serializers.FloatField()
    parts = serializers.DictField(child=serializers.FloatField())
    remainder = serializers.FloatField()


class PegYearSerializer(OutputSerializer):
    """A year of a peg."""

    year = serializers.IntegerField()
    returns = serializers.IntegerField()
    over_expected = OverExpectedSerializer()


class PegTrendSerializer(OutputSerializer):
    """A plain word by `trend_rule`, and the years behind it."""

    word = serializers.CharField()
    change_per_year = serializers.FloatField(allow_null=True)
    chance_rising = serializers.FloatField(allow_null=True)
    years = PegYearSerializer(many=True)


class PegRecordSerializer(OutputSerializer):
    """What was handed in; null where it is kept back or there is nothing, as `why_not` says."""

    returns = serializers.IntegerField(allow_null=True)
    blanks = serializers.IntegerField(allow_null=True)
    matches = serializers.IntegerField(allow_null=True)
    pleasure = serializers.IntegerField(allow_null=True)
    anglers = serializers.IntegerField(allow_null=True)
    raw_g_per_hour = serializers.FloatField(allow_null=True)
    raw_lb_oz_per_hour = PoundsOuncesField(source="raw_g_per_hour", allow_null=True)
    raw_ratio = serializers.FloatField(allow_null=True, help_text="Over the water's raw rate.")
    why = WhyTheyDifferSerializer(allow_null=True)
    why_in_words = serializers.CharField(allow_null=True)
    over_expected = OverExpectedSerializer(allow_null=True)
    own_share = serializers.FloatField(allow_null=True)
    trend = PegTrendSerializer(allow_null=True)
    last_drawn_on = serializers.DateField(allow_null=True)
    last_fished = serializers.CharField(allow_null=True, help_text="A day, or only its month.")
    why_not = serializers.CharField(allow_blank=True)


class PegInFormSerializer(OutputSerializer):
    """A peg, how it stands, and its record."""

    peg = PegLabelSerializer()
    bank = serializers.CharField(allow_blank=True)
    standing = PegStandingSerializer()
    record = PegRecordSerializer()


class PegLeftOutSerializer(OutputSerializer):
    """A peg that is not compared: under a standing hazard, out of use, or without returns."""

    peg = PegLabelSerializer()
    bank = serializers.CharField(allow_blank=True)
    code = serializers.CharField()
    reason = serializers.CharField()


class NoAnswerSerializer(PlainSerializer):
    """Why there is none."""

    code = serializers.CharField()
    reason = serializers.CharField()


class FormWaterSerializer(OutputSerializer):
    """The water asked about."""

    uid = serializers.UUIDField(source="water_uid")
    name = serializers.CharField(source="water")


class PegFormSerializer(OutputSerializer):
    """Pegs in the order asked for, or `no_answer` and none; always those left out."""

    water = FormWaterSerializer(source="*")
    season = serializers.CharField(allow_null=True)
    month = serializers.IntegerField(allow_null=True)
    sort = serializers.CharField()
    pegs = PegInFormSerializer(many=True)
    left_out = PegLeftOutSerializer(many=True)
    no_answer = NoAnswerSerializer(allow_null=True)
    typical_peg = serializers.CharField(allow_null=True)
    top_quarter = serializers.IntegerField(allow_null=True)
    raw_g_per_hour = serializers.FloatField(allow_null=True, help_text="Of the water.")
    notes = serializers.ListField(child=serializers.CharField())
    wording_rule = serializers.SerializerMethodField()
    trend_rule = serializers.SerializerMethodField()
    fit = FitSummarySerializer(allow_null=True)

    def get_wording_rule(self, _: Any) -> str:
        return WORDING_RULE

    def get_trend_rule(self, _: Any) -> str:
        return TREND_RULE


class PegComparisonSerializer(PegIntervalSerializer):
    """The first peg over the second."""

    chance_first_better = serializers.FloatField()
    chance_second_better = serializers.FloatField()
    ratio = serializers.FloatField()
    in_words = serializers.CharField()


class PegPairSerializer(OutputSerializer):
    """Two pegs with their records, or `no_answer`."""

    water = FormWaterSerializer(source="*")
    first = PegLabelSerializer()
    second = PegLabelSerializer()
    comparison = PegComparisonSerializer(allow_null=True)
    first_record = PegRecordSerializer(allow_null=True)
    second_record = PegRecordSerializer(allow_null=True)
    no_answer = NoAnswerSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
    wording_rule = serializers.SerializerMethodField()
    fit = FitSummarySerializer(allow_null=True)

    def get_wording_rule(self, _: Any) -> str:
        return PAIR_RULE


class DrawnPegSerializer(OutputSerializer):
    """What drawing the peg is worth to one of equally able anglers."""

    peg = PegLabelSerializer()
    bank = serializers.CharField(allow_blank=True)
    chance_win = serializers.FloatField()
    chance_top_quarter = serializers.FloatField()
    expected_place = serializers.FloatField()
    expected_points = serializers.FloatField()


class EvenShareSerializer(PlainSerializer):
    """How even the draw is."""

    even_chance_win = serializers.FloatField()
    win_ratio = serializers.FloatField(allow_null=True)
    effective_pegs = serializers.FloatField()
    in_words = serializers.CharField()


class EvennessSerializer(OutputSerializer):
    """Pegs in bank order with what each is worth, or `no_answer`."""

    water = FormWaterSerializer(source="*")
    match = serializers.CharField(allow_null=True)
    anglers = serializers.IntegerField(allow_null=True)
    hours = serializers.FloatField()
    month = serializers.IntegerField()
    pegs = DrawnPegSerializer(many=True)
    left_out = PegLeftOutSerializer(many=True)
    summary = EvenShareSerializer(allow_null=True)
    simulated_matches = serializers.IntegerField()
    reference = ReferenceSerializer(allow_null=True)
    no_answer = NoAnswerSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
    wording_rule = serializers.SerializerMethodField()
    fit = FitSummarySerializer(allow_null=True)

    def get_wording_rule(self, _: Any) -> str:
        return EVENNESS_RULE
