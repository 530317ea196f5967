"""The returns as a file: the rows of the list, to who may read them, and no cell that opens a formula."""

import csv
import io
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from dwca.darwincore.utils import qualname as qn
from dwca.read import DwCAReader
from openpyxl import load_workbook
from rest_framework.test import APIClient

from api.views.exports import COLUMNS
from clubdata.models import Account, CatchLine, Conditions, Return, SessionKind, SessionPart
from clubdata.rules.weather import Weather
from clubdata.services.weather import fill
from tests.factories import SmallClub, make_match, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
# Darwin Core terms (TDWG); the reader's own list of them lacks the newest.
NAMESPACE = "http://rs.tdwg.org/dwc/terms/"
ADDRESS = "/api/v1/clubs/heron-small/returns/export/"


def content(response: Any) -> bytes:
    assert response.status_code == 200, response
    return b"".join(response.streaming_content)


def read(kind: str, client: APIClient, **query: str) -> list[dict[str, Any]]:
    """The file's rows as their reader gives them, by other programs than the writer's."""
    data = content(client.get(ADDRESS, {"format": kind, **query}))
    match kind:
        case "csv":
            return list(csv.DictReader(io.StringIO(data.decode())))
        case "xlsx":
            rows = list(load_workbook(io.BytesIO(data)).worksheets[0].iter_rows(values_only=True))
            return [dict(zip([one.name for one in COLUMNS], row, strict=True)) for row in rows[1:]]
        case _:
            found: list[dict[str, Any]] = pq.read_table(io.BytesIO(data)).to_pylist()
            return found


@pytest.fixture
def stocked(heron_small: SmallClub) -> SmallClub:
    match = make_match(heron_small.mere, "=M-1")
    make_return(
        heron_small.member, heron_small.pegs["1"], notes="=1+1", part={"hook_bait": heron_small.caster}
    )
    two = make_return(
        heron_small.other_member,
        heron_small.pegs["2"],
        session_kind=SessionKind.MATCH,
        match=match,
        fished_on=date(2024, 5, 2),
        notes="mine alone",
        part={"distance_m": "11.5"},
    )
    SessionPart.objects.create(club=two.club, session=two, part_order=2, weight_g=100)
    make_return(heron_small.other_member, heron_small.pegs["3"], notes="private")
    return heron_small


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_a_row_a_part_with_the_total_on_the_first(
    kind: str, stocked: SmallClub, client_for: ClientFor
) -> None:
    rows = read(kind, client_for(stocked.account("secretary")))
    assert len(rows) == 4
    of_two = [row for row in rows if row["peg"] == "2"]
    assert [str(row["weight_g"] or "") for row in of_two] == ["2820", ""]
    assert [str(row["part"]) for row in of_two] == ["1", "2"]
    assert float(of_two[0]["distance_m"]) == 11.5
    assert sum(int(row["weight_g"] or 0) for row in rows) == 3 * 2820


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_a_member_reads_what_the_list_shows(kind: str, stocked: SmallClub, client_for: ClientFor) -> None:
    rows = read(kind, client_for(stocked.account()))
    assert {row["peg"] for row in rows} == {"1", "2"}
    assert all(not row["notes"] for row in rows if row["peg"] == "2")
    assert read(kind, client_for(stocked.account()), mine="true")[0]["peg"] == "1"


def test_weather_that_nobody_typed_is_told_from_what_somebody_did(
    stocked: SmallClub, client_for: ClientFor
) -> None:
    one, two = Return.objects.filter(peg__label__in=["1", "2"]).order_by("peg__bank_order")
    fill(session=one, weather=Weather(wind_force=3, cloud_oktas=7), said_by="the club's weather station")
    Conditions.objects.create(club=two.club, session=two, wind_force=4)
    rows = {row["peg"]: row for row in read("csv", client_for(stocked.account("secretary")))}
    assert (rows["1"]["wind_force"], rows["1"]["filled"]) == (
        "3",
        "cloud_oktas wind_force: the club's weather station",
    )
    assert (rows["2"]["wind_force"], rows["2"]["filled"], rows["3"]["filled"]) == ("4", "", "")


def test_no_cell_opens_a_formula(stocked: SmallClub, client_for: ClientFor) -> None:
    client = client_for(stocked.account("secretary"))
    for row in read("csv", client):
        assert not any(value.startswith(("=", "+", "-", "@")) for value in row.values() if value)
    page = load_workbook(io.BytesIO(content(client.get(ADDRESS, {"format": "xlsx"})))).worksheets[0]
    assert {cell.data_type for row in page.iter_rows(min_row=2) for cell in row} <= {
        "s",
        "n",
        "b",
        "d",
        "inlineStr",
    }


def test_the_file_takes_as_many_queries_at_1_return_as_at_20(
    heron_small: SmallClub, client_for: ClientFor, django_assert_num_queries: Any
) -> None:
    client = client_for(heron_small.account("secretary"))
    make_return(heron_small.member, heron_small.pegs["1"], part={})
    with django_assert_num_queries(6):
        content(client.get(ADDRESS))
    for _ in range(19):
        make_return(heron_small.member, heron_small.pegs["1"], part={})
    with django_assert_num_queries(6):
        content(client.get(ADDRESS))


def test_a_page_is_not_asked_of_a_file(stocked: SmallClub, client_for: ClientFor) -> None:
    client = client_for(stocked.account())
    assert client.get(ADDRESS, {"page_size": "5"}).status_code == 400
    assert client.get(ADDRESS, {"format": "json"}).status_code == 400


def test_an_archive_is_read_by_another_program_and_names_nobody(
    stocked: SmallClub, client_for: ClientFor, tmp_path: Path
) -> None:
    blank = make_return(stocked.member, stocked.pegs["4"], outcome="blank", rods=2)
    make_return(stocked.member, stocked.pegs["4"], outcome="did_not_fish", hours=None)
    caught = make_return(stocked.member, stocked.pegs["6"], notes="SECRET")
    stocked.roach.scientific_name = "Rutilus rutilus"
    stocked.roach.save()
    CatchLine.objects.create(
        club=stocked.club, session=caught, species=stocked.roach, fish_count=7, weight_g=900
    )
    CatchLine.objects.create(club=stocked.club, session=caught, species=stocked.bream, lost_count=1)
    path = tmp_path / "returns.zip"
    path.write_bytes(content(client_for(stocked.account("secretary")).get(ADDRESS, {"format": "archive"})))
    with DwCAReader(str(path)) as archive:
        assert archive.descriptor.core.type == qn("Event")
        events = {row.id: (row.data, row.extensions) for row in archive}
    assert len(events) == 5
    # Of a blank the effort stands and nothing was detected: 5 hours with 2 rods.
    effort, detected = events[str(blank.uid)]
    assert (effort[qn("sampleSizeValue")], effort[qn("sampleSizeUnit")]) == ("10.0", "rod-hour")
    assert detected == []
    event, (occurrence,) = events[str(caught.uid)]
    assert occurrence.rowtype == qn("Occurrence")
    told = ("scientificName", "individualCount", "organismQuantity")
    assert [occurrence.data[f"{NAMESPACE}{term}"] for term in told] == ["Rutilus rutilus", "7", "900"]
    assert event[qn("eventDate")] == "2024-05-01"
    with zipfile.ZipFile(path) as parts:
        text = b"".join(parts.read(name) for name in parts.namelist()).decode()
    assert not any(name in text for name in ("SECRET", "mine alone", stocked.member.number, "heron-small-"))
