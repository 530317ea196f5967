"""Sun and Moon of a day at a water, computed and not asked of the member.

Sunrise and sunset are the moments at which the Sun's centre stands 50 minutes of arc below a level horizon:
34 for refraction, 16 for the Sun's half-width (United States Naval Observatory's definition).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

import ephem


class MoonPhase(StrEnum):
    """The Moon on a day: a principal phase on the local date on which it falls, else the stretch between."""

    NEW = "new"
    WAXING_CRESCENT = "waxing crescent"
    FIRST_QUARTER = "first quarter"
    WAXING_GIBBOUS = "waxing gibbous"
    FULL = "full"
    WANING_GIBBOUS = "waning gibbous"
    LAST_QUARTER = "last quarter"
    WANING_CRESCENT = "waning crescent"


PRINCIPAL_PHASES: Final = (MoonPhase.NEW, MoonPhase.FIRST_QUARTER, MoonPhase.FULL, MoonPhase.LAST_QUARTER)
_BETWEEN: Final = (
    MoonPhase.WAXING_CRESCENT,
    MoonPhase.WAXING_GIBBOUS,
    MoonPhase.WANING_GIBBOUS,
    MoonPhase.WANING_CRESCENT,
)
_CIRCLE: Final = 2 * math.pi
_QUARTER: Final = math.pi / 2
_MEAN_LUNATION_DAYS: Final = 29.530588
_HORIZON: Final = "-0:50"
_ONE_HOUR_IN_DAYS: Final = 1 / 24


@dataclass(frozen=True, slots=True)
class Sky:
    """Sun and Moon of one local date at one place.

    `sunrise` and `sunset` are aware UTC datetimes, the first of each within the local date, or None where
    there is none, as in polar day and night. `day_length_hours` is the time within the local date for
    which the Sun is up. The Moon's illuminated fraction (0 to 1) and its age in days since the last new
    moon are those of local noon.
    """

    sunrise: datetime | None
    sunset: datetime | None
    day_length_hours: float
    moon_phase: MoonPhase
    moon_illuminated_fraction: float
    moon_age_days: float


@lru_cache(maxsize=4096)
def sky_for(*, latitude: float, longitude: float, on: date, time_zone: str) -> Sky:
    """Sun and Moon of the local date `on` at a place in degrees, north and east positive.

    Raises `ValueError` for a place that is not on the globe and `zoneinfo.ZoneInfoNotFoundError` for a
    time zone that is not in the tz database.
    """
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError("latitude goes from -90 to 90 degrees, longitude from -180 to 180")
    zone = ZoneInfo(time_zone)
    start = _instant(on, time.min, zone)
    end = _instant(on + timedelta(days=1), time.min, zone)
    noon = _instant(on, time(12), zone)
    changes = list(_sun_changes(_observer(latitude, longitude), start, end))
    return Sky(
        sunrise=next((_to_the_second(moment) for moment, rises in changes if rises), None),
        sunset=next((_to_the_second(moment) for moment, rises in changes if not rises), None),
        day_length_hours=round(_hours_of_sun(_observer(latitude, longitude), changes, start, end), 2),
        moon_phase=_phase_between(start, end),
        moon_illuminated_fraction=round(float(ephem.Moon(_number(noon)).phase) / 100, 3),
        moon_age_days=round((noon - previous_moon_phase(MoonPhase.NEW, noon)) / timedelta(days=1), 2),
    )


def next_moon_phase(phase: MoonPhase, after: datetime) -> datetime:
    """The first instant (UTC) of a principal phase after an aware datetime."""
    return _phase_instant(phase, after, direction=1)


def previous_moon_phase(phase: MoonPhase, before: datetime) -> datetime:
    """The last instant (UTC) of a principal phase before an aware datetime."""
    return _phase_instant(phase, before, direction=-1)


def _instant(on: date, at: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(on, at, tzinfo=zone).astimezone(UTC)


def _to_the_second(moment: datetime) -> datetime:
    """No bank side sees the Sun rise more exactly, refraction being what it is."""
    return (moment + timedelta(milliseconds=500)).replace(microsecond=0)


def _number(moment: datetime) -> float:
    """An instant as the library counts it: days since noon of the last day of 1899."""
    return float(ephem.Date(moment.astimezone(UTC).replace(tzinfo=None)))


def _moment(number: float) -> datetime:
    whole: datetime = ephem.Date(number).datetime()
    return whole.replace(tzinfo=UTC)


def _observer(latitude: float, longitude: float) -> ephem.Observer:
    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(latitude), math.radians(longitude)
    # Refraction is in the horizon's angle already; air pressure would count it twice.
    observer.horizon, observer.pressure = _HORIZON, 0
    return observer


def _sun_changes(observer: ephem.Observer, start: datetime, end: datetime) -> Iterator[tuple[datetime, bool]]:
    """The Sun's risings (True) and settings (False) from start to end, in order."""
    found = []
    for rises, search in ((True, observer.next_rising), (False, observer.next_setting)):
        moment = start
        while True:
            try:
                moment = _moment(search(ephem.Sun(), start=_number(moment), use_center=True))
            except ephem.CircumpolarError:
                break
            if moment >= end:
                break
            found.append((moment, rises))
            moment += timedelta(minutes=1)
    yield from sorted(found)


def _hours_of_sun(
    observer: ephem.Observer, changes: list[tuple[datetime, bool]], start: datetime, end: datetime
) -> float:
    if not changes:
        observer.date = _number(start + (end - start) / 2)
        is_up = ephem.Sun(observer).alt > observer.horizon
        return (end - start) / timedelta(hours=1) if is_up else 0.0
    up, since = timedelta(), start
    for moment, rises in changes:
        if not rises:
            up += moment - since
        since = moment
    if changes[-1][1]:
        up += end - since
    return up / timedelta(hours=1)


def _elongation(number: float) -> float:
    """How far the Moon stands east of the Sun along the ecliptic, 0 to 2π, seen from the Earth's centre.

    Makes its own bodies at each call: the library's search for phases shares two between all threads.
    """
    longitudes = []
    for body in (ephem.Moon(number), ephem.Sun(number)):
        place = ephem.Equatorial(body.g_ra, body.g_dec, epoch=number)
        longitudes.append(float(ephem.Ecliptic(place, epoch=number).lon))
    return (longitudes[0] - longitudes[1]) % _CIRCLE


def _phase_between(start: datetime, end: datetime) -> MoonPhase:
    first, last = (int(_elongation(_number(moment)) // _QUARTER) % 4 for moment in (start, end))
    return _BETWEEN[first] if first == last else PRINCIPAL_PHASES[last]


def _phase_instant(phase: MoonPhase, moment: datetime, *, direction: int) -> datetime:
    if phase not in PRINCIPAL_PHASES:
        raise ValueError("only new, first quarter, full and last quarter have an instant")
    target = PRINCIPAL_PHASES.index(phase) * _QUARTER
    start = _number(moment)
    to_cover = direction * (target - _elongation(start)) % _CIRCLE
    guess = start + direction * _MEAN_LUNATION_DAYS * to_cover / _CIRCLE

    def distance(number: float) -> float:
        return (_elongation(number) - target + math.pi) % _CIRCLE - math.pi

    return _moment(ephem.newton(distance, guess, guess + _ONE_HOUR_IN_DAYS))
