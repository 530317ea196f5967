"""An answer in all its forms, kept until something that it depends on changes."""

import csv
import io
import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from typing import Any

import openpyxl
import pyarrow.parquet as pq
import pytest
from rest_framework.test import APIClient

from api.views.answers import BODIES
from api.views.base import ApiView
from clubdata.models import Account, PegHazard
from tests.factories import SmallClub
from tests.unit.api.forms.example import BUILT

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.unit.api.forms.example")]
ClientFor = Callable[[Account | None], APIClient]
Ask = Callable[..., Any]


@pytest.fixture(autouse=True)
def _nothing_kept() -> Iterator[None]:
    BODIES.forget()
    BUILT.clear()
    yield
    BODIES.forget()


@pytest.fixture
def ask(heron_small: SmallClub, client_for: ClientFor) -> Ask:
    clients: dict[str, APIClient] = {}

    def asked(noun: str = "example", *, role: str = "member", status: int = 200, **extra: Any) -> Any:
        if role not in clients:
            clients[role] = client_for(heron_small.account(role))
        address = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/{noun}/"
        headers = {name: value for name, value in extra.items() if name.isupper()}
        query = {name: value for name, value in extra.items() if not name.isupper()}
        response = clients[role].get(address, query, **headers)
        assert response.status_code == status, response.content
        return response

    return asked


def test_csv_read_back_is_the_json(ask: Ask) -> None:
    rows = list(csv.DictReader(io.StringIO(ask(format="csv").content.decode())))
    told = ask().json()["pegs"]
    assert [row["peg"] for row in rows] == [row["peg"] for row in told]
    for row, said in zip(rows, told, strict=True):
        rate = float(row["rate_g_per_hour"]) if row["rate_g_per_hour"] else None
        assert (rate, int(row["returns"]), row["hazard"]) == (
            said["rate_g_per_hour"],
            said["returns"],
            str(said["hazard"]).lower(),
        )


def test_parquet_read_back_is_the_json_and_says_its_units(ask: Ask) -> None:
    table = pq.read_table(io.BytesIO(ask(format="parquet").content))
    assert table.to_pylist() == ask().json()["pegs"]
    assert table.schema.field("rate_g_per_hour").metadata[b"unit"] == b"g/h"


def test_a_workbook_read_back_is_the_json_after_a_page_about_it(ask: Ask) -> None:
    book = openpyxl.load_workbook(io.BytesIO(ask(format="xlsx").content))
    assert book.sheetnames == ["about", "pegs", "totals"]
    heads, *rows = book["pegs"].iter_rows(values_only=True)
    assert heads == ("Peg", "Rate (g/h)", "Returns (returns)", "Under a hazard")
    said = [tuple(row.values()) for row in ask().json()["pegs"]]
    assert [(*row[:1], *row[2:]) for row in rows] == [(*row[:1], *row[2:]) for row in said]
    # A workbook keeps 15 digits of a number.
    assert [row[1] for row in rows] == [row[1] and pytest.approx(row[1], rel=1e-14) for row in said]
    notes = [cell for cell in book["about"]["B"] if cell.value == "=1+1 is no formula"]
    assert [cell.data_type for cell in notes] == ["s"]


def test_another_table_is_asked_for_by_name(ask: Ask) -> None:
    assert ask(format="csv", sheet="totals").content.decode().splitlines()[0] == "water,pegs"
    (fault,) = ask(format="csv", sheet="none", status=400).json()["errors"]
    assert (fault["field"], fault["code"]) == ("sheet", "no_such_sheet")


def test_a_hazard_noted_now_shows_in_the_next_answer(ask: Ask, heron_small: SmallClub) -> None:
    before = ask()
    heron_small.club.raise_places_revision()
    PegHazard.objects.create(
        club=heron_small.club, peg=heron_small.pegs["7"], kind="broken platform", noted_on=date(2024, 1, 1)
    )
    after = ask(HTTP_IF_NONE_MATCH=before["ETag"])
    assert {row["peg"]: row["hazard"] for row in after.json()["pegs"]}["7"] is True


def test_what_the_asker_has_is_not_sent_again(ask: Ask) -> None:
    first = ask()
    again = ask(HTTP_IF_NONE_MATCH=f'"other", {first["ETag"]}', status=304)
    assert again.content == b""
    assert again["ETag"] == first["ETag"]
    assert len(BUILT) == 1
    tags = {form: ask(format=form)["ETag"] for form in ("json", "csv", "parquet")}
    assert len(set(tags.values())) == 3 and tags["json"] == first["ETag"]


def test_each_asker_is_told_apart_by_headers(ask: Ask) -> None:
    response = ask()
    assert {name.strip() for name in response["Vary"].split(",")} >= {"Accept", "Authorization", "Cookie"}
    assert "private" in response["Cache-Control"]


