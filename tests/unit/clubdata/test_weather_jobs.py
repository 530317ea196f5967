"""Jobs that fill in the weather: what they ask about, in what steps, and when they ask again."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from decimal import Decimal
from typing import Any

import pytest

from clubdata.models import Conditions, Job, JobKind, Return, WeatherReading
from clubdata.rules.weather import Weather
from clubdata.services import jobs, weather_jobs
from clubdata.services.weather import Span
from clubdata.services.weather_jobs import request_weather, request_weather_everywhere, run_weather
from tests.factories import NOW, SmallClub, make_return

pytestmark = pytest.mark.django_db
DAY = date(2024, 6, 1)
TEN = datetime(2024, 6, 1, 9, tzinfo=UTC)  # ten in the morning at the mere


@pytest.fixture
def session(heron_small: SmallClub) -> Return:
    made = make_return(heron_small.member, heron_small.pegs["1"], fished_on=DAY, started_at=clock_time(10))
    return Return.objects.select_related("water__club").get(pk=made.pk)


def read(small: SmallClub, hour: int, **values: Any) -> WeatherReading:
    read_at = TEN + timedelta(hours=hour)
    return WeatherReading.objects.create(club=small.club, station="boathouse", read_at=read_at, **values)


class Said:
    """A provider that says one thing; `at` is what happens when it is asked for so many a time."""

    def __init__(self, name: str, says: Weather | Exception) -> None:
        self.name, self.says, self.asked = name, says, 0
        self.at: dict[int, Callable[[], Any]] = {}

    def weather(self, span: Span) -> Weather:
        self.asked += 1
        self.at.get(self.asked, int)()
        if isinstance(self.says, Exception):
            raise self.says
        return self.says


def run(
    small: SmallClub,
    now: datetime = NOW,
    since: datetime = NOW - timedelta(days=60),
    job: Job | None = None,
) -> Job:
    job = job or request_weather(club=small.club, since=since, now=now)
    claim = jobs.claim(job_id=job.pk, now=now)
    assert claim is not None
    run_weather(claim=claim, clock=lambda: now)
    job.refresh_from_db()
    return job


def test_the_clubs_own_station_fills_the_hours_of_the_session(
    heron_small: SmallClub, session: Return
) -> None:
    for hour, celsius in [(-3, 5), (1, 14), (2, 16), (3, 16), (4, 18), (9, 30)]:
        read(heron_small, hour, air_temperature_c=celsius, wind_m_s=4)
    before = heron_small.club.revision
    job = run(heron_small)
    assert job.result == {"looked_at": 1, "filled": 1, "not_answered": 0, "ask_again_from": None}
    kept = Conditions.objects.get(session=session)
    assert (float(kept.air_temperature_c), kept.wind_force) == (16.0, 3)
    assert kept.filled == ["air_temperature_c", "wind_force"]
    assert kept.filled_from == "the club's weather station"
    heron_small.club.refresh_from_db()
    assert heron_small.club.revision == before + 1


def test_what_was_typed_stays_and_is_not_marked(heron_small: SmallClub, session: Return) -> None:
    Conditions.objects.create(club=heron_small.club, session=session, air_temperature_c=Decimal(9))
    for hour in range(6):
        read(heron_small, hour, air_temperature_c=20, wind_m_s=9)
    run(heron_small)
    kept = Conditions.objects.get(session=session)
    assert (kept.air_temperature_c, kept.wind_force, kept.filled) == (Decimal(9), 5, ["wind_force"])


def test_a_second_provider_fills_what_the_first_did_not_know(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = (
        Said("the first", Weather(wind_force=3)),
        Said("the second", Weather(wind_force=9, rain_mm=1.5)),
    )
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [first, second])
    run(heron_small)
    kept = Conditions.objects.get(session=session)
    assert (kept.wind_force, kept.rain_mm, kept.filled_from) == (
        3,
        Decimal("1.5"),
        "the first and the second",
    )


def test_what_the_second_alone_knew_makes_a_fit_stale(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    both = [Said("the first", Weather()), Said("the second", Weather(wind_force=9))]
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: both)
    before = heron_small.club.revision
    assert run(heron_small).result["filled"] == 1
    assert Conditions.objects.get(session=session).filled_from == "the second"
    heron_small.club.refresh_from_db()
    assert heron_small.club.revision == before + 1


def test_a_typed_wind_leaves_the_rest_to_be_filled(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    Conditions.objects.create(club=heron_small.club, session=session, wind_force=2)
    monkeypatch.setattr(
        weather_jobs, "providers_for", lambda club: [Said("one", Weather(10.0, 5, 90, 4, 1000.0, 0.0))]
    )
    run(heron_small)
    kept = Conditions.objects.get(session=session)
    assert (kept.wind_force, kept.cloud_oktas) == (2, 4) and "wind_force" not in kept.filled


def test_a_session_that_is_not_over_is_asked_about_later(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    sayer = Said("one", Weather(wind_force=3))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [sayer])
    job = run(heron_small, now=TEN + timedelta(hours=1))
    assert (job.result["filled"], job.result["ask_again_from"], sayer.asked) == (0, "2024-06-01", 0)
    (again,) = request_weather_everywhere(now=NOW)
    assert again.pk != job.pk


def test_a_provider_that_fails_is_left_alone_after_three_times(
    heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in range(1, 9):
        make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 6, day))
    dead, alive = Said("dead", OSError("no route")), Said("alive", Weather(wind_force=1))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [dead, alive])
    job = run(heron_small)
    assert (dead.asked, alive.asked) == (3, 8)
    assert (job.result["filled"], job.result["not_answered"]) == (8, 8)


def test_a_worker_that_is_lost_leaves_whole_steps_with_their_revision(
    heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in range(1, 6):
        make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 6, day))
    monkeypatch.setattr(weather_jobs, "AT_ONCE", 2)
    taken_from = Said("one", Weather(wind_force=1))
    taken_from.at[3] = lambda: Job.objects.update(attempt=9)
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [taken_from])
    before = heron_small.club.revision
    with pytest.raises(jobs.LeaseLost):
        run(heron_small)
    assert Conditions.objects.filter(wind_force=1).count() == 2
    heron_small.club.refresh_from_db()
    assert heron_small.club.revision == before + 1


def test_a_waiting_job_is_made_to_reach_back_further(heron_small: SmallClub) -> None:
    late = request_weather(club=heron_small.club, since=NOW - timedelta(days=3), now=NOW)
    early = request_weather(club=heron_small.club, since=NOW - timedelta(days=900), now=NOW)
    assert early.pk == late.pk
    assert early.payload["since"] == (NOW - timedelta(days=900)).isoformat()
    assert request_weather(club=heron_small.club, since=NOW, now=NOW).payload == early.payload


def test_the_schedule_asks_where_there_is_somebody_to_ask_and_something_new(
    heron_small: SmallClub, session: Return
) -> None:
    assert request_weather_everywhere(now=NOW) == []
    read(heron_small, 1, wind_m_s=2)
    (job,) = request_weather_everywhere(now=NOW)
    assert job.kind == JobKind.WEATHER
    Job.objects.filter(pk=job.pk).update(state="finished", finished_at=NOW, created_at=NOW)
    assert request_weather_everywhere(now=NOW) == [], "what nobody could tell is not asked for every hour"


def test_a_provider_that_cannot_be_asked_loses_no_return_and_the_job_says_so(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = Said("broken", ValueError("no answer"))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [broken])
    job = run(heron_small)
    assert job.state == "finished"
    assert (job.result["filled"], job.result["not_answered"]) == (0, 1)
    assert Return.objects.filter(pk=session.pk).exists()
    assert not Conditions.objects.exists(), "nor is an empty row made"
    (again,) = request_weather_everywhere(now=NOW)
    assert again.pk != job.pk, "what could not be asked is asked again"


def test_an_hour_that_is_still_to_come_fills_nothing(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The session ends at three: the reading of three or of half past stands for some of it."""
    sayer = Said("one", Weather(wind_force=3))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [sayer])
    assert run(heron_small, now=TEN + timedelta(hours=5, minutes=10)).result["filled"] == 0
    assert run(heron_small, now=TEN + timedelta(hours=6)).result["filled"] == 1


