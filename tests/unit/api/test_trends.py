"""Trends by role, in every form, and at a constant number of queries."""

import json
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from io import BytesIO
from typing import Any

import pyarrow.parquet as pq
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from analytics.answers.trends import BY
from analytics.models import FitRun
from analytics.study import run_study
from api.views.answers import BODIES
from clubdata.models import Account, HookBait, Job, JobKind, WaterEvent
from clubdata.services import jobs
from tests.contract.fitted import fish_for_two_years, fit
from tests.factories import NOW, SmallClub, make_return, make_water, make_word
from tests.modules import small_club_of_a_module

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]
TRENDS = "/api/v1/clubs/heron-small/trends/"


@pytest.fixture(scope="module")
def club_of_module(django_db_setup: None, django_db_blocker: Any) -> Iterator[SmallClub]:
    with small_club_of_a_module(django_db_blocker) as small:
        fish_for_two_years(small)
        fit(small)
        claim = jobs.claim(job_id=Job.objects.get(kind=JobKind.STUDY).pk, now=NOW)
        assert claim is not None
        run_study(claim=claim, clock=lambda: NOW)
        yield small


@pytest.fixture
def club(club_of_module: SmallClub, db: None) -> SmallClub:
    BODIES.forget()
    return club_of_module


@pytest.fixture
def heron_small(club: SmallClub) -> SmallClub:
    """The same club before any fit."""
    FitRun.objects.all().delete()
    return club


def of_water(small: SmallClub) -> str:
    return f"/api/v1/clubs/heron-small/waters/{small.mere.uid}/trends/"


def test_every_form_of_every_trend(club: SmallClub, client_for: ClientFor) -> None:
    client = client_for(club.account("analyst"))
    for address in (TRENDS, of_water(club)):
        for by in BY:
            body = client.get(address, {"by": by})
            assert body.status_code == 200 and body.json()["by"] == by
            for form in ("csv", "xlsx", "parquet"):
                assert client.get(address, {"by": by, "format": form}).status_code == 200, (by, form)
            if address != TRENDS:
                continue
            drawable = by not in {"species", "temperature"}
            for form in ("svg", "png", "vega"):
                drawn = client.get(address, {"by": by, "format": form})
                assert drawn.status_code == (200 if drawable else 409), (by, form)


def test_the_table_holds_what_the_answer_holds(club: SmallClub, client_for: ClientFor) -> None:
    client = client_for(club.account("analyst"))
    points = client.get(TRENDS, {"by": "year"}).json()["points"]
    table = pq.read_table(
        BytesIO(client.get(TRENDS, {"by": "year", "format": "parquet"}).content)
    ).to_pylist()
    assert [row["key"] for row in table] == [point["key"] for point in points] == ["2022", "2023"]
    for row, point in zip(table, points, strict=True):
        assert row["standardised"] == pytest.approx(point["standardised"]["estimate"])
        assert (row["raw"], row["returns"]) == (point["raw"]["g_per_rod_hour"], point["raw"]["returns"])
        assert row["year"] == point["year"]
    compared = {"by": "year", "format": "csv", "sheet": "comparisons"}
    lines = client.get(TRENDS, compared).content.decode().strip().splitlines()
    assert len(lines) == 1 + 1 + 4, "a heading, the answer and the four fits of the study"