def test_what_one_club_or_role_was_told_is_not_told_to_another(
    ask: Ask, heron_small: SmallClub, other_club: SmallClub, client_for: ClientFor
) -> None:
    assert ask("officers", role="organiser").status_code == 200
    assert ask("officers", status=403)["Content-Type"] == "application/problem+json"
    ask()
    stranger = client_for(other_club.account())
    for slug in ("heron-small", "grebe-small"):
        address = f"/api/v1/clubs/{slug}/waters/{heron_small.mere.uid}/example/"
        assert stranger.get(address).status_code == 404
    assert client_for(None).get(address).status_code == 401
    own = stranger.get(f"/api/v1/clubs/grebe-small/waters/{other_club.mere.uid}/example/")
    assert own.json()["water"] == other_club.mere.name


def test_another_role_gets_an_answer_worked_out_for_it(ask: Ask) -> None:
    for role in ("member", "member", "organiser", "organiser"):
        ask(role=role)
    assert len(BUILT) == 2


def test_a_personal_answer_is_kept_for_its_member_alone(
    ask: Ask, heron_small: SmallClub, client_for: ClientFor
) -> None:
    first = ask("personal").json()["asked_by"]
    other = client_for(heron_small.other_member.account)
    address = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/personal/"
    assert other.get(address).json()["asked_by"] == heron_small.other_member.number != first
    assert ask("personal").json()["asked_by"] == first
    assert len(BUILT) == 2


def test_one_who_has_left_gets_nothing_that_was_kept(ask: Ask, heron_small: SmallClub) -> None:
    etag = ask()["ETag"]
    heron_small.member.left_on = date(2024, 1, 1)
    heron_small.member.save()
    ask(HTTP_IF_NONE_MATCH=etag, status=404)


def test_another_question_and_another_revision_are_answered_anew(ask: Ask, heron_small: SmallClub) -> None:
    assert ask(times=1).json() == ask(times="1.0").json() != ask(times=2).json()
    assert len(BUILT) == 2
    heron_small.club.raise_revision()
    ask(times=2)
    assert len(BUILT) == 3


def test_a_new_day_at_the_water_is_answered_anew(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    heard = [datetime(2024, 7, 1, 22, 59, tzinfo=UTC)]
    monkeypatch.setattr(ApiView, "now", property(lambda _view: heard[0]))
    ask()
    ask()
    assert len(BUILT) == 1
    # Midnight of British summer time.
    heard[0] = datetime(2024, 7, 1, 23, 0, tzinfo=UTC)
    ask()
    assert len(BUILT) == 2


def test_a_kept_answer_costs_the_account_the_membership_and_one_read(
    ask: Ask, django_assert_num_queries: Any
) -> None:
    ask()
    # The key with its account, the membership with its club, its roles, and what answers come from.
    with django_assert_num_queries(4):
        ask()
    with django_assert_num_queries(4):
        ask(HTTP_IF_NONE_MATCH="*", status=304)


def test_an_answer_without_charts_has_none_to_ask_for(ask: Ask) -> None:
    (fault,) = ask(format="svg", status=400).json()["errors"]
    assert (fault["field"], fault["code"]) == ("format", "no_such_form")
    assert ask(HTTP_ACCEPT="image/png", status=406)["Content-Type"] == "application/problem+json"
    (unknown,) = ask(format="pdf", status=400).json()["errors"]
    assert unknown["field"] == "format"


def test_a_chart_comes_in_every_drawn_form(ask: Ask) -> None:
    svg = ask("drawn", format="svg", width="phone")
    assert svg["Content-Type"] == "image/svg+xml; charset=utf-8" and b"<svg" in svg.content
    assert svg["Content-Disposition"] == 'inline; filename="example.svg"'
    assert ask("drawn", HTTP_ACCEPT="image/png").content.startswith(b"\x89PNG")
    vega = ask("drawn", HTTP_ACCEPT="application/vnd.vegalite.v5+json")
    assert json.loads(vega.content)["usermeta"]["returns"] > 0
    assert ask("drawn")["Content-Type"] == "application/json"
    assert ask("drawn", format="svg", width="print").content != svg.content


def test_a_chart_that_is_unknown_or_has_nothing_in_it_is_told(ask: Ask) -> None:
    (fault,) = ask("drawn", format="svg", chart="none", status=400).json()["errors"]
    assert (fault["field"], fault["code"]) == ("chart", "no_such_chart")
    assert "nothing to draw" in ask("drawn", format="svg", chart="nothing", status=409).json()["detail"]


def test_a_head_is_a_get_without_its_body(ask: Ask, heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account())
    address = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/example/"
    head = client.head(address, {"times": 2})
    assert (head.status_code, head["ETag"]) == (200, ask(times=2)["ETag"])
    assert client.head(address.replace("example", "officers")).status_code == 403
