"""Readings of a club's own weather station."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, SameClub
from clubdata.models.waters import Water


class WeatherReading(ClubRecord):
    """What the station read at a moment; without a water it serves all of the club's waters."""

    water = models.ForeignKey(Water, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    air_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    water_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    wind_mean_ms = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    wind_from_degrees = models.PositiveSmallIntegerField(null=True, blank=True)
    cloud_oktas = models.PositiveSmallIntegerField(null=True, blank=True)
    pressure_hpa = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    rain_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(fields=["club", "at"], name="weather_reading_by_moment")]
        constraints = [
            SameClub(field="water", name="weather_reading_same_club_water"),
            models.UniqueConstraint(fields=["club", "water", "at"], name="weather_reading_once_a_moment"),
            models.UniqueConstraint(
                fields=["club", "at"],
                condition=Q(water__isnull=True),
                name="weather_reading_of_all_waters_once",
            ),
            models.CheckConstraint(
                condition=Q(wind_from_degrees__isnull=True) | Q(wind_from_degrees__lt=360),
                name="weather_reading_direction_in_circle",
            ),
            models.CheckConstraint(
                condition=Q(cloud_oktas__isnull=True) | Q(cloud_oktas__lte=8),
                name="weather_reading_cloud_in_oktas",
            ),
        ]
