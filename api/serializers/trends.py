"""Trends: their parameters, and the answers with what they rest on."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from analytics.answers.trends import BY, Trends
from api.query import QuerySerializer
from api.serializers.fits import FitSummarySerializer
from api.serializers.shapes import NamedSerializer, OutputSerializer
from clubdata.models import WaterEventKind

_TARGET = "A group of the club's species, where it has a fit of its own; everything otherwise."


class TrendQuery(QuerySerializer):
    """What the trend goes by, in which year it stands, and of which fish."""

    by = serializers.ChoiceField(choices=BY, required=False, default="month")
    year = serializers.IntegerField(
        required=False,
        min_value=1900,
        max_value=2200,
        help_text="Where standardised values stand and to which raw months, species and effort are narrowed; "
        "of 'year' the one that is compared with the year before.",
    )
    target = serializers.CharField(
        required=False, default="", allow_blank=True, max_length=30, help_text=_TARGET
    )


class WaterTrendQuery(QuerySerializer):
    """Of which fish."""

    target = serializers.CharField(
        required=False, default="", allow_blank=True, max_length=30, help_text=_TARGET
    )


class IntervalSerializer(OutputSerializer):
    """An estimate with its 50 % and 90 % intervals."""

    estimate = serializers.FloatField()
    lower_50 = serializers.FloatField()
    upper_50 = serializers.FloatField()
    lower_90 = serializers.FloatField()
    upper_90 = serializers.FloatField()


class RawFiguresSerializer(OutputSerializer):
    """What some returns say as they stand; all null where it is withheld: of fewer than five anglers."""

    withheld = serializers.BooleanField()
    returns = serializers.IntegerField(
        allow_null=True, help_text="All of them; the rates are of those whose weight is known."
    )
    anglers = serializers.IntegerField(allow_null=True)
    blanks = serializers.IntegerField(allow_null=True)
    did_not_weigh = serializers.IntegerField(allow_null=True)
    at_least = serializers.IntegerField(allow_null=True, help_text="Known only to weigh at least so much.")
    weight_g = serializers.FloatField(allow_null=True)
    rod_hours = serializers.FloatField(allow_null=True)
    g_per_rod_hour = serializers.FloatField(
        allow_null=True, help_text="All weight over all effort, of returns whose weight is known."
    )
    standard_error = serializers.FloatField(allow_null=True)
    mean_of_ratios = serializers.FloatField(allow_null=True, help_text="Every session counts alike.")
    mean_of_ratios_se = serializers.FloatField(allow_null=True)


class TrendPointSerializer(OutputSerializer):
    """A value in grams a rod-hour, standardised and raw; of a bin the lower edge is given."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    year = serializers.CharField(allow_null=True)
    month = serializers.IntegerField(allow_null=True)
    season = serializers.CharField(allow_null=True)
    hook_bait = serializers.CharField(allow_null=True)
    distance_m = serializers.IntegerField(allow_null=True)
    water_temperature_c = serializers.IntegerField(allow_null=True)
    standardised = IntervalSerializer(allow_null=True)
    raw = RawFiguresSerializer(allow_null=True)
    raw_matches = RawFiguresSerializer(
        allow_null=True, help_text="Of matches alone; for the organiser, the analyst and the secretary."
    )


class OtherReadingSerializer(OutputSerializer):
    """The same comparison by a fit of other returns, or another reading of unknown weights."""

    code = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    rows_used = serializers.IntegerField(allow_null=True)
    ratio = IntervalSerializer(allow_null=True)
    chance_up = serializers.FloatField(allow_null=True)
    reading = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)


class YearComparisonSerializer(OutputSerializer):
    """A year over the one before it, and the chance that it was the better."""

    year = serializers.CharField()
    before = serializers.CharField()
    ratio = IntervalSerializer()
    chance_up = serializers.FloatField()
    reading = serializers.CharField()
    sensitivity = OtherReadingSerializer(many=True)


class NamedSpeciesSerializer(OutputSerializer):
    """What catch lists say of a species in a year, null for all years; figures are null where withheld."""

    name = serializers.CharField()
    group = serializers.CharField(source="caught.group", allow_blank=True)
    year = serializers.CharField(source="caught.year", allow_null=True)
    withheld = serializers.BooleanField(source="caught.withheld")
    returns = serializers.IntegerField(source="caught.returns", allow_null=True)
    anglers = serializers.IntegerField(source="caught.anglers", allow_null=True)
    weight_g = serializers.FloatField(source="caught.weight_g", allow_null=True)
    weight_share = serializers.FloatField(source="caught.weight_share", allow_null=True)
    fish_count = serializers.IntegerField(source="caught.fish_count", allow_null=True)


