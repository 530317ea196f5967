"""Weather that nobody typed: filled by a job, marked, and never in the way of a return."""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from decimal import Decimal
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdata.models import AmendmentKind, Conditions, Job, JobKind, Return, WeatherReading
from clubdata.rules.weather import Weather
from clubdata.services import forecasts, jobs, weather_jobs
from clubdata.services.amendments import Wish, ask
from clubdata.services.forecasts import ForecastService
from clubdata.services.members import membership
from clubdata.services.weather import Span, Station, fill, span_of
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


def amend(small: SmallClub, session: Return, given: dict[str, Any]) -> None:
    account = small.account("secretary")
    who = membership(actor=account, slug=small.club.slug)
    ask(who=who, uid=session.uid, now=NOW, wish=Wish(AmendmentKind.CHANGE, session.version, "misread", given))


def run(small: SmallClub, now: datetime = NOW) -> Job:
    job = request_weather(club=small.club, since=NOW - timedelta(days=60), now=now)
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
    assert job.result == {"looked_at": 1, "filled": 1, "not_answered": 0, "to_be_asked_again": False}
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


TYPED = st.fixed_dictionaries(
    {}, optional={"air_temperature_c": st.integers(-20, 30), "wind_force": st.integers(0, 12),
                  "cloud_oktas": st.integers(0, 8), "wind_from_degrees": st.integers(0, 359)}
)  # fmt: skip
SAID = st.builds(
    Weather, air_temperature_c=st.none() | st.floats(-20, 30).map(lambda value: round(value, 1)),
    wind_force=st.none() | st.integers(0, 12), cloud_oktas=st.none() | st.integers(0, 8),
    wind_from_degrees=st.none() | st.integers(0, 359),
)  # fmt: skip


@given(typed=TYPED, said=st.lists(SAID, max_size=3))
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_typed_value_is_ever_overwritten_and_no_filled_one_unmarked(
    typed: dict[str, int], said: list[Weather], session: Return
) -> None:
    Conditions.objects.filter(session=session).delete()
    Conditions.objects.create(club=session.club, session=session, **typed)
    for weather in said:
        fill(session=session, weather=weather, said_by="somebody")
    kept = Conditions.objects.get(session=session)
    for name in ("air_temperature_c", "wind_force", "cloud_oktas", "wind_from_degrees"):
        value = getattr(kept, name)
        if name in typed:
            assert value == typed[name] and name not in kept.filled
        else:
            assert (value is not None) == (name in kept.filled)


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
    assert (job.result["filled"], job.result["to_be_asked_again"], sayer.asked) == (0, True, 0)
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


@pytest.mark.parametrize(
    "moved", [{"fished_on": DAY + timedelta(days=1)}, {"started_at": clock_time(14)}, {"hours": Decimal(3)}]
)
def test_a_session_that_moves_leaves_its_filled_weather_behind(
    moved: dict[str, Any], heron_small: SmallClub, session: Return
) -> None:
    Conditions.objects.create(club=heron_small.club, session=session, air_temperature_c=Decimal(9))
    fill(session=session, weather=Weather(wind_force=4, rain_mm=0.5), said_by="the first")
    amend(heron_small, session, moved)
    kept = Conditions.objects.get(session=session)
    assert (kept.air_temperature_c, kept.wind_force, kept.filled, kept.filled_from) == (
        Decimal(9),
        None,
        [],
        "",
    )


def test_another_change_leaves_it(heron_small: SmallClub, session: Return) -> None:
    fill(session=session, weather=Weather(wind_force=4), said_by="the first")
    amend(heron_small, session, {"notes": "by the reeds"})
    kept = Conditions.objects.get(session=session)
    assert (kept.wind_force, kept.filled) == (4, ["wind_force"])


def test_what_was_amended_since_it_was_asked_about_is_not_filled(
    heron_small: SmallClub, session: Return
) -> None:
    amend(heron_small, session, {"fished_on": DAY + timedelta(days=1)})
    assert not fill(session=session, weather=Weather(wind_force=4), said_by="the first")
    assert not Conditions.objects.exists()


