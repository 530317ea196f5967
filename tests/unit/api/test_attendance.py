"""Returns handed in of everyone who was seen, and what is outstanding: for the secretary alone."""

import csv
import io
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account, Attendance, Outcome
from tests.factories import SmallClub, make_match, make_member, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
CLUB = "/api/v1/clubs/heron-small/"
MERE = "Heron-Small Mere"


@pytest.fixture
def secretary(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account("secretary"))


def seen(member: str, day: str = "2024-05-04", source: str = "gate_book", **more: Any) -> dict[str, Any]:
    return {"member": member, "water": MERE, "fished_on": day, "source": source, **more}


def note(client: APIClient, *rows: dict[str, Any]) -> Any:
    return client.post(f"{CLUB}attendance/", {"seen": list(rows)})


@pytest.fixture
def noted(secretary: APIClient, heron_small: SmallClub) -> None:
    """Four members seen on 4 May, one of them by two; of these one has handed in and one did not fish."""
    people = {
        number: make_member(heron_small.club, number, name=f"Name {number}", contact=f"{number}@club.example")
        for number in ("A", "B", "C", "D")
    }
    answer = note(
        secretary, seen("A"), seen("A", source="bailiff"), seen("B"), seen("C"), seen("D", source="permit")
    )
    assert answer.json() == {"noted": 5}
    make_return(people["A"], heron_small.pegs["1"], fished_on=date(2024, 5, 4))
    make_return(people["B"], heron_small.pegs["1"], fished_on=date(2024, 5, 5))
    nothing = {"outcome": Outcome.DID_NOT_FISH, "hours": None}
    make_return(people["D"], heron_small.pegs["1"], fished_on=date(2024, 5, 31), **nothing)


@pytest.mark.usefixtures("noted")
def test_a_month_is_counted_against_everyone_seen_each_once(secretary: APIClient) -> None:
    answer = secretary.get(f"{CLUB}handed-in/").json()
    (may,) = answer["results"]
    assert may["key"] == "2024-05"
    assert may["total"] == {"seen": 4, "handed_in": 2, "outstanding": 2, "share": 0.5}
    by_source = {row["source"]: (row["seen"], row["handed_in"]) for row in may["by_source"]}
    assert by_source == {"permit": (1, 1), "bailiff": (1, 1), "gate_book": (3, 1)}
    assert "gate book" in answer["counted_against"]


@pytest.mark.usefixtures("noted")
def test_what_is_outstanding_is_listed_with_the_day(secretary: APIClient) -> None:
    rows = secretary.get(f"{CLUB}outstanding/").json()["results"]
    assert sorted(row["member"]["number"] for row in rows) == ["B", "C"]
    assert secretary.get(f"{CLUB}outstanding/", {"from": "2024-06-01"}).json()["results"] == []


@pytest.mark.usefixtures("noted")
@pytest.mark.parametrize("role", ["member", "organiser", "analyst"])
def test_who_owes_a_return_is_the_secretarys_alone_to_know(
    role: str, heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account(role))
    assert client.get(f"{CLUB}outstanding/").status_code == 403
    assert client.get(f"{CLUB}reminders/").status_code == 403
    assert client.get(f"{CLUB}handed-in/").status_code == (403 if role == "member" else 200)


@pytest.mark.usefixtures("noted")
def test_reminders_are_a_list_to_send(secretary: APIClient, heron_small: SmallClub) -> None:
    child = make_member(
        heron_small.club, "J", name="Young", protection="junior", responsible_adult="adult@home.example"
    )
    note(secretary, seen(child.number, "2024-05-11"), seen(child.number, "2024-05-12"))
    found = secretary.get(f"{CLUB}reminders/").json()["results"]
    assert [(one["member"]["number"], one["write_to"], len(one["outstanding"])) for one in found] == [
        ("B", "B@club.example", 1), ("C", "C@club.example", 1), ("J", "adult@home.example", 2)
    ]  # fmt: skip
    sheet = secretary.get(f"{CLUB}reminders/", {"format": "csv"})
    assert sheet["Content-Type"].startswith("text/csv")
    assert secretary.get(f"{CLUB}reminders/", headers={"Accept": "text/csv"}).content == sheet.content
    rows = list(csv.DictReader(io.StringIO(sheet.content.decode())))
    assert [row["member"] for row in rows] == ["B", "C", "J", "J"]


def test_a_matchs_entries_are_counted_by_match(secretary: APIClient, heron_small: SmallClub) -> None:
    match = make_match(heron_small.mere, "M-9", held_on=date(2024, 5, 4))
    entered = [seen(number, source="entry", match="m-9") for number in ("M1", "M2")]
    answer = note(secretary, *entered)
    assert answer.status_code == 201, answer.content
    make_return(heron_small.member, heron_small.pegs["1"], session_kind="match", match=match,
                fished_on=date(2024, 5, 4))  # fmt: skip
    (row,) = secretary.get(f"{CLUB}handed-in/", {"by": "match"}).json()["results"]
    assert (row["key"], row["total"]["seen"], row["total"]["handed_in"]) == ("M-9", 2, 1)


def test_one_fault_keeps_all_out_and_every_fault_is_told(
    secretary: APIClient, heron_small: SmallClub
) -> None:
    refused = note(
        secretary,
        seen("M1"),
        seen("nobody"),
        {**seen("M1"), "water": "Nowhere"},
        seen("M1", "2124-05-04"),
        seen("M1", source="entry"),
    )
    assert refused.status_code == 400
    assert [one["field"] for one in refused.json()["errors"]] == [
        "seen.1.member", "seen.2.water", "seen.3.fished_on", "seen.4.match"
    ]  # fmt: skip
    assert not Attendance.objects.exists()


def test_noted_twice_it_is_known_once(secretary: APIClient) -> None:
    assert note(secretary, seen("M1")).json() == {"noted": 1}
    assert note(secretary, seen("M1")).json() == {"noted": 0}
