"""A member's own numbers, as shown to that member."""

from rest_framework import serializers

from api.serializers.shapes import OutputSerializer


class BesideSerializer(OutputSerializer):
    """A year's catch beside what the club's average angler was to expect; the ranges are of luck alone."""

    sessions = serializers.IntegerField()
    caught_g = serializers.IntegerField()
    expected_g = serializers.FloatField()
    lower_90_g = serializers.FloatField()
    lower_50_g = serializers.FloatField()
    upper_50_g = serializers.FloatField()
    upper_90_g = serializers.FloatField()
    chance_of_less = serializers.FloatField()
    in_words = serializers.CharField()


class SeasonSerializer(OutputSerializer):
    """A year of one's own."""

    year = serializers.IntegerField()
    sessions = serializers.IntegerField()
    rod_hours = serializers.FloatField()
    weight_g = serializers.IntegerField()
    blanks = serializers.IntegerField()
    did_not_weigh = serializers.IntegerField()
    beside = BesideSerializer(allow_null=True)


class BestSerializer(OutputSerializer):
    """A best of one's own, and when and where it was."""

    of = serializers.CharField(help_text="The species, or 'session'.")
    weight_g = serializers.IntegerField()
    lb_oz = serializers.CharField()
    fished_on = serializers.DateField()
    water = serializers.CharField()


class NoExpectationSerializer(OutputSerializer):
    """Why nothing stands beside the catch."""

    code = serializers.CharField()
    reason = serializers.CharField()


class OwnNumbersSerializer(OutputSerializer):
    """Seasons, bests, and one's own catch beside what the club's returns lead one to expect."""

    seasons = SeasonSerializer(many=True)
    best_session = BestSerializer(allow_null=True)
    biggest_fish = BestSerializer(many=True)
    best_catches = BestSerializer(many=True)
    no_answer = NoExpectationSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
