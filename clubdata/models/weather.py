"""What a club's own weather station wrote down."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord


class WeatherReading(ClubRecord):
    """One reading of one station. Rain is that of the hour up to `read_at`."""

    station = models.CharField(max_length=40)
    read_at = models.DateTimeField()
    air_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    wind_m_s = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    wind_from_degrees = models.PositiveSmallIntegerField(null=True, blank=True)
    cloud_oktas = models.PositiveSmallIntegerField(null=True, blank=True)
    pressure_hpa = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    rain_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)

    class Meta:
        ordering = ["-read_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["club", "station", "read_at"], name="weather_reading_once_a_station_and_time"
            ),
            models.CheckConstraint(
                condition=Q(wind_from_degrees__isnull=True) | Q(wind_from_degrees__lt=360),
                name="weather_reading_wind_direction_in_circle",
            ),
            models.CheckConstraint(
                condition=Q(wind_m_s__isnull=True) | Q(wind_m_s__gte=0),
                name="weather_reading_wind_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(cloud_oktas__isnull=True) | Q(cloud_oktas__lte=8),
                name="weather_reading_cloud_in_oktas",
            ),
        ]
