"""A weather station's readings."""

from rest_framework import serializers

from api.serializers.shapes import OutputSerializer, StrictSerializer


class ReadingsFileSerializer(StrictSerializer):
    """A station's file, and what the station is called."""

    file = serializers.FileField(help_text="CSV: read_at, then any of the measured columns.")
    station = serializers.CharField(max_length=40)


class KeptReadingsSerializer(OutputSerializer):
    """How many readings the file has, and how many of them were new."""

    read = serializers.IntegerField()
    kept = serializers.IntegerField()


class WeatherReadingSerializer(OutputSerializer):
    """A reading; rain is of the hour up to it."""

    uid = serializers.UUIDField()
    station = serializers.CharField()
    read_at = serializers.DateTimeField()
    air_temperature_c = serializers.FloatField(allow_null=True)
    wind_m_s = serializers.FloatField(allow_null=True)
    wind_from_degrees = serializers.IntegerField(allow_null=True)
    cloud_oktas = serializers.IntegerField(allow_null=True)
    pressure_hpa = serializers.FloatField(allow_null=True)
    rain_mm = serializers.FloatField(allow_null=True)
