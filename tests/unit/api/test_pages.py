"""Health, the documentation page, and the books that members read: waters, pegs, words, members."""

import re
from collections.abc import Callable
from datetime import date

import pytest
from django.contrib.staticfiles import finders
from django.db import OperationalError
from django.test import Client
from rest_framework.test import APIClient

from api.views import health
from clubdata.models import Account, PegDepth, PegHazard
from tests.factories import SmallClub, make_pegs

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
CLUB = "/api/v1/clubs/heron-small/"


def test_a_process_that_answers_lives() -> None:
    assert Client().get("/health/live").json() == {"status": "ok"}


def test_ready_needs_the_database_but_neither_broker_nor_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "_broker", lambda: "away")
    response = Client().get("/health/ready")
    assert response.status_code == 200
    expected = {"status": "ok", "database": "ok", "broker": "away", "recommendation": False}
    assert response.json() == expected


def test_not_ready_while_the_database_is_away(monkeypatch: pytest.MonkeyPatch) -> None:
    def away(*_: object) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(health, "MigrationExecutor", away)
    response = Client().get("/health/ready")
    assert response.status_code == 503
    assert response.json()["database"] == "away"
    assert "refused" not in response.content.decode()


def test_the_documentation_pulls_nothing_from_outside() -> None:
    page = Client().get("/api/docs/")
    script = Client().get("/api/docs/?script=")
    text = page.content.decode() + script.content.decode()
    assert not re.search(r"""(?:src|href|url)\s*[=:(]\s*["']?(?:https?:)?//""", text)
    assert "default-src 'none'" in page["Content-Security-Policy"]
    assets = re.findall(r'(?:src|href)="/static/([^"]+)"', page.content.decode())
    assert len(assets) >= 3
    assert all(finders.find(asset) for asset in assets)


@pytest.mark.parametrize("path", ["/api/v2/", "/api/v1/clubs/heron-small/no-such/", "/health/unwell"])
def test_an_unknown_route_is_a_problem_for_programs(path: str) -> None:
    response = Client().get(path)
    assert (response.status_code, response["Content-Type"]) == (404, "application/problem+json")


def test_pegs_stand_in_bank_order_with_their_neighbours(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    far = make_pegs(heron_small.mere, "20", "21", bank="far")
    PegDepth.objects.create(club=heron_small.club, peg=far["20"], distance_m=5, depth_cm=150)
    cleared = {"noted_on": date(2020, 1, 1), "cleared_on": date(2021, 1, 1)}
    PegHazard.objects.create(club=heron_small.club, peg=far["20"], kind="fallen tree", **cleared)
    client = client_for(heron_small.account())
    pegs = client.get(f"{CLUB}waters/{heron_small.mere.uid}/pegs/").json()["results"]
    beside = {peg["label"]: peg["neighbours"] for peg in pegs}
    assert beside["1"] == ["2"]
    assert beside["12"] == ["11", "12A"]
    assert beside["12A"] == ["12"]  # the last of its bank
    assert beside["20"] == ["21"]
    shown = {peg["label"]: peg for peg in pegs}
    assert [hazard["kind"] for hazard in shown["5"]["hazards"]] == ["overhead power line"]
    assert shown["20"]["hazards"] == []
    assert shown["20"]["depths"] == [{"distance_m": 5.0, "depth_cm": 150}]


def test_a_water_tells_its_hazards_by_peg(heron_small: SmallClub, client_for: ClientFor) -> None:
    shown = client_for(heron_small.account()).get(f"{CLUB}waters/{heron_small.mere.uid}/").json()
    assert shown["water"]["name"] == "Heron-Small Mere"
    assert [(hazard["peg"], hazard["kind"]) for hazard in shown["hazards"]] == [("5", "overhead power line")]


def test_the_vocabulary_has_every_kind_with_spellings(heron_small: SmallClub, client_for: ClientFor) -> None:
    words = client_for(heron_small.account()).get(f"{CLUB}vocabulary/").json()
    assert [bait["name"] for bait in words["hook_baits"]] == ["caster", "red maggot"]
    assert words["hook_baits"][1]["spellings"] == ["red maggot", "reds"]
    assert words["species"][1]["scientific_name"] == "Rutilus rutilus"
    assert words["methods"] and words["rig_types"] and words["feeds"]


@pytest.mark.parametrize(
    ("role", "numbers"),
    [
        ("member", ["M1"]),
        ("analyst", ["M4"]),
        ("organiser", ["M1", "M2", "M3", "M4", "M5"]),
        ("secretary", ["M1", "M2", "M3", "M4", "M5"]),
    ],
)
def test_who_reads_the_book_of_members(
    role: str, numbers: list[str], heron_small: SmallClub, client_for: ClientFor
) -> None:
    rows = client_for(heron_small.account(role)).get(f"{CLUB}members/").json()["results"]
    assert [row["number"] for row in rows] == numbers
