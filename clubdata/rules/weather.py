"""The weather of a session from readings: means over its hours, each reading for the time it stands for.

What was read at a time stands for the half hour to either side, rain for the hour before; where readings lie
closer, each for its part. Less than half of the session known is not known (common practice, no source).
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from itertools import pairwise
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


#: Hours before and after its time for which a reading stands.
_STANDS_FOR: Final = (0.5, 0.5)
_RAIN_STANDS_FOR: Final = (1.0, 0.0)
#: So much of the session must be known.
LEAST_KNOWN: Final = 0.5

#: Values of readings, and for how many hours of the session each stands.
Weighted = list[tuple[Reading, float]]


def weather_of(
    readings: Sequence[Reading], *, begins: datetime, ends: datetime, hours_fished: float | None = None
) -> Weather:
    """The weather between two moments (aware). Wind blows from the direction of the mean of its vectors.

    Rain is its mean per hour times the hours fished; without these the hours between the moments.
    """
    known = {name: _weighted(readings, name, begins, ends) for name in MEASURED}
    length = _hours(ends) - _hours(begins)
    wind, cloud = _mean(known, "wind_m_s"), _mean(known, "cloud_oktas")
    rain = _mean(known, "rain_mm")
    return Weather(
        air_temperature_c=_to_tenths(_mean(known, "air_temperature_c")),
        wind_force=None if wind is None else beaufort_from_metres_per_second(wind),
        wind_from_degrees=_direction(known["wind_from_degrees"]),
        cloud_oktas=None if cloud is None else math.floor(cloud + 0.5),
        pressure_hpa=_to_tenths(_mean(known, "pressure_hpa")),
        rain_mm=_to_tenths(
            None if rain is None else rain * (length if hours_fished is None else hours_fished)
        ),
    )


def _hours(moment: datetime) -> float:
    return moment.astimezone(UTC).timestamp() / 3600.0


def _weighted(readings: Sequence[Reading], name: str, begins: datetime, ends: datetime) -> Weighted:
    """The readings of one value with their hours of the session; none where too little is known."""
    told = [(_hours(one.read_at), one) for one in readings if getattr(one, name) is not None]
    at_once = Counter(time for time, _ in told)
    times = sorted(at_once)
    shares = dict(zip(times, _shares(times, name, _hours(begins), _hours(ends)), strict=True))
    if math.fsum(shares.values()) < LEAST_KNOWN * (_hours(ends) - _hours(begins)):
        return []
    return [(one, shares[time] / at_once[time]) for time, one in told]


def _shares(times: list[float], name: str, begins: float, ends: float) -> list[float]:
    """For how many hours between `begins` and `ends` each time stands, (t,)."""
    before, after = _RAIN_STANDS_FOR if name == "rain_mm" else _STANDS_FOR
    lower, upper = [time - before for time in times], [time + after for time in times]
    for place, (earlier, later) in enumerate(pairwise(times)):
        border = earlier + (later - earlier) * after / (before + after)
        upper[place] = min(upper[place], border)
        lower[place + 1] = max(lower[place + 1], border)
    return [max(0.0, min(high, ends) - max(low, begins)) for low, high in zip(lower, upper, strict=True)]


def _mean(known: dict[str, Weighted], name: str) -> float | None:
    hours = math.fsum(share for _, share in known[name])
    if hours <= 0.0:
        return None
    return math.fsum(getattr(one, name) * share for one, share in known[name]) / hours


def _to_tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _direction(known: Weighted) -> int | None:
    """None when nothing blew, or from everywhere."""
    blown = [
        (math.radians(one.wind_from_degrees), share * (1.0 if one.wind_m_s is None else one.wind_m_s))
        for one, share in known
        if one.wind_from_degrees is not None
    ]
    east = math.fsum(speed * math.sin(angle) for angle, speed in blown)
    north = math.fsum(speed * math.cos(angle) for angle, speed in blown)
    if math.hypot(east, north) < 1e-6:
        return None
    return round(math.degrees(math.atan2(east, north))) % 360