def test_days_long_past_that_could_not_be_asked_are_asked_again_as_far_back(
    heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A day that a station's file reached: the clock alone looks back over sixty days."""
    long_ago = make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2023, 6, 1))
    sayer = Said("one", OSError("no route"))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [sayer])
    run(heron_small, since=NOW - timedelta(days=900))
    (again,) = request_weather_everywhere(now=NOW + timedelta(hours=1))
    sayer.says = Weather(10.0, 3, 90, 4, 1000.0, 0.0)
    run(heron_small, job=again)
    assert Conditions.objects.get(session=long_ago).wind_force == 3
    assert request_weather_everywhere(now=NOW + timedelta(hours=2)) == []


def test_days_long_past_that_never_can_be_asked_are_given_up(
    heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2023, 6, 1))
    sayer = Said("one", OSError("no route"))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [sayer])
    run(heron_small, since=NOW - timedelta(days=900))
    hours = 0
    while (queued := request_weather_everywhere(now=NOW)) and hours < 100:
        run(heron_small, job=queued[0])
        hours += 1
    assert hours == weather_jobs.MOST_REPEATS


def test_a_day_long_past_whose_session_was_amended_is_asked_about(
    heron_small: SmallClub, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2023, 6, 1))
    sayer = Said("one", Weather(10.0, 3, 90, 4, 1000.0, 0.0))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [sayer])
    run(heron_small)
    assert request_weather_everywhere(now=NOW + timedelta(hours=1)) == []
    Return.objects.filter(pk=old.pk).update(changed_at=NOW + timedelta(minutes=9))
    (job,) = request_weather_everywhere(now=NOW + timedelta(hours=1))
    run(heron_small, job=job)
    assert Conditions.objects.get(session=old).wind_force == 3


def test_what_is_asked_again_is_no_more_than_what_was_not_told(
    heron_small: SmallClub, session: Return, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An earlier day, of which nobody knows the cloud, is not asked for every hour."""
    early = make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 5, 10))
    sayer = Said("one", Weather(wind_force=3))
    sayer.at[1] = lambda: setattr(sayer, "says", OSError("no route"))
    sayer.at[2] = lambda: setattr(sayer, "says", Weather(wind_force=3))
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [sayer])
    run(heron_small)
    assert Conditions.objects.get().session_id == early.pk
    (again,) = request_weather_everywhere(now=NOW)
    assert run(heron_small, job=again).result["looked_at"] == 1