def test_a_table_names_its_bait_month_distance_and_temperature_in_columns_of_their_own(
    club: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(club.account("analyst"))
    for by, names in (
        ("bait-month", ("hook_bait", "month")),
        ("distance-season", ("distance_m", "season")),
        ("year-month", ("year", "month")),
        ("temperature", ("water_temperature_c",)),
    ):
        points = client.get(TRENDS, {"by": by}).json()["points"]
        content = client.get(TRENDS, {"by": by, "format": "parquet"}).content
        table = pq.read_table(BytesIO(content)).to_pylist()
        assert [[row[name] for name in names] for row in table] == [
            [point[name] for name in names] for point in points
        ]


def test_a_chart_counts_the_returns_whose_weight_is_known(club: SmallClub, client_for: ClientFor) -> None:
    own = {"session_kind": "pleasure", "fished_on": date(2023, 6, 4)}
    for _ in range(3):
        make_return(club.member, club.pegs["1"], outcome="did_not_weigh", weight_g=None, **own)
    club.club.raise_revision()
    fit(club)
    client = client_for(club.account("analyst"))
    for address, by in ((TRENDS, {"by": "month"}), (TRENDS, {"by": "year"}), (f"{TRENDS}waters/", {})):
        answer = client.get(address, by).json()
        chart = client.get(address, {**by, "format": "vega"}).json()
        shown = answer.get("points") or answer["waters"]
        assert sum(item["raw"]["did_not_weigh"] for item in shown) == 3
        assert chart["usermeta"]["returns"] == answer["fit"]["rows_used"]


def test_the_months_of_one_year_are_named_on_the_chart(club: SmallClub, client_for: ClientFor) -> None:
    query = {"by": "year-month", "year": "2022", "format": "svg"}
    drawn = client_for(club.account("analyst")).get(TRENDS, query).content.decode()
    assert ">Jan<" in drawn and ">Dec<" in drawn and "Month of 2022" in drawn


def test_raw_matches_are_for_those_whose_work_needs_them(club: SmallClub, client_for: ClientFor) -> None:
    make_return(club.member, club.pegs["1"], fished_on=date(2024, 3, 3))
    club.club.raise_revision()
    fit(club)
    for role, sees in (("member", False), ("organiser", True), ("analyst", True), ("secretary", True)):
        found = client_for(club.account(role)).get(TRENDS, {"by": "year"}).json()
        lone = next(point for point in found["points"] if point["key"] == "2024")
        assert lone["raw"]["withheld"] is not sees
        assert (lone["raw"]["returns"] == 1) is sees


def test_a_member_of_another_club_finds_nothing(
    club: SmallClub, other_club: SmallClub, client_for: ClientFor
) -> None:
    stranger = client_for(other_club.account("secretary"))
    for address in (TRENDS, of_water(club), f"{TRENDS}waters/"):
        assert stranger.get(address).status_code == 404
    own = client_for(other_club.account("secretary"))
    foreign = f"/api/v1/clubs/grebe-small/waters/{club.mere.uid}/trends/"
    assert own.get(foreign).status_code == 404


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"by": "angler"}, "by"),
        ({"year": "soon"}, "year"),
        ({"target": "salmon"}, "target"),
        ({"x": "1"}, "x"),
    ],
)
def test_what_it_does_not_know_is_refused(
    heron_small: SmallClub, client_for: ClientFor, query: dict[str, str], field: str
) -> None:
    found = client_for(heron_small.account()).get(TRENDS, query)
    assert found.status_code == 400 and field in json.dumps(found.json())


def test_without_a_fit_there_is_an_answer_that_says_so(heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account())
    assert client.get(TRENDS).json()["no_trends"]["code"] == "no_fit"
    assert client.get(f"{TRENDS}waters/").json()["no_trends"]["code"] == "no_fit"
    assert client.get(TRENDS, {"format": "svg"}).status_code == 409


def test_as_many_queries_however_much_there_is(club: SmallClub, client_for: ClientFor) -> None:
    client = client_for(club.account("analyst"))

    def queries() -> dict[str, int]:
        counts = {}
        for address in (TRENDS, of_water(club), f"{TRENDS}waters/"):
            for by in BY if "waters/" not in address[-8:] else [None]:
                with CaptureQueriesContext(connection) as captured:
                    assert client.get(address, {} if by is None else {"by": by}).status_code == 200
                counts[f"{address} {by}"] = len(captured)
        return counts

    queries()
    few = queries_of_new_answers(queries, club)
    for number in range(19):
        make_water(club.club, f"Pool {number}")
        make_word(HookBait, club.club, f"paste {number}")
        event = {"kind": "stocking", "started_on": date(2022, 1, 1) + timedelta(days=number)}
        WaterEvent.objects.create(club=club.club, water=club.mere, **event)
    many = queries_of_new_answers(queries, club)
    assert many == few and max(many.values()) <= 12


def queries_of_new_answers(queries: Callable[[], dict[str, int]], club: SmallClub) -> dict[str, int]:
    """With the fit in memory and no answer kept: what is counted is what an answer asks for."""
    BODIES.forget()
    club.club.raise_revision()
    return queries()


def test_a_trend_names_nobody(club: SmallClub, client_for: ClientFor) -> None:
    client = client_for(club.account("secretary"))
    people: list[Any] = [club.member, club.other_member, club.organiser, club.analyst]
    for by in BY:
        text = client.get(TRENDS, {"by": by}).content.decode()
        assert not any(str(one.uid) in text or one.uid.hex in text or "Member" in text for one in people)
