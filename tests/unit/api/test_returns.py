"""Handing in from the bank side: echoed, replayed, refused with every fault by name; and read by role."""

import uuid
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account, Return
from tests.factories import SmallClub, make_match, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
ADDRESS = "/api/v1/clubs/heron-small/returns/"
BODY: dict[str, Any] = {
    "water": "Heron-Small Mere",
    "peg": "12a",
    "fished_on": "2024-06-14",
    "hours": 5,
    "outcome": "weighed",
    "weight": "12-7-8",
    "parts": [{"hook_bait": "reds", "rig_type": "taper", "distance_m": 11.5}],
    "notes": "by the reeds",
}


def test_what_was_handed_in_comes_back_with_grams_pounds_sun_and_moon(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    response = client.post(ADDRESS, BODY)
    assert response.status_code == 201, response.content
    shown = response.json()
    assert response["Location"] == f"http://testserver{ADDRESS}{shown['uid']}/"
    # 12 lb 7 oz 8 dr by the international pound (0.45359237 kg): 5655.73 g
    assert shown["weight"] == {
        "grams": 5656,
        "pounds_ounces": "12 lb 8 oz",
        "as_weighed": "12-7-8",
        "as_typed": "12-7-8",
        "unit": "dram",
        "step": 1.0,
    }
    assert (shown["peg"]["label"], shown["parts"][0]["hook_bait"]["name"]) == ("12A", "red maggot")
    # First quarter of June 2024: the 14th, 05:18 UT (Astronomical Applications Department, US Naval
    # Observatory, Phases of the Moon).
    assert shown["sky"]["moon_phase"] == "first quarter"
    assert shown["sky"]["sunrise"].startswith("2024-06-14T03:")
    assert shown["cautions"] == []
    assert client.get(response["Location"]).json() == shown


SHORT = {"water": "Heron-Small Mere", "peg": "12a", "fished_on": "2024-06-14", "hours": 5}


def test_the_short_form_is_water_day_hours_peg_bait_distance_and_a_weight(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    body = {**SHORT, "hook_bait": "reds", "distance_m": 11.5, "weight": "12lb 8oz"}
    shown = client_for(heron_small.account()).post(ADDRESS, body).json()
    assert (shown["outcome"], shown["weight"]["grams"], shown["weight"]["pounds_ounces"]) == (
        "weighed",
        5670,
        "12 lb 8 oz",
    )
    (part,) = shown["parts"]
    assert (part["hook_bait"]["name"], part["distance_m"]) == ("red maggot", 11.5)


@pytest.mark.parametrize(
    ("said", "outcome", "grams"),
    [
        ("12-8", "weighed", 5670), ("12lb 8oz", "weighed", 5670), ("12-8-4", "weighed", 5677),
        ("5.67kg", "weighed", 5670), ("5670 g", "weighed", 5670), ("Blank", "blank", 0),
        ("dnw", "did_not_weigh", None), ("abt 7lb", "estimated", 3175),
    ],
)  # fmt: skip
def test_the_weight_says_what_came_of_the_day(
    said: str, outcome: str, grams: int | None, heron_small: SmallClub, client_for: ClientFor
) -> None:
    # 1 lb = 453.59237 g, 1 oz = 28.349523125 g, 1 dr = 1.7718451953125 g (International Yard and Pound
    # Agreement 1959).
    words = {"blank": ["blank"], "did_not_weigh": ["dnw"], "estimated": ["abt"]}
    heron_small.club.conventions = {"weight_words": words}
    heron_small.club.save()
    shown = client_for(heron_small.account()).post(ADDRESS, {**SHORT, "weight": said}).json()
    assert shown["outcome"] == outcome, shown
    assert (shown["weight"] or {"grams": None})["grams"] == grams


@pytest.mark.parametrize(
    ("wrong", "field", "code"),
    [
        ({}, "weight", "required"),
        ({"weight": "3.8"}, "weight", "ambiguous_weight"),
        ({"weight": "1-0", "hook_bait": "reds", "parts": [{"hook_bait": "reds"}]}, "hook_bait", "said_twice"),
        ({"weight": "1-0", "peg": ""}, "peg", "required"),
    ],
)
def test_the_short_form_tells_what_it_lacks(
    wrong: dict[str, Any], field: str, code: str, heron_small: SmallClub, client_for: ClientFor
) -> None:
    response = client_for(heron_small.account()).post(ADDRESS, {**SHORT, **wrong})
    assert response.status_code == 400
    assert [(error["field"], error["code"]) for error in response.json()["errors"]] == [(field, code)]
    assert not Return.objects.exists()


def test_who_roved_needs_no_peg_and_a_guest_has_no_name(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    body = {**SHORT, "peg": "", "roved": True, "guest": True, "rods": 2, "weight": "1-0", "from_memory": True}
    shown = client_for(heron_small.account()).post(ADDRESS, body).json()
    assert (shown["peg"], shown["roved"], shown["guest"], shown["rods"]) == (None, True, True, 2)
    assert shown["source"] == "memory"


def test_tackle_and_the_length_of_a_fish_are_kept_as_told(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    tied = {"main_line_mm": 0.18, "hooklength_mm": 0.12, "hooklength_cm": 10, "hook_size": 16, "float_g": 0.4}
    body = {
        **SHORT,
        "weight": "5-0",
        "parts": [{"hook_bait": "reds", **tied}],
        "catch": [{"species": "roach", "biggest": "0-12", "biggest_length_cm": 28.5}],
    }
    shown = client_for(heron_small.account()).post(ADDRESS, body).json()
    assert {name: shown["parts"][0][name] for name in tied} == tied
    assert shown["catch"][0]["biggest_length_cm"] == 28.5


def test_under_a_power_line_the_record_stands_and_the_danger_is_said(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    response = client_for(heron_small.account()).post(ADDRESS, {**BODY, "peg": "5"})
    assert response.status_code == 201
    assert [caution["code"] for caution in response.json()["cautions"]] == ["overhead_power_line"]


def test_sent_again_after_a_lost_signal(heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account())
    body = {**BODY, "uid": str(uuid.uuid4())}
    first, again = client.post(ADDRESS, body), client.post(ADDRESS, body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    changed = client.post(ADDRESS, {**body, "weight": "12-7-9"})
    assert changed.status_code == 409
    assert changed.json()["type"] == "/problems/conflict"
    assert Return.objects.count() == 1


@pytest.mark.parametrize("keyed", [{}, {"Idempotency-Key": "k-1"}], ids=["without a key", "with a key"])
def test_a_slip_is_put_right_with_the_tag_that_came_with_the_answer(
    keyed: dict[str, str], heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    body = {**BODY, "uid": str(uuid.uuid4())}
    handed_in = client.post(ADDRESS, body, headers=keyed)
    assert client.post(ADDRESS, body, headers=keyed)["ETag"] == handed_in["ETag"]
    assert client.get(handed_in["Location"])["ETag"] == handed_in["ETag"]
    wish, tag = {"weight": "12-7-9", "reason": "misread"}, {"If-Match": handed_in["ETag"]}
    assert client.patch(handed_in["Location"], wish, headers=tag).status_code == 200
    assert client.patch(handed_in["Location"], wish, headers=tag).status_code == 412


def test_many_at_once_are_each_kept_or_refused_and_may_be_sent_twice(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    first, second = (str(uuid.uuid4()) for _ in range(2))
    body = {
        "returns": [
            {**SHORT, "uid": first, "weight": "1-0"},
            {**SHORT, "weight": "3.8"},
            {**SHORT, "wieght": "1-0"},
            {**SHORT, "uid": second, "peg": "4", "weight": "blank"},
        ]
    }
    results = client.post(f"{ADDRESS}batch/", body).json()["results"]
    assert [result["status"] for result in results] == [201, 400, 400, 201]
    assert [result["index"] for result in results] == [0, 1, 2, 3]
    assert results[1]["problem"]["errors"][0]["code"] == "ambiguous_weight"
    assert results[2]["problem"]["errors"][0]["field"] == "wieght"
    assert (results[3]["kept"]["uid"], results[3]["kept"]["outcome"]) == (second, "blank")
    again = client.post(f"{ADDRESS}batch/", body).json()["results"]
    assert [result["status"] for result in again] == [200, 400, 400, 200]
    assert Return.objects.count() == 2


@pytest.mark.parametrize("body", [{}, {"returns": []}, {"returns": [{}] * 101}, {"returns": ["a"]}])
def test_a_batch_of_nothing_or_too_many_is_refused_whole(
    body: dict[str, Any], heron_small: SmallClub, client_for: ClientFor
) -> None:
    assert client_for(heron_small.account()).post(f"{ADDRESS}batch/", body).status_code == 400


def test_a_return_is_begun_with_all_that_is_known_and_lacks_only_its_weight(
    heron_small: SmallClub, client_for: ClientFor, django_assert_max_num_queries: Any
) -> None:
    client = client_for(heron_small.account())
    start = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/start-return/"
    client.post(ADDRESS, {**SHORT, "hook_bait": "reds", "distance_m": 11.5, "rods": 2, "weight": "1-0"})
    others = [heron_small.other_member, heron_small.organiser, heron_small.analyst, heron_small.secretary]
    for member in others[:3]:
        make_return(
            member,
            heron_small.pegs["1"],
            fished_on=date(2023, 6, 3),
            part={"hook_bait": heron_small.red_maggot},
        )
    few = client.get(start, {"peg": "3", "on": "2024-06-20"}).json()
    assert few["usual_baits"] == []
    make_return(
        others[3],
        heron_small.pegs["1"],
        fished_on=date(2023, 6, 3),
        part={"hook_bait": heron_small.red_maggot},
    )
    with django_assert_max_num_queries(13):
        begun = client.get(start, {"peg": "3", "on": "2024-06-20"}).json()
    assert begun["usual_baits"] == [{"name": "red maggot", "returns": 5}]
    assert (begun["depth_cm"], begun["peg"]["label"]) == (180, "3")
    assert begun["sky"]["sunrise"].startswith("2024-06-20T03:")
    draft = begun["draft"]
    assert (draft["hook_bait"], draft["distance_m"], draft["rods"], draft["hours"]) == (
        "red maggot",
        11.5,
        2,
        5,
    )
    assert client.post(ADDRESS, {**draft, "fished_on": "2024-06-14", "weight": "2-0"}).status_code == 201


def test_a_start_on_a_match_day_is_of_the_match_and_a_hazard_is_told(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    make_match(heron_small.mere, "M-1")
    client = client_for(heron_small.account())
    start = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/start-return/"
    begun = client.get(start, {"peg": "5", "on": "2024-05-01"}).json()
    assert (begun["draft"]["session_kind"], begun["draft"]["match"]) == ("match", "M-1")
    assert [caution["code"] for caution in begun["cautions"]] == ["overhead_power_line"]
    assert client.get(start, {"peg": "99"}).status_code == 404
    assert client.get(start).json()["peg"] is None


def test_every_fault_is_named_with_its_field(heron_small: SmallClub, client_for: ClientFor) -> None:
    wrong = {**BODY, "weight": "12.7", "hours": 49, "parts": [{"hook_bait": "red magot"}]}
    response = client_for(heron_small.account()).post(ADDRESS, wrong)
    assert response.status_code == 400
    problem = response.json()
    assert problem["type"] == "/problems/invalid-input"
    assert {(fault["field"], fault["code"]) for fault in problem["errors"]} == {
        ("weight", "ambiguous_weight"),
        ("hours", "out_of_range"),
        ("parts.0.hook_bait", "unknown_word"),
    }
    assert "red maggot" in problem["detail"]


def test_a_fault_of_the_short_form_has_the_name_that_was_sent(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    whole = {name: value for name, value in BODY.items() if name != "parts"}
    short = {**whole, "hook_bait": "red magot", "distance_m": 151, "weight": "3.8"}
    client = client_for(heron_small.account())
    alone = client.post(ADDRESS, short).json()["errors"]
    wanted = {("hook_bait", "unknown_word"), ("distance_m", "out_of_range"), ("weight", "ambiguous_weight")}
    assert {(fault["field"], fault["code"]) for fault in alone} == wanted
    (weight,) = (fault["detail"] for fault in alone if fault["field"] == "weight")
    assert weight.startswith("A number alone does not say its unit;") and weight.endswith("850 g.")
    (kept,) = client.post(f"{ADDRESS}batch/", {"returns": [short]}).json()["results"]
    assert kept["problem"]["errors"] == alone


@pytest.mark.parametrize(
    ("extra", "field"),
    [
        ({"bait": "reds"}, "bait"),
        ({"parts": [{"hookbait": "reds"}]}, "parts.0.hookbait"),
        ({"conditions": {"wind": 3}}, "conditions.wind"),
        ({"hours": "5.123"}, "hours"),
        ({"fished_on": "14/06/2024"}, "fished_on"),
        ({"outcome": "good"}, "outcome"),
    ],
)
def test_a_misspelt_field_is_told_not_dropped(
    extra: dict[str, Any], field: str, heron_small: SmallClub, client_for: ClientFor
) -> None:
    response = client_for(heron_small.account()).post(ADDRESS, {**BODY, **extra})
    assert response.status_code == 400
    assert [fault["field"] for fault in response.json()["errors"]] == [field]


def test_members_hand_in_their_own_and_officers_anybodys(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    others = {**BODY, "member": "M2"}
    assert client_for(heron_small.account()).post(ADDRESS, others).status_code == 400
    response = client_for(heron_small.account("organiser")).post(ADDRESS, {**others, "session_kind": "match"})
    assert response.status_code == 201
    assert response.json()["member"]["number"] == "M2"


def test_who_hands_in_for_another_reads_it_back(heron_small: SmallClub, client_for: ClientFor) -> None:
    client = client_for(heron_small.account("organiser"))
    response = client.post(ADDRESS, {**BODY, "member": "M2"})
    assert response.status_code == 201, response.content
    assert response.json()["notes"] == BODY["notes"]
    assert client.get(response["Location"]).status_code == 200
    make_return(
        heron_small.other_member,
        heron_small.pegs["2"],
        source="sheet",
        entered_by=heron_small.account("organiser"),
    )
    assert len(client.get(ADDRESS).json()["results"]) == 1  # importing a sheet opens none of its rows


@pytest.fixture
def both_kinds(heron_small: SmallClub) -> dict[str, Return]:
    """Another member's match and pleasure returns, with notes, entered by themselves."""
    account = heron_small.account("other_member")
    return {
        kind: make_return(
            heron_small.other_member,
            heron_small.pegs["2"],
            session_kind=kind,
            notes="secret swim",
            entered_by=account,
        )
        for kind in ("match", "pleasure")
    }


@pytest.mark.parametrize(
    ("role", "kinds", "notes"),
    [
        ("member", {"match"}, None),
        ("organiser", {"match"}, "secret swim"),
        ("analyst", {"match", "pleasure"}, "secret swim"),
        ("secretary", {"match", "pleasure"}, "secret swim"),
        ("other_member", {"match", "pleasure"}, "secret swim"),
    ],
)
def test_what_each_role_reads_of_anothers_returns(  # noqa: PLR0917 - three cases' values, three fixtures
    role: str,
    kinds: set[str],
    notes: str | None,
    both_kinds: dict[str, Return],
    heron_small: SmallClub,
    client_for: ClientFor,
) -> None:
    client = client_for(heron_small.account(role))
    rows = client.get(ADDRESS).json()["results"]
    assert {row["session_kind"] for row in rows} == kinds
    assert {row["notes"] for row in rows} == {notes}
    assert {row["entered_by"] is None for row in rows} == {notes is None}
    for kind, session in both_kinds.items():
        expected = 200 if kind in kinds else 404
        assert client.get(f"{ADDRESS}{session.uid}/").status_code == expected


def test_the_list_narrows(heron_small: SmallClub, client_for: ClientFor) -> None:
    mere, brook = heron_small.pegs, heron_small.brook_pegs
    rows = {
        "mere": make_return(heron_small.member, mere["1"], fished_on="2024-05-01"),
        "brook": make_return(heron_small.member, brook["1"], fished_on="2024-05-02"),
        "match": make_return(heron_small.member, mere["2"], fished_on="2024-05-03", session_kind="match"),
        "blank": make_return(heron_small.member, mere["3"], fished_on="2024-05-04", outcome="blank"),
        "other": make_return(
            heron_small.other_member, mere["2"], fished_on="2024-05-05", session_kind="match"
        ),
    }
    client = client_for(heron_small.account())

    def listed(**query: str) -> set[str]:
        uids = {row["uid"] for row in client.get(ADDRESS, query).json()["results"]}
        return {name for name, row in rows.items() if str(row.uid) in uids}

    assert listed() == set(rows)
    assert listed(water=str(heron_small.brook.uid)) == {"brook"}
    assert listed(peg="2") == {"match", "other"}
    assert listed(peg=str(brook["1"].uid)) == {"brook"}
    assert listed(peg="1") == {"mere", "brook"}
    assert listed(session_kind="match", mine="true") == {"match"}
    assert listed(outcome="blank") == {"blank"}
    assert listed(**{"from": "2024-05-02", "to": "2024-05-03"}) == {"brook", "match"}
    assert listed(water=str(uuid.uuid4())) == set()
