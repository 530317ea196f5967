"""Pages neither lose nor repeat a row, also when rows arrive between them."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from django.core import signing
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from clubdata.models import Return
from tests.factories import SmallClub, make_return

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/clubs/heron-small/returns/"


@pytest.fixture
def client(heron_small: SmallClub, client_for: Callable[..., APIClient]) -> APIClient:
    return client_for(heron_small.account())


def walk(client: APIClient, size: int, meanwhile: Callable[[], object] = lambda: None) -> Iterator[list[Any]]:
    address: str | None = f"{ADDRESS}?page_size={size}"
    while address:
        response = client.get(address)
        assert response.status_code == 200, response.content
        body = response.json()
        link = f'<{body["next"]}>; rel="next"' if body["next"] else None
        assert response.headers.get("Link") == link
        yield [row["uid"] for row in body["results"]]
        address = body["next"]
        meanwhile()


def give(small: SmallClub, day: int) -> Return:
    return make_return(small.member, small.pegs["1"], fished_on=date(2024, 1, 1) + timedelta(days=day))


@given(days=st.lists(st.integers(0, 3), min_size=1, max_size=9), size=st.integers(1, 4))
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_row_once_in_order_whatever_the_page_size(
    days: list[int], size: int, heron_small: SmallClub, client: APIClient
) -> None:
    Return.objects.all().delete()
    given_rows = [give(heron_small, day) for day in days]
    pages = list(walk(client, size))
    assert all(len(page) == size for page in pages[:-1])
    assert 0 < len(pages[-1]) <= size
    ordered = sorted(given_rows, key=lambda row: (row.fished_on, row.uid.hex), reverse=True)
    assert [uid for page in pages for uid in page] == [str(row.uid) for row in ordered]


def test_a_row_that_arrives_meanwhile_shifts_nothing(heron_small: SmallClub, client: APIClient) -> None:
    before = {str(give(heron_small, day).uid) for day in range(6)}
    seen = [uid for page in walk(client, 2, lambda: give(heron_small, 99)) for uid in page]
    assert set(seen) == before
    assert len(seen) == len(before)


def test_filters_go_with_the_cursor(heron_small: SmallClub, client: APIClient) -> None:
    for day in range(4):
        give(heron_small, day)
    first = client.get(ADDRESS, {"page_size": 2, "to": "2024-01-03"}).json()
    second = client.get(first["next"]).json()
    days = [row["fished_on"] for row in (*first["results"], *second["results"])]
    assert days == ["2024-01-03", "2024-01-02", "2024-01-01"]


def test_a_cursor_says_nothing_but_what_the_page_said(heron_small: SmallClub, client: APIClient) -> None:
    rows = [give(heron_small, day) for day in range(2)]
    cursor = client.get(ADDRESS, {"page_size": 1}).json()["next"].split("cursor=")[1].replace("%3A", ":")
    salt = "cursor:-fished_on,-uid"
    assert signing.loads(cursor, salt=salt) == ["2024-01-02", str(rows[1].uid)]


@pytest.mark.parametrize(
    "cursor",
    ["x", "", "W10", signing.dumps(["2024-01-01", "1"], salt="another list's")],
    ids=["a letter", "nothing", "unsigned", "another list's"],  # a signature holds the second it was made
)
def test_a_cursor_of_ones_own_making_is_refused(cursor: str, client: APIClient) -> None:
    response = client.get(ADDRESS, {"cursor": cursor})
    assert response.status_code == 400
    assert response.json()["errors"][0]["field"] == "cursor"


@pytest.mark.parametrize("size", ["0", "-1", "201", "many"])
def test_a_page_has_a_bounded_size(size: str, client: APIClient) -> None:
    assert client.get(ADDRESS, {"page_size": size}).status_code == 400
