"""Peg form, pairs and evenness over HTTP: by role, in every form, and without anybody's name."""

import csv
import io
import json
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pandas as pd
import pytest
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from openpyxl import load_workbook
from rest_framework.test import APIClient

from api.views.answers import BODIES
from clubdata.models import Account, Outcome, PegHazard, Return
from tests.contract.fitted import fish_for_two_years, fit
from tests.factories import SmallClub, make_match, make_member, make_return
from tests.modules import small_club_of_a_module

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]
Ask = Callable[..., HttpResponse]
ROUTES = ("peg-form", "peg-form/pair", "evenness")
PAIR = {"first": "7", "second": "8"}
FEW = "12A"


@pytest.fixture(scope="module")
def small_of_module(django_db_setup: None, django_db_blocker: Any) -> Iterator[SmallClub]:
    with small_club_of_a_module(django_db_blocker) as small:
        yield fitted_with_eight(small)


@pytest.fixture
def small(small_of_module: SmallClub, db: None) -> SmallClub:
    return small_of_module


def fitted_with_eight(heron_small: SmallClub) -> SmallClub:
    """A fitted club of eight anglers; peg 12A is fished by four of them."""
    fish_for_two_years(heron_small)
    people = [heron_small.member, heron_small.other_member, heron_small.organiser, heron_small.analyst]
    people += [make_member(heron_small.club, f"N{number}") for number in range(4)]
    for place, session in enumerate(Return.objects.order_by("pk")):
        many = session.peg_id != heron_small.pegs[FEW].pk
        Return.objects.filter(pk=session.pk).update(member=people[place % (8 if many else 4)])
    fit(heron_small)
    return heron_small


@pytest.fixture
def ask(small: SmallClub, client_for: ClientFor) -> Ask:
    def asked(route: str, role: str = "organiser", status: int = 200, **query: Any) -> HttpResponse:
        client = client_for(small.account(role))
        address = f"/api/v1/clubs/heron-small/waters/{small.mere.uid}/{route}/"
        accept = {"HTTP_ACCEPT": query.pop("accept")} if "accept" in query else {}
        response: HttpResponse = client.get(address, query, **accept)
        assert response.status_code == status, response.content[:400]
        return response

    return asked


def peg_of(form: Any, label: str) -> Any:
    return next(item for item in form["pegs"] if item["peg"]["label"] == label)


def test_an_organiser_reads_where_each_peg_stands_and_what_it_rests_on(ask: Ask) -> None:
    form = ask("peg-form").json()
    assert [item["peg"]["label"] for item in form["pegs"]] == [
        *("1", "2", "3", "4", "6", "7", "8", "9", "10", "11", "12", "12A")
    ]
    assert [(out["peg"]["label"], out["code"]) for out in form["left_out"]] == [("5", "standing_hazard")]
    for item in form["pegs"]:
        standing, record = item["standing"], item["record"]
        assert standing["in_words"].endswith("middle") or "middle" in standing["in_words"]
        assert record["returns"] == record["matches"] + record["pleasure"]
        assert record["raw_ratio"] == pytest.approx(record["why"]["raw_ratio"])
    assert form["wording_rule"] and form["trend_rule"]
    assert any("share strength" in note for note in form["notes"])


def test_nobody_without_a_role_reads_a_figure_of_fewer_than_five_anglers(ask: Ask) -> None:
    officer = peg_of(ask("peg-form").json(), FEW)["record"]
    assert officer["anglers"] == 4
    raw = {repr(officer[name]) for name in ("raw_g_per_hour", "raw_ratio")}
    # 'pegs_fished' is the same for all pegs.
    parts = {name: part for name, part in officer["why"]["parts"].items() if name != "pegs_fished"}
    raw |= {repr(part) for part in parts.values()} - {"1.0"}
    for query in ({}, {"season": "summer"}, {"month": "7"}, {"sort": "raw"}):
        response = ask("peg-form", "member", **query)
        record = peg_of(response.json(), FEW)["record"]
        shown = {name for name, value in record.items() if value is not None}
        assert shown == {"why_not"}
        assert "kept back" in record["why_not"]
        assert not [figure for figure in raw if figure in response.content.decode()]
    pair = ask("peg-form/pair", "member", first=FEW, second="7").json()
    assert pair["comparison"] is not None
    assert pair["first_record"]["returns"] is None


