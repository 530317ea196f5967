"""A fit held against days that it had not seen. Numbers that do not exist are null."""

from rest_framework import serializers

from api.serializers.shapes import OutputSerializer


class MeanSerializer(OutputSerializer):
    """A mean over unseen returns; its standard error takes those of one day as alike."""

    value = serializers.FloatField(allow_null=True)
    standard_error = serializers.FloatField(allow_null=True)


class MethodScoreSerializer(OutputSerializer):
    """One method's forecasts of unseen returns: the lower deviance and CRPS, the better."""

    method = serializers.CharField()
    deviance = serializers.FloatField(allow_null=True, help_text="Mean unit deviance.")
    crps_g = serializers.FloatField(allow_null=True, help_text="Mean continuous ranked probability score.")
    coverage_50 = serializers.FloatField(allow_null=True)
    coverage_90 = serializers.FloatField(allow_null=True)


class ComparisonSerializer(OutputSerializer):
    """The catch model's scores less a baseline's, return by return: below nought it is better."""

    method = serializers.CharField(help_text="The baseline.")
    deviance = MeanSerializer()
    crps_g = MeanSerializer()


class CoverageSerializer(OutputSerializer):
    """How many unseen returns lay inside the central interval that should hold this share of them."""

    share = serializers.FloatField()
    sessions = serializers.IntegerField()
    inside = serializers.IntegerField()
    standard_error = serializers.FloatField()


class ForecastClassSerializer(OutputSerializer):
    """Unseen returns with forecasts alike: their mean weight beside the mean forecast."""

    sessions = serializers.IntegerField()
    expected_g = serializers.FloatField(allow_null=True)
    observed_g = serializers.FloatField()
    standard_error_g = serializers.FloatField(allow_null=True)


class BlankShareSerializer(OutputSerializer):
    """The share of blanks among unseen returns as forecast and as found."""

    sessions = serializers.IntegerField()
    expected = serializers.FloatField()
    observed = serializers.FloatField()
    standard_error = serializers.FloatField(allow_null=True, help_text="Of the difference.")


class CalibrationSerializer(OutputSerializer):
    """Whether forecasts hold what they say."""

    coverages = CoverageSerializer(many=True)
    tenths = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="Unseen returns by the tenth of their forecast in which they lie: even, where it is right.",
    )
    classes = ForecastClassSerializer(many=True)
    blanks = BlankShareSerializer()


class ValidationSerializer(OutputSerializer):
    """Fitted to the first four fifths of the days, held against the rest, beside three baselines."""

    trained = serializers.IntegerField()
    tested = serializers.IntegerField()
    days = serializers.IntegerField()
    first_test_day = serializers.DateField()
    scores = MethodScoreSerializer(many=True, help_text="The catch model first.")
    comparisons = ComparisonSerializer(many=True)
    calibration = CalibrationSerializer()
