"""An answer in all its forms, kept until something that it depends on changes."""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import openpyxl
import pyarrow.parquet as pq
import pytest
from rest_framework.test import APIClient

from api.views.answers import BODIES
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