@pytest.mark.parametrize("form", ["csv", "xlsx", "parquet", "svg", "vega"])
def test_no_other_form_shows_a_member_what_json_keeps_back(ask: Ask, form: str) -> None:
    officer = peg_of(ask("peg-form").json(), FEW)["record"]
    body = ask("peg-form", "member", format=form).content
    if form == "csv":
        row = next(row for row in csv.DictReader(io.StringIO(body.decode("utf-8-sig"))) if row["peg"] == FEW)
        assert (row["returns"], row["raw_g_per_hour"], row["last_fished"]) == ("", "", "")
    elif form == "xlsx":
        sheets = pd.read_excel(io.BytesIO(body), sheet_name=None, header=None)
        assert FEW not in sheets["why"].to_numpy().astype(str)
        assert str(officer["raw_g_per_hour"])[:6] not in str({n: s.to_csv() for n, s in sheets.items()})
    elif form == "parquet":
        frame = pd.read_parquet(io.BytesIO(body))
        assert frame.loc[frame["peg"] == FEW, ["returns", "raw_g_per_hour"]].isna().all(axis=None)
    elif form == "vega":
        rows = [row for row in _rows(json.loads(body)) if row.get("peg") == FEW]
        assert rows and all(row.get("raw") is None and row.get("returns") is None for row in rows)
    else:
        assert str(round(officer["raw_ratio"], 4)) not in body.decode()


def _rows(document: Any) -> list[dict[str, Any]]:
    """Every record anywhere in a document's data."""
    if isinstance(document, dict):
        own = [document] if "peg" in document else []
        return own + [row for value in document.values() for row in _rows(value)]
    if isinstance(document, list):
        return [row for value in document for row in _rows(value)]
    return []


def test_no_answer_holds_a_persons_id_name_or_number(ask: Ask, small: SmallClub) -> None:
    match = make_match(small.mere, "CUP", held_on=timezone.localdate() - timedelta(days=5))
    for person, label in ((small.member, "1"), (small.other_member, "2")):
        make_return(person, small.pegs[label], match=match, session_kind="match", fished_on=match.held_on)
    people = [small.member, small.other_member, small.organiser, small.analyst, small.secretary]
    told = {text for person in people for text in (str(person.uid), person.uid.hex)} | {"Member One"}
    for route in ROUTES:
        for form in ("json", "csv"):
            query = PAIR if route.endswith("pair") else {"match": "CUP"} if route == "evenness" else {}
            for role in ("member", "organiser", "analyst", "secretary"):
                text = ask(route, role, format=form, **query).content.decode()
                assert not [one for one in told if one in text]


def test_evenness_is_for_officers_until_the_result_is_out(ask: Ask, small: SmallClub) -> None:
    for role in ("organiser", "analyst", "secretary"):
        assert len(ask("evenness", role).json()["pegs"]) == 12
    today = timezone.localdate()
    match = make_match(small.mere, "CUP", held_on=today - timedelta(days=1))
    refused = ask("evenness", "member", 403).json()
    assert refused["type"] == "/problems/not-allowed" and "result is out" in refused["detail"]
    assert "not out yet" in ask("evenness", "member", 403, match="CUP").json()["detail"]
    drawn = [
        make_return(person, small.pegs[label], match=match, session_kind="match", fished_on=match.held_on)
        for person, label in ((small.member, "1"), (small.other_member, "2"), (small.organiser, "5"))
    ]
    small.club.raise_revision()
    answer = ask("evenness", "member", match="CUP").json()
    assert [item["peg"]["label"] for item in answer["pegs"]] == ["1", "2"]
    assert [out["peg"]["label"] for out in answer["left_out"]] == ["5"]
    for session in drawn:
        Return.objects.filter(pk=session.pk).update(
            outcome=Outcome.DID_NOT_WEIGH, weight_g=None, weight_unit="", weight_step=None
        )
    small.club.raise_revision()
    ask("evenness", "member", 403, match="CUP")