def test_a_day_without_a_start_is_its_light(session: Return) -> None:
    session.started_at = None
    span = span_of(session)
    assert (span.begins.date(), span.ends.date()) == (DAY, DAY)
    assert 16 < (span.ends - span.begins) / timedelta(hours=1) < 17.5


def test_a_station_that_read_nothing_near_says_nothing(heron_small: SmallClub, session: Return) -> None:
    read(heron_small, -5, air_temperature_c=3)
    assert Station(heron_small.club).weather(span_of(session)) is None


def test_the_schedule_asks_where_there_is_somebody_to_ask_and_something_new(
    heron_small: SmallClub, session: Return
) -> None:
    assert request_weather_everywhere(now=NOW) == []
    read(heron_small, 1, wind_m_s=2)
    (job,) = request_weather_everywhere(now=NOW)
    assert job.kind == JobKind.WEATHER
    Job.objects.filter(pk=job.pk).update(state="finished", finished_at=NOW, created_at=NOW)
    assert request_weather_everywhere(now=NOW) == [], "what nobody could tell is not asked for every hour"


# --- A forecast service ---------------------------------------------------------------------------------


@pytest.fixture
def service() -> Iterator[Callable[..., ForecastService]]:
    """A service on this machine that answers as it is told; `asked` holds the addresses."""
    servers = []

    def served(
        body: bytes = b"", *, status: int = 200, delay_s: float = 0.0, headers: dict[str, str] | None = None
    ) -> ForecastService:
        asked: list[str] = []

        class Answer(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                asked.append(self.path)
                time.sleep(delay_s)
                self.send_response(status)
                for name, value in (headers or {}).items():
                    self.send_header(name, value)
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None:
                pass

        server = HTTPServer(("127.0.0.1", 0), Answer)
        servers.append(server)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        found = ForecastService(f"http://127.0.0.1:{server.server_port}/v1/hours?model=best")
        found.asked = asked  # type: ignore[attr-defined]
        return found

    yield served
    for server in servers:
        server.shutdown()
        server.server_close()


SPAN = Span(53.0312, 0.4567, TEN, TEN + timedelta(hours=2))
HOURLY = {
    "time": ["2024-06-01T09:00", "2024-06-01T10:00", "2024-06-01T11:00", "2024-06-01T23:00"],
    "temperature_2m": [12.0, 14.0, 16.0, 3.0],
    "wind_speed_10m": [4.0, 4.2, 4.0, 30.0],
    "wind_direction_10m": [350, 10, 10, 180],
    "cloud_cover": [100, 75, 75, 0],
    "pressure_msl": [1012.0, None, 1013.0, 990.0],
    "precipitation": [0.0, 0.4, 0.2, 9.9],
}


def answer(**changes: Any) -> bytes:
    return json.dumps({"hourly": {**HOURLY, **changes}}).encode()


def test_a_service_is_asked_for_a_place_and_days_and_nothing_else(service: Callable[..., Any]) -> None:
    provider = service(answer())
    weather = provider.weather(SPAN)
    assert weather == Weather(14.0, 3, 5, 7, 1012.5, 0.6)
    (path,) = provider.asked
    assert "latitude=53.0&longitude=0.5" in path and "start_date=2024-06-01" in path and "model=best" in path
    provider.weather(SPAN)
    assert len(provider.asked) == 1


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"no JSON",
        b"[]",
        b"{}",
        b'{"hourly": 7}',
        b'{"hourly": {"time": ["yesterday"]}}',
        b"x" * 600_000,
        b"[" * 100_000,
        b'{"hourly": {"time": ["0001-01-01T00:00+09:00"]}}',
    ],
)
def test_an_answer_that_is_none_is_a_fault_that_is_told(body: bytes, service: Callable[..., Any]) -> None:
    with pytest.raises((OSError, ValueError)):
        service(body).weather(SPAN)


def test_numbers_that_cannot_be_are_left_out(service: Callable[..., Any]) -> None:
    odd = answer(temperature_2m=[999, "warm", True, int("9" * 400)], wind_speed_10m=[4.0], precipitation=None)
    weather = service(odd).weather(SPAN)
    assert (weather.air_temperature_c, weather.wind_force, weather.rain_mm) == (None, None, None)
    assert weather.cloud_oktas == 7


