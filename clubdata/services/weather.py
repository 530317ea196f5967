"""Weather without typing: what nobody typed of a return's conditions, filled in by whoever knows, and marked.

A provider is anything that knows the weather of a place over some hours: the club's own station, or an open
forecast service. Providers are asked by a job (`clubdata.services.weather_jobs`), never while a return is
handed in, so that none can lose one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final, Protocol
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet

from clubdata.models import Club, Conditions, Return, Role, WeatherReading
from clubdata.rules.sky import sky_for
from clubdata.rules.weather import MEASURED, Reading, Weather, weather_of
from clubdata.services.draft_parts import CONDITION_BOUNDS
from clubdata.services.drafts import Draft
from clubdata.services.forecasts import ForecastService
from clubdata.services.members import Membership
from clubdata.services.waters import zone_of

KEEPS_READINGS: Final = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
#: What a provider can tell of a return's conditions.
FILLABLE: Final = tuple(item.name for item in fields(Weather))


@dataclass(frozen=True, slots=True)
class Span:
    """A place and a time there, between two moments in UTC; of which so many hours were fished, if known."""

    latitude: float
    longitude: float
    begins: datetime
    ends: datetime
    hours_fished: float | None = None


class Provider(Protocol):
    """Knows the weather of a span, or does not. `name` is shown beside what it filled."""

    @property
    def name(self) -> str: ...

    def weather(self, span: Span) -> Weather | None:
        """None where it knows nothing. Raises `OSError` or `ValueError` when it cannot be asked."""


class Station:
    """The club's own readings, of all its stations."""

    name = "the club's weather station"

    def __init__(self, club: Club) -> None:
        self._rows = WeatherReading.objects.filter(club=club)

    def weather(self, span: Span) -> Weather | None:
        hour = timedelta(hours=1)
        near = self._rows.filter(read_at__gte=span.begins - hour, read_at__lte=span.ends + hour)
        readings = [_reading(row) for row in near.order_by("read_at")]
        return weather_within(span, readings) if readings else None


def weather_within(span: Span, readings: Sequence[Reading]) -> Weather:
    """The weather of a span from readings in and about it."""
    return weather_of(readings, begins=span.begins, ends=span.ends, hours_fished=span.hours_fished)


def _reading(row: WeatherReading) -> Reading:
    known = {name: getattr(row, name) for name in MEASURED}
    return Reading(row.read_at, **{name: None if v is None else float(v) for name, v in known.items()})


def providers_for(club: Club) -> list[Provider]:
    """Whom to ask, the club's own station first."""
    found: list[Provider] = []
    if WeatherReading.objects.filter(club=club).exists():
        found.append(Station(club))
    if settings.FORECAST_URL:
        found.append(ForecastService(settings.FORECAST_URL))
    return found


# --- Readings ---------------------------------------------------------------------------------------------


def keep_readings(*, who: Membership, station: str, readings: Iterable[Reading]) -> int:
    """Keep a station's readings, all of them; how many were new. Known times stay as they are."""
    who.require(KEEPS_READINGS, "keep weather readings")
    mine = WeatherReading.objects.filter(club=who.club)
    rows = [WeatherReading(club=who.club, station=station, **_columns(one)) for one in readings]
    with transaction.atomic():
        before = mine.count()
        WeatherReading.objects.bulk_create(rows, ignore_conflicts=True, batch_size=2_000)
        return mine.count() - before


def _columns(reading: Reading) -> dict[str, Any]:
    columns = asdict(reading)
    if reading.wind_from_degrees is not None:
        columns["wind_from_degrees"] = round(reading.wind_from_degrees) % 360
    if reading.cloud_oktas is not None:
        columns["cloud_oktas"] = round(reading.cloud_oktas)
    return columns


def kept_readings(who: Membership) -> QuerySet[WeatherReading]:
    """The club's readings, for those who keep them."""
    who.require(KEEPS_READINGS, "look into weather readings")
    rows: QuerySet[WeatherReading] = WeatherReading.objects.visible_to(who.account)
    return rows.filter(club=who.club)


# --- Filling ----------------------------------------------------------------------------------------------


def span_of(session: Return) -> Span:
    """The session's hours; without a start the day's light, without light the whole day."""
    water, named = session.water, zone_of(session.water)
    zone = ZoneInfo(named)
    place = (float(water.latitude), float(water.longitude))
    hours = None if session.hours is None else float(session.hours)
    if session.started_at is not None and hours is not None:
        # Hours are counted in UTC: a clock that is put back does not make a session longer.
        begins = datetime.combine(session.fished_on, session.started_at, zone).astimezone(UTC)
        return Span(*place, begins, begins + timedelta(hours=hours), hours)
    sky = sky_for(latitude=place[0], longitude=place[1], on=session.fished_on, time_zone=named)
    midnight = datetime.combine(session.fished_on, time(), zone)
    begins, ends = sky.sunrise or midnight, sky.sunset or midnight + timedelta(days=1)
    return Span(*place, begins.astimezone(UTC), ends.astimezone(UTC), hours)


def lacking(day: Conditions | None) -> set[str]:
    """What there is left to fill."""
    return {name for name in FILLABLE if day is None or getattr(day, name) is None}


def fill(*, session: Return, weather: Weather, said_by: str) -> bool:
    """Fill what is not known of the session's conditions, and mark it; whether anything was filled.

    What was typed, or filled before, stays. A return that was removed or amended since it was read is left.
    """
    with transaction.atomic():
        stands = Return.objects.select_for_update(of=("self",)).filter(pk=session.pk).first()
        if stands is None or stands.version != session.version:
            return False
        row = Conditions.objects.filter(session=stands).first()
        row = row or Conditions(club_id=stands.club_id, session=stands)
        news = {
            name: value
            for name, value in asdict(weather).items()
            if value is not None and getattr(row, name) is None and _may_be_held(name, value)
        }
        for name, value in news.items():
            setattr(row, name, Decimal(str(value)) if isinstance(value, float) else value)
        if news:
            row.filled = sorted({*row.filled, *news})
            row.filled_from = _sources(row.filled_from, said_by)
            row.save()
    return bool(news)


def _may_be_held(name: str, value: float) -> bool:
    """As if somebody typed it: beyond the bounds no later amendment of the return would be taken."""
    least, most = CONDITION_BOUNDS[name]
    return least <= value <= most


def _sources(before: str, said_by: str) -> str:
    known = before.split(" and ") if before else []
    return " and ".join(dict.fromkeys([*known, said_by]))[:60]


#: Of a return: where one of these changes, what was filled is of another place or time.
_PLACE_AND_TIME: Final = ("water_id", "fished_on", "started_at", "hours")


def conditions_after(session: Return, before: Conditions | None, made: Draft) -> dict[str, Any] | None:
    """The columns of the conditions that an amendment of `session` leaves, with the marks of what is filled.

    What was filled stays, marked, unless something else is typed: the amendment may have waited since before
    it was filled. When the session moves, it goes and is asked for anew. None when nothing is known.
    """
    columns = dict(made.conditions or {})
    filled = {} if before is None else {name: getattr(before, name) for name in before.filled}
    left = {name: value for name, value in filled.items() if columns.get(name) in (None, value)}
    if any(
        made.session.get(name, getattr(session, name)) != getattr(session, name) for name in _PLACE_AND_TIME
    ):
        columns.update(dict.fromkeys(left))
        left = {}
    columns.update(left)
    if all(value in (None, "") for value in columns.values()):
        return None
    source = before.filled_from if before is not None and left else ""
    return {**columns, "filled": list(left), "filled_from": source}
