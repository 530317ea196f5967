"""Weather without typing: what nobody typed of a return's conditions, filled in by whoever knows, and marked.

A provider is anything that knows the weather of a place over some hours: the club's own station, or an open
forecast service. Providers are asked by a job, never while a return is handed in, so that none can lose one.
"""

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final, Protocol
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet

from clubdata.models import Club, Conditions, Job, JobKind, Outcome, Return, Role, WeatherReading
from clubdata.rules.sky import sky_for
from clubdata.rules.weather import MEASURED, Reading, Weather, weather_of
from clubdata.services import jobs
from clubdata.services.forecasts import ForecastService
from clubdata.services.members import Membership
from clubdata.services.waters import zone_of

logger = logging.getLogger(__name__)

KEEPS_READINGS: Final = frozenset({Role.ORGANISER, Role.ANALYST, Role.SECRETARY})
#: So long after the day a return is still looked at: later its weather is asked for by an upload alone.
LOOKED_BACK: Final = timedelta(days=60)
MOST_AT_ONCE: Final = 2_000


@dataclass(frozen=True, slots=True)
class Span:
    """A place and some hours there; aware datetimes."""

    latitude: float
    longitude: float
    begins: datetime
    ends: datetime


class Provider(Protocol):
    """Knows the weather of a span, or does not. `name` is shown beside what it filled."""

    @property
    def name(self) -> str: ...

    def weather(self, span: Span) -> Weather | None:
        """None where it knows nothing. Raises `OSError` or `ValueError` when it cannot be asked."""


class Station:
    """The club's own readings: those within the span, else the one nearest to it within an hour."""

    name = "the club's weather station"

    def __init__(self, club: Club) -> None:
        self._rows = WeatherReading.objects.filter(club=club)

    def weather(self, span: Span) -> Weather | None:
        hour = timedelta(hours=1)
        near = self._rows.filter(read_at__gte=span.begins - hour, read_at__lte=span.ends + hour)
        readings = [_reading(row) for row in near.order_by("read_at")]
        within = [one for one in readings if span.begins <= one.read_at <= span.ends]
        return weather_of(within or readings) if readings else None


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


def request_weather(*, club: Club, since: datetime, now: datetime) -> Job:
    """Queue the filling of what was fished since then."""
    waiting = Job.objects.filter(club=club, kind=JobKind.WEATHER, state="queued").first()
    payload = {"since": since.isoformat()}
    return waiting or jobs.request_job(club=club, kind=JobKind.WEATHER, payload=payload, actor=None, now=now)


def request_weather_everywhere(*, now: datetime) -> list[Job]:
    """Queue it for every club that has somebody to ask and a late return whose wind nobody has told."""
    since = now - LOOKED_BACK
    clubs = [club for club in Club.objects.order_by("pk") if providers_for(club)]
    return [
        request_weather(club=club, since=since, now=now)
        for club in clubs
        if _wanting(club, since).filter(entered_at__gt=_last_asked(club)).exists()
    ]


def _last_asked(club: Club) -> datetime:
    last = Job.objects.filter(club=club, kind=JobKind.WEATHER).order_by("-pk").first()
    return datetime.min.replace(tzinfo=UTC) if last is None else last.created_at


def run_weather(*, claim: jobs.Claim, clock: Callable[[], datetime]) -> None:
    """A weather job, from the claim to its end."""
    job = Job.objects.select_related("club").get(pk=claim.job_id)
    since = datetime.fromisoformat(job.payload["since"])
    sessions = list(_wanting(job.club, since)[:MOST_AT_ONCE])
    providers = providers_for(job.club)
    filled, failed = 0, 0
    for done, session in enumerate(sessions):
        if done % 50 == 0:
            jobs.beat(claim=claim, now=clock(), done=done, total=len(sessions), step="asking")
        found, trouble = _ask(session, providers)
        failed += trouble
        filled += any(fill(session=session, weather=weather, said_by=name) for name, weather in found)
    with transaction.atomic():
        jobs.hold(claim=claim)
        if filled:
            job.club.raise_revision()
        result = {"looked_at": len(sessions), "filled": filled, "not_answered": failed}
        jobs.finish(claim=claim, now=clock(), result=result)


def _wanting(club: Club, since: datetime) -> QuerySet[Return]:
    fished = Return.objects.filter(club=club, fished_on__gte=since.date())
    fished = fished.exclude(outcome=Outcome.DID_NOT_FISH)
    return (
        fished.filter(conditions__wind_force__isnull=True)
        .select_related("water__club", "conditions")
        .order_by("-fished_on", "-pk")
    )


def _ask(session: Return, providers: Sequence[Provider]) -> tuple[list[tuple[str, Weather]], bool]:
    """What each of them says, and whether one could not be asked."""
    found, trouble = [], False
    span = span_of(session)
    for provider in providers:
        try:
            weather = provider.weather(span)
        except (OSError, ValueError) as fault:
            logger.warning("weather not told: %s", type(fault).__name__)
            trouble = True
            continue
        if weather is not None:
            found.append((provider.name, weather))
    return found, trouble


def span_of(session: Return) -> Span:
    """The session's hours; without a start the day's light, without light the whole day."""
    water, named = session.water, zone_of(session.water)
    zone = ZoneInfo(named)
    latitude, longitude = float(water.latitude), float(water.longitude)
    if session.started_at is not None and session.hours is not None:
        begins = datetime.combine(session.fished_on, session.started_at, zone)
        return Span(latitude, longitude, begins, begins + timedelta(hours=float(session.hours)))
    sky = sky_for(latitude=latitude, longitude=longitude, on=session.fished_on, time_zone=named)
    midnight = datetime.combine(session.fished_on, time(), zone)
    begins = sky.sunrise or midnight
    return Span(latitude, longitude, begins, sky.sunset or midnight + timedelta(days=1))


def fill(*, session: Return, weather: Weather, said_by: str) -> bool:
    """Fill what is not known of the session's conditions, and mark it; whether anything was filled.

    What was typed, or filled before, stays.
    """
    with transaction.atomic():
        row, _ = Conditions.objects.select_for_update().get_or_create(
            session=session, defaults={"club_id": session.club_id}
        )
        news = {
            name: value
            for name, value in asdict(weather).items()
            if value is not None and getattr(row, name) is None
        }
        for name, value in news.items():
            setattr(row, name, Decimal(str(value)) if isinstance(value, float) else value)
        if news:
            row.filled = sorted({*row.filled, *news})
            row.filled_from = said_by[:60]
            row.save()
    return bool(news)


def still_filled(before: Conditions | None, columns: dict[str, Any]) -> dict[str, Any]:
    """The marks of filled values that an amendment leaves as they were."""
    if before is None:
        return {}
    kept = [name for name in before.filled if columns.get(name) == getattr(before, name)]
    return {"filled": kept, "filled_from": before.filled_from if kept else ""}