@pytest.mark.parametrize(("unit", "factor"), [("km/h", 3.6), ("mph", 2.23694), ("kn", 1.94384), ("m/s", 1.0)])
def test_the_unit_that_a_service_names_is_heeded(
    unit: str, factor: float, service: Callable[..., Any]
) -> None:
    told = {
        "hourly": {**HOURLY, "wind_speed_10m": [9.0 * factor] * 4},
        "hourly_units": {"wind_speed_10m": unit},
    }
    assert service(json.dumps(told).encode()).weather(SPAN).wind_force == 5


def test_a_unit_that_is_not_known_is_a_fault(service: Callable[..., Any]) -> None:
    told = {"hourly": HOURLY, "hourly_units": {"temperature_2m": "°R"}}
    with pytest.raises(ValueError, match="unit"):
        service(json.dumps(told).encode()).weather(SPAN)


@pytest.mark.parametrize("status", [404, 429, 500])
def test_a_service_that_refuses_is_a_fault(status: int, service: Callable[..., Any]) -> None:
    with pytest.raises(OSError, match=str(status)):
        service(b"", status=status).weather(SPAN)


def test_a_service_that_sends_elsewhere_is_not_followed(service: Callable[..., Any]) -> None:
    elsewhere = service(answer())
    with pytest.raises(OSError, match="302"):
        service(b"", status=302, headers={"Location": elsewhere._address}).weather(SPAN)
    assert elsewhere.asked == []


def test_a_slow_service_is_not_waited_for(
    service: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(forecasts, "TIME_OUT_S", 0.2)
    with pytest.raises(OSError, match="timed out"):
        service(answer(), delay_s=1.0).weather(SPAN)


@pytest.fixture
def raw_service() -> Iterator[Callable[[list[bytes], float], ForecastService]]:
    """A service that sends these pieces, whatever they are, one after another."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen()

    def served(pieces: list[bytes], pause_s: float) -> ForecastService:
        def answer() -> None:
            line, _ = listening.accept()
            with line, suppress(OSError):
                line.recv(65_536)
                for piece in pieces:
                    line.sendall(piece)
                    time.sleep(pause_s)

        threading.Thread(target=answer, daemon=True).start()
        return ForecastService(f"http://127.0.0.1:{listening.getsockname()[1]}/")

    yield served
    listening.close()


HEAD = b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n"


@pytest.mark.parametrize(
    "piece", [b"good morning\r\n\r\n", b"", HEAD + b"zz\r\n", HEAD + b"10\r\nshort", HEAD]
)
def test_what_is_no_http_is_a_fault(piece: bytes, raw_service: Callable[..., ForecastService]) -> None:
    with pytest.raises((OSError, ValueError)):
        raw_service([piece], 0.0).weather(SPAN)


@pytest.mark.parametrize("before", [b"", b"HTTP/1.1 200 OK\r\n\r\n"])
def test_an_answer_that_drips_is_cut(
    before: bytes, raw_service: Callable[..., ForecastService], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(forecasts, "WHOLE_ANSWER_S", 0.4)
    begun = time.monotonic()
    with pytest.raises(OSError):  # noqa: PT011 - whatever it is told as
        raw_service([before] + [b" "] * 60, 0.1).weather(SPAN)
    assert time.monotonic() - begun < 3


@pytest.mark.parametrize("address", ["http://forecast.example/", "ftp://127.0.0.1/", "file:///etc/passwd"])
def test_a_service_is_asked_by_https_or_on_this_machine(address: str) -> None:
    with pytest.raises(ValueError, match="https"):
        ForecastService(address)


def test_a_failing_service_loses_no_return_and_the_job_says_so(
    heron_small: SmallClub, session: Return, service: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = service(b"", status=500)
    monkeypatch.setattr(weather_jobs, "providers_for", lambda club: [broken])
    job = run(heron_small)
    assert job.state == "finished"
    assert job.result == {"looked_at": 1, "filled": 0, "not_answered": 1, "to_be_asked_again": True}
    assert Return.objects.filter(pk=session.pk).exists()
    assert not Conditions.objects.exists(), "nor is an empty row made"
    (again,) = request_weather_everywhere(now=NOW)
    assert again.pk != job.pk, "what could not be asked is asked again"