class ToldSerializer(OutputSerializer):
    """Of a year's returns that caught something, how many name a species, and tell the whole weight."""

    year = serializers.CharField(allow_null=True)
    withheld = serializers.BooleanField()
    returns = serializers.IntegerField(allow_null=True)
    name_species = serializers.IntegerField(allow_null=True)
    tell_the_whole = serializers.IntegerField(allow_null=True)


class EffortSerializer(OutputSerializer):
    """What was fished in a month, by kind of session."""

    month = serializers.CharField()
    session_kind = serializers.CharField()
    withheld = serializers.BooleanField()
    returns = serializers.IntegerField(allow_null=True)
    anglers = serializers.IntegerField(allow_null=True)
    rod_hours = serializers.FloatField(allow_null=True)


class ComplianceSerializer(OutputSerializer):
    """How many of a month's members handed in anything; of these `did_not_fish` said only that."""

    month = serializers.CharField()
    on_the_books = serializers.IntegerField()
    withheld = serializers.BooleanField()
    handed_in = serializers.IntegerField(allow_null=True)
    did_not_fish = serializers.IntegerField(allow_null=True)
    share = serializers.FloatField(allow_null=True)


class TrendEventSerializer(OutputSerializer):
    """What happened at a water and may show in its returns."""

    water = serializers.CharField()
    kind = serializers.ChoiceField(choices=WaterEventKind.choices)
    started_on = serializers.DateField()
    ended_on = serializers.DateField(allow_null=True)
    note = serializers.CharField(allow_blank=True)


class WaterWeightSerializer(NamedSerializer):
    """How much a water counts in a trend of the club."""

    weight = serializers.FloatField()


class TrendReferenceSerializer(OutputSerializer):
    """What every standardised value stands on."""

    hours = serializers.FloatField(help_text="Rod-hours.")
    session_kind = serializers.CharField()
    wind = serializers.CharField()
    year = serializers.CharField()
    pegs = serializers.CharField()
    hook_bait = serializers.CharField()
    distance = serializers.CharField()
    angler = serializers.CharField()
    months = serializers.CharField()
    waters = WaterWeightSerializer(many=True)
    sentence = serializers.CharField()


class NoTrendsSerializer(OutputSerializer):
    """Why nothing is standardised."""

    code = serializers.CharField()
    reason = serializers.CharField()


class TrendsSerializer(OutputSerializer):
    """A trend. Of `points`, `comparisons`, `species`, `told`, `effort`, `compliance` those it goes by."""

    by = serializers.ChoiceField(choices=BY)
    target = serializers.CharField(allow_blank=True)
    water = serializers.SerializerMethodField()
    year = serializers.CharField(allow_null=True)
    reference = TrendReferenceSerializer(allow_null=True)
    points = TrendPointSerializer(many=True)
    comparisons = YearComparisonSerializer(many=True)
    species = NamedSpeciesSerializer(many=True)
    told = ToldSerializer(many=True)
    effort = EffortSerializer(many=True)
    compliance = ComplianceSerializer(many=True)
    events = TrendEventSerializer(many=True)
    no_trends = NoTrendsSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
    fit = FitSummarySerializer(allow_null=True)

    @extend_schema_field(NamedSerializer(allow_null=True))
    def get_water(self, trends: Trends) -> Any:
        """The water that the trend is of, null for the club."""
        if trends.water_uid is None:
            return None
        return NamedSerializer({"uid": trends.water_uid, "name": trends.water}).data


class WaterRateSerializer(NamedSerializer):
    """A water's catch rate in grams a rod-hour, standardised and raw."""

    standardised = IntervalSerializer(allow_null=True)
    raw = RawFiguresSerializer(allow_null=True)


class WaterPairSerializer(OutputSerializer):
    """The catch rate of `water` over that of `other`, and the chance that the first is the higher."""

    water = serializers.CharField()
    other = serializers.CharField()
    ratio = IntervalSerializer()
    chance_higher = serializers.FloatField()
    reading = serializers.CharField()


class WaterTrendsSerializer(OutputSerializer):
    """The waters, the best first, and each against each."""

    target = serializers.CharField(allow_blank=True)
    reference = TrendReferenceSerializer(allow_null=True)
    waters = WaterRateSerializer(many=True)
    pairs = WaterPairSerializer(many=True)
    no_trends = NoTrendsSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
    fit = FitSummarySerializer(allow_null=True)
