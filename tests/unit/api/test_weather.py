"""A station's file is handed in whole or not at all; filled figures are told from typed ones."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from clubdata.models import Account, Conditions, Job, JobKind, WeatherReading
from clubdata.rules.weather import Weather
from clubdata.services.weather import fill
from tests.factories import SmallClub, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
PATH = "/api/v1/clubs/heron-small/weather-readings/"
GOOD = "read_at,air_temperature_c,wind_m_s\n2024-06-01T10:00,14.5,4\n2024-06-01T11:00+01:00,15,\n"


@pytest.fixture
def send(heron_small: SmallClub, client_for: ClientFor) -> Callable[..., Any]:
    def sent(text: str = GOOD, role: str = "secretary") -> Any:
        file = SimpleUploadedFile("station.csv", text.encode(), content_type="text/csv")
        body = {"file": file, "station": "boathouse"}
        return client_for(heron_small.account(role)).post(PATH, body, format="multipart")

    return sent


def test_a_file_is_kept_once_and_a_job_asked_for(send: Callable[..., Any]) -> None:
    first, again = send(), send()
    assert (first.status_code, first.json(), again.json()) == (
        201, {"read": 2, "kept": 2}, {"read": 2, "kept": 0}
    )  # fmt: skip
    times = sorted(row.read_at.isoformat() for row in WeatherReading.objects.all())
    assert times == ["2024-06-01T09:00:00+00:00", "2024-06-01T10:00:00+00:00"], "local, and by its offset"
    assert Job.objects.filter(kind=JobKind.WEATHER).count() == 1


@pytest.mark.parametrize(
    "text", [GOOD.replace(",", ";"), "\ufeff" + GOOD, "READ_AT;Wind_m_s\n2024-06-01T10:00;4,5\n"]
)
def test_as_spreadsheets_write_it(text: str, send: Callable[..., Any]) -> None:
    assert send(text).status_code == 201
    assert WeatherReading.objects.exists()


def test_every_fault_is_told_by_its_line_and_nothing_is_kept(send: Callable[..., Any]) -> None:
    refused = send(
        "read_at,wind_m_s\n2024-06-01T10:00,4\nyesterday,4\n2024-06-01T12:00,900\n2024-06-01T13:00,x\n"
    )
    assert refused.status_code == 400
    assert [one["field"] for one in refused.json()["errors"]] == [
        "line 3.read_at", "line 4.wind_m_s", "line 5.wind_m_s"
    ]  # fmt: skip
    assert not WeatherReading.objects.exists()


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("0001-01-01T00:00,4", "out_of_range"),
        ("0001-01-01T00:00+09:00,4", "not_a_time"),
        ("9999-12-31T23:59,4", "out_of_range"),
        ("9999-12-31T23:59-12:00,4", "not_a_time"),
        ("1949-12-31T00:00,4", "out_of_range"),
        ("2124-06-01T10:00,4", "out_of_range"),
        ("2024-03-31T01:30,4", "clock_change"),
        ("2024-10-27T01:30,4", "clock_change"),
    ],
)
def test_a_time_that_cannot_be_is_told_by_its_line(line: str, code: str, send: Callable[..., Any]) -> None:
    refused = send(f"read_at,wind_m_s\n{line}\n")
    assert refused.status_code == 400
    assert [(one["field"], one["code"]) for one in refused.json()["errors"]] == [("line 2.read_at", code)]


def test_a_line_without_its_time_and_a_column_that_is_there_twice_are_refused(
    send: Callable[..., Any],
) -> None:
    short = send("wind_m_s,read_at\n4\n")
    assert short.status_code == 400 and short.json()["errors"][0]["field"] == "line 2.read_at"
    twice = send("read_at,wind_m_s,Wind_m_s\n2024-06-01T10:00,4,5\n")
    assert (twice.status_code, twice.json()["errors"][0]["code"]) == (400, "columns_twice")


def test_a_phone_is_told_that_the_weather_was_filled(heron_small: SmallClub, client_for: ClientFor) -> None:
    session = make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 6, 1))
    client, path = client_for(heron_small.account()), f"/api/v1/clubs/heron-small/returns/{session.uid}/"
    before = client.get(path)["ETag"]
    assert client.get(path, headers={"If-None-Match": before}).status_code == 304
    fill(session=session, weather=Weather(wind_force=3), said_by="somebody")
    after = client.get(path, headers={"If-None-Match": before})
    assert after.status_code == 200 and after["ETag"] != before
    kept = client.patch(path, {"reason": "why", "notes": "late"}, headers={"If-Match": before})
    assert kept.status_code == 200, "it is the same version"


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "read_at,rain\n2024-06-01T10:00,1\n", "\x00\x01\x02"])
def test_another_file_is_refused(text: str, send: Callable[..., Any]) -> None:
    assert send(text).status_code == 400


def test_members_keep_no_readings(
    send: Callable[..., Any], heron_small: SmallClub, client_for: ClientFor
) -> None:
    assert send(role="member").status_code == 403
    assert client_for(heron_small.account()).get(PATH).status_code == 403


def test_a_filled_figure_is_marked_until_somebody_types_it(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    session = make_return(heron_small.member, heron_small.pegs["1"], fished_on=date(2024, 6, 1))
    Conditions.objects.create(
        club=heron_small.club, session=session, wind_force=3, air_temperature_c="14.5",
        filled=["air_temperature_c", "wind_force"], filled_from="the club's weather station",
    )  # fmt: skip
    client = client_for(heron_small.account())
    path = f"/api/v1/clubs/heron-small/returns/{session.uid}/"
    shown = client.get(path)
    assert shown.json()["conditions"]["filled"] == ["air_temperature_c", "wind_force"]
    typed = {"reason": "it blew harder", "conditions": {"wind_force": 5, "air_temperature_c": 14.5}}
    amended = client.patch(path, typed, headers={"If-Match": shown["ETag"]})
    assert amended.status_code == 200, amended.content
    assert amended.json()["conditions"]["filled"] == ["air_temperature_c"]
    assert amended.json()["conditions"]["wind_force"] == 5