def test_a_hazard_noted_now_takes_the_peg_out_of_the_next_answer(ask: Ask, small: SmallClub) -> None:
    assert "7" in {item["peg"]["label"] for item in ask("peg-form").json()["pegs"]}
    PegHazard.objects.create(
        club=small.club, peg=small.pegs["7"], kind="overhead power line", noted_on=date(2024, 1, 1)
    )
    small.club.raise_places_revision()
    for route, where in (("peg-form", "pegs"), ("evenness", "pegs")):
        assert "7" not in {item["peg"]["label"] for item in ask(route).json()[where]}
    pair = ask("peg-form/pair", **PAIR).json()
    assert pair["no_answer"]["code"] == "standing_hazard" and pair["comparison"] is None


@pytest.mark.parametrize(
    ("route", "query", "field"),
    [
        ("peg-form", {"season": "summer", "month": "7"}, "month"),
        ("peg-form", {"season": "rainy"}, "season"),
        ("peg-form", {"sort": "luck"}, "sort"),
        ("peg-form/pair", {"first": "7"}, "second"),
        ("peg-form/pair", {"first": "7", "second": "7"}, "second"),
        ("evenness", {"pegs": ";"}, "pegs"),
        ("evenness", {"anglers": "30"}, "anglers"),
        ("evenness", {"hours": "nan"}, "hours"),
    ],
)
def test_what_cannot_be_asked_is_told_by_field(
    ask: Ask, route: str, query: dict[str, str], field: str
) -> None:
    problem = ask(route, "organiser", 400, **query).json()
    assert [fault["field"] for fault in problem["errors"]] == [field]


def test_an_absent_match_reads_like_anything_that_is_not_there(ask: Ask) -> None:
    assert ask("evenness", "organiser", 404, match="NONE").json()["type"] == "/problems/not-found"


@pytest.mark.parametrize(
    ("route", "query", "field", "detail"),
    [
        ("peg-form/pair", {"first": "7", "second": "13"}, "second", "has no peg '13'."),
        ("evenness", {"pegs": "7;13"}, "pegs", "has no peg '13'."),
        ("evenness", {"pegs": "7,8"}, "pegs", "has no peg '7,8'. Separate several by ';'."),
    ],
)
def test_a_peg_that_the_water_has_not_is_named(
    ask: Ask, route: str, query: dict[str, str], field: str, detail: str
) -> None:
    (fault,) = ask(route, "organiser", 400, **query).json()["errors"]
    assert (fault["field"], fault["code"]) == (field, "unknown_peg")
    assert fault["detail"].endswith(detail)


def test_tables_and_pictures_come_of_every_answer(ask: Ask) -> None:
    for route, query in (("peg-form", {}), ("peg-form/pair", PAIR), ("evenness", {})):
        table = list(
            csv.DictReader(io.StringIO(ask(route, format="csv", **query).content.decode("utf-8-sig")))
        )
        assert len(table) == (1 if route.endswith("pair") else 12)
        if not route.endswith("pair"):
            for width in ("phone", "print"):
                assert ask(route, format="svg", width=width, **query).content.startswith(b"<?xml")
    workbook = load_workbook(io.BytesIO(ask("peg-form", format="xlsx").content))
    for sheet in workbook:
        for heading in (str(cell.value) for cell in sheet[1]):
            title, _, unit = heading.lower().rstrip(")").partition(" (")
            assert not unit or unit not in title, "no unit says the title again"
    why = ask("peg-form", format="csv", sheet="why").content.decode("utf-8-sig")
    for row in csv.DictReader(io.StringIO(why)):
        names = [name for name in row if name not in ("peg", "raw_ratio", "why_in_words")]
        product = 1.0
        for name in names:
            product *= float(row[name])
        assert product == pytest.approx(float(row["raw_ratio"]), rel=1e-6)


def test_an_answer_worked_out_anew_costs_a_constant_number_of_queries(
    ask: Ask, small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(small.account("organiser"))
    address = f"/api/v1/clubs/heron-small/waters/{small.mere.uid}/peg-form/"

    def queries() -> int:
        client.get(address)
        BODIES.forget()
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        return len(asked)

    before = queries()
    for label in ("1", "2", "3", "4"):
        PegHazard.objects.create(
            club=small.club, peg=small.pegs[label], kind="steep bank", noted_on=date(2024, 1, 1)
        )
    assert queries() == before <= 13
