"""The weather of a session from hourly readings: means over its hours, the rain summed."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Final

from clubdata.rules.wind import beaufort_from_metres_per_second


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read at one time; None where it was not. Rain is of the hour up to `read_at`."""

    read_at: datetime
    air_temperature_c: float | None = None
    wind_m_s: float | None = None
    wind_from_degrees: float | None = None
    cloud_oktas: float | None = None
    pressure_hpa: float | None = None
    rain_mm: float | None = None


#: What a reading can be: beyond it is a fault of the instrument or of the file.
PLAUSIBLE: Final = {
    "air_temperature_c": (-40.0, 50.0),
    "wind_m_s": (0.0, 75.0),
    "wind_from_degrees": (0.0, 360.0),
    "cloud_oktas": (0.0, 8.0),
    "pressure_hpa": (850.0, 1100.0),
    "rain_mm": (0.0, 300.0),
}
MEASURED: Final = tuple(item.name for item in fields(Reading) if item.name != "read_at")


@dataclass(frozen=True, slots=True)
class Weather:
    """A session's weather in the units of a return's conditions; None where nothing was read."""

    air_temperature_c: float | None = None
    wind_force: int | None = None
    wind_from_degrees: int | None = None
    cloud_oktas: int | None = None
    pressure_hpa: float | None = None
    rain_mm: float | None = None


def weather_of(readings: Sequence[Reading]) -> Weather:
    """Means over the readings. Wind blows from the direction of the mean of its vectors."""
    speed = _mean(one.wind_m_s for one in readings)
    cloud, rain = (
        _mean(one.cloud_oktas for one in readings),
        [one.rain_mm for one in readings if one.rain_mm is not None],
    )
    return Weather(
        air_temperature_c=_to_tenths(_mean(one.air_temperature_c for one in readings)),
        wind_force=None if speed is None else beaufort_from_metres_per_second(speed),
        wind_from_degrees=_direction(readings),
        cloud_oktas=None if cloud is None else math.floor(cloud + 0.5),
        pressure_hpa=_to_tenths(_mean(one.pressure_hpa for one in readings)),
        rain_mm=_to_tenths(math.fsum(rain)) if rain else None,
    )


def _mean(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) / len(known) if known else None


def _to_tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _direction(readings: Sequence[Reading]) -> int | None:
    """None when nothing blew, or from everywhere."""
    known = [
        (one.wind_from_degrees, 1.0 if one.wind_m_s is None else one.wind_m_s)
        for one in readings
        if one.wind_from_degrees is not None
    ]
    east = math.fsum(speed * math.sin(math.radians(degrees)) for degrees, speed in known)
    north = math.fsum(speed * math.cos(math.radians(degrees)) for degrees, speed in known)
    if math.hypot(east, north) < 1e-6:
        return None
    return round(math.degrees(math.atan2(east, north))) % 360
