"""From returns to advice over HTTP, on a fit that came out."""

import csv
import io
from collections.abc import Callable
from math import prod
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account
from clubdata.rules.units import format_pounds_ounces
from clubdata.services.members import membership
from clubdata.services.returns import HandIn, hand_in
from tests.contract.routes import READS, StockedClub
from tests.contract.test_schema import faults
from tests.factories import NOW, SmallClub

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture
def ask(fitted: StockedClub, client_for: ClientFor) -> Callable[..., Any]:
    client = client_for(fitted.small.account())
    address = f"/api/v1/clubs/heron-small/waters/{fitted.small.mere.uid}/advice/"

    def asked(status: int = 200, **question: Any) -> Any:
        parameters = {"month": 3, **question}
        given = {name: value for name, value in parameters.items() if value is not None}
        response = client.get(address, given)
        assert response.status_code == status, response.content
        return response.json()

    return asked


def test_a_fitted_clubs_answers_are_what_the_document_says(
    fitted: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(fitted.small.account("secretary"))
    for operation in READS:
        if "application/json" not in operation.description["responses"]["200"]["content"]:
            continue  # a file
        response = client.get(fitted.address(operation.path), operation.query)
        assert response.status_code == 200, response.content
        described = operation.description["responses"]["200"]["content"]["application/json"]["schema"]
        assert faults(described, response.json()) == [], operation


def test_the_better_bait_leads_and_the_numbers_hang_together(ask: Callable[..., Any]) -> None:
    advice = ask(peg="7", hours=5)
    assert advice["no_advice"] is None
    assert [choice["hook_bait"]["name"] for choice in advice["choices"]] == ["caster", "red maggot"]
    for choice in advice["choices"]:
        assert choice["lower_g"] < choice["expected_g"] < choice["upper_g"]
        product = prod(driver["multiplier"] for driver in choice["drivers"])
        assert choice["expected_g"] == pytest.approx(choice["base_g_per_hour"] * 5 * product)
        assert choice["expected_lb_oz"] == format_pounds_ounces(round(choice["expected_g"]))
    assert {caution["code"] for caution in advice["cautions"]} >= {"lightning_and_carbon", "lead_weights"}


def test_twice_the_hours_are_twice_the_weight(ask: Callable[..., Any]) -> None:
    short, long = (ask(hours=hours)["choices"][0]["expected_g"] for hours in (3, 6))
    assert long == pytest.approx(2 * short)


def test_limits_hold(ask: Callable[..., Any]) -> None:
    advice = ask(baits="reds", longest_pole_m=8)
    assert [choice["hook_bait"]["name"] for choice in advice["choices"]] == ["red maggot"]
    assert all(choice["distance_m"] <= 8 for choice in advice["choices"])


def test_a_peg_under_a_power_line_gets_no_fishing_advice(ask: Callable[..., Any]) -> None:
    advice = ask(peg="5")
    assert advice["choices"] == []
    assert advice["no_advice"]["code"] == "standing_hazard"
    assert advice["hazards"][0]["kind"] == "overhead power line"
    assert advice["hazards"][0]["whom_to_tell"]
    assert advice["other_pegs"]
    assert "5" not in {peg["label"] for peg in advice["other_pegs"]}
    assert "5" in {peg["label"] for peg in ask()["pegs_without_advice"]}


@pytest.mark.parametrize(
    ("question", "status", "field"),
    [
        ({"month": 13}, 400, "month"),
        ({"month": ""}, 400, "month"),
        ({"hours": 49}, 400, "hours"),
        ({"hours": "nan"}, 400, "hours"),
        ({"longest_pole_m": "-1"}, 400, "longest_pole_m"),
        ({"baits": "cstr"}, 400, "baits"),
        ({"baits": ";"}, 400, "baits"),
        ({"session_kind": "work"}, 400, "session_kind"),
    ],
)
def test_what_cannot_be_asked_is_told_by_field(
    question: dict[str, Any], status: int, field: str, ask: Callable[..., Any]
) -> None:
    problem = ask(status, **question)
    assert [fault["field"] for fault in problem["errors"]] == [field]


@pytest.mark.parametrize("field", ["baits", "rig_types", "methods"])
def test_words_separated_by_commas_are_told_of_the_semicolon(field: str, ask: Callable[..., Any]) -> None:
    hint = "Separate several by ';'."
    (fault,) = ask(400, **{field: "first, second"})["errors"]
    assert (fault["field"], fault["code"]) == (field, "unknown_word")
    assert fault["detail"].endswith(hint)
    for words in ("first", "first, second; third"):
        assert hint not in ask(400, **{field: words})["detail"]


def test_a_peg_that_the_water_has_not_is_named(ask: Callable[..., Any]) -> None:
    (fault,) = ask(400, peg="13")["errors"]
    assert fault == {"field": "peg", "code": "unknown_peg", "detail": "Heron-Small Mere has no peg '13'."}


@pytest.mark.parametrize(
    ("question", "detail"),
    [
        ({"month": 13}, "A month goes from 1 to 12."),
        ({"month": 0}, "A month goes from 1 to 12."),
        ({"month": "May"}, "A month goes from 1 to 12."),
        ({"month": None, "on": "2025-02-30"}, "Write a day of the calendar as 2025-03-31."),
    ],
)
def test_a_slip_is_answered_with_what_would_do(
    question: dict[str, Any], detail: str, ask: Callable[..., Any]
) -> None:
    assert [fault["detail"] for fault in ask(400, **question)["errors"]] == [detail]


def test_a_return_that_arrives_leaves_the_answer_stale(fitted: StockedClub, ask: Callable[..., Any]) -> None:
    assert ask()["fit"]["stale"] is False
    small = fitted.small
    blank = HandIn(water=small.mere.name, peg="1", fished_on=NOW.date(), outcome="blank", hours=5)  # type: ignore[arg-type]
    hand_in(who=membership(actor=small.account(), slug=small.club.slug), now=NOW, data=blank)
    assert ask()["fit"]["stale"] is True


def test_a_fit_is_found_by_its_job_and_by_the_run_that_advice_names(
    fitted: StockedClub, ask: Callable[..., Any], client_for: ClientFor
) -> None:
    client = client_for(fitted.small.account("analyst"))
    run = ask()["fit"]["uid"]
    by_job, by_run = (
        client.get(f"/api/v1/clubs/heron-small/fits/{uid}/").json() for uid in (fitted.fit.uid, run)
    )
    assert by_job == by_run
    assert by_job["run"]["uid"] == run
    assert by_job["run"]["rows_used"] + sum(by_job["run"]["rows_left_out"].values()) == 401


def test_no_answer_on_fits_or_advice_holds_a_persons_id(
    fitted: StockedClub, ask: Callable[..., Any], client_for: ClientFor
) -> None:
    small = fitted.small
    people = [small.member, small.other_member, small.organiser, small.analyst]
    ids = {text for person in people for text in (str(person.uid), person.uid.hex)}
    client = client_for(small.account("secretary"))
    texts = [str(ask(peg="7"))]
    texts.append(client.get(f"/api/v1/clubs/heron-small/fits/{fitted.fit.uid}/").content.decode())
    texts.append(client.get(f"/api/v1/clubs/heron-small/jobs/{fitted.fit.uid}/").content.decode())
    assert not [one for one in ids for text in texts if one in text]


def test_a_day_and_its_conditions_can_be_asked_about(ask: Callable[..., Any]) -> None:
    day = ask(month=None, on="2024-12-12", water_temperature_c=1.5, wind_force="gale", tow="strong", peg="7")
    assert (day["month"], day["on"]) == (12, "2024-12-12")
    assert day["headline"].startswith(
        "A gale is no weather for a bank side: stay at home. Peg 7 on 12 December, 5 h: caster at "
    )
    codes = [caution["code"] for caution in day["cautions"]]
    assert {"gale", "strong_tow", "ice", "lightning_and_carbon"} <= set(codes)
    assert "Beaufort force 8 (gale), water at 1.5 °C" in day["reference"]["sentence"]
    assert any("tow" in note for note in day["notes"])
    assert day["choices"] and "not proof of cause" in day["association"]


@pytest.mark.parametrize(
    ("question", "field"),
    [
        ({"month": None}, "month"),
        ({"on": "2024-05-01"}, "month"),
        ({"month": None, "on": "2024-02-30"}, "on"),
        ({"wind_force": "blowy"}, "wind_force"),
        ({"tow": "raging"}, "tow"),
        ({"water_temperature_c": 41}, "water_temperature_c"),
        ({"target": "whales"}, "target"),
    ],
)
def test_a_day_that_cannot_be_is_told_by_field(
    question: dict[str, Any], field: str, ask: Callable[..., Any]
) -> None:
    assert [fault["field"] for fault in ask(400, **question)["errors"]] == [field]


@pytest.mark.parametrize(
    ("day", "code"),
    [
        ("2024-03-14", None),
        ("2024-03-15", "close_season"),
        ("2024-06-15", "close_season"),
        ("2024-06-16", None),
    ],
)
def test_the_close_season_on_a_river_is_told_to_the_day(
    day: str, code: str | None, fitted: StockedClub, client_for: ClientFor
) -> None:
    address = f"/api/v1/clubs/heron-small/waters/{fitted.small.brook.uid}/advice/"
    advice = client_for(fitted.small.account()).get(address, {"on": day}).json()
    codes = {caution["code"] for caution in advice["cautions"]}
    assert ("close_season" in codes) is (code is not None)
    assert advice["no_advice"]["code"] == "too_few_returns_on_water"


def test_a_group_of_species_without_a_fit_says_how_many_returns_it_takes(ask: Callable[..., Any]) -> None:
    advice = ask(target="silvers")
    assert advice["choices"] == [] and advice["past_returns"] is None
    assert advice["no_advice"]["code"] == "no_fit_of_target"
    assert advice["no_advice"]["needed"] == 200
    assert advice["headline"].startswith(
        "Heron-Small Mere in March: no advice. Nothing has been worked out for silvers"
    )


def test_of_four_members_no_number_no_day_and_no_past_returns_are_shown(ask: Callable[..., Any]) -> None:
    advice = ask(peg="7")
    parts = [
        *advice["evidence"],
        *(part for choice in advice["choices"] for part in choice["evidence"]["parts"]),
    ]
    assert {part["name"] for part in parts} == {"water", "peg", "bait", "bait_month", "distance", "rig_type"}
    for part in parts:
        assert (part["members"], part["last_on"]) == (None, None)
        assert part["members_in_words"] == ("fewer than 5" if part["returns"] else "nobody")
    assert advice["past_returns"]["returns"] is None
    assert all(choice["how_much_we_know"] != "a lot" for choice in advice["choices"])


@pytest.mark.parametrize("sheet", ["choices", "drivers", "evidence"])
def test_the_tables_hold_what_the_answer_says(
    sheet: str, fitted: StockedClub, ask: Callable[..., Any], client_for: ClientFor
) -> None:
    address = f"/api/v1/clubs/heron-small/waters/{fitted.small.mere.uid}/advice/"
    response = client_for(fitted.small.account()).get(
        address, {"month": 3, "peg": "7", "format": "csv", "sheet": sheet}
    )
    table = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    choices = ask(peg="7")["choices"]
    match sheet:
        case "choices":
            told = [(row["hook_bait"], float(row["expected_g"]), float(row["chance_best"])) for row in table]
            assert told == [
                (choice["hook_bait"]["name"], choice["expected_g"], choice["chance_best"])
                for choice in choices
            ]
        case "drivers":
            assert [(row["name"], float(row["multiplier"])) for row in table] == [
                (driver["name"], driver["multiplier"]) for choice in choices for driver in choice["drivers"]
            ]
        case _:
            assert len(table) == 2 + sum(len(choice["evidence"]["parts"]) for choice in choices)
    people = [fitted.small.member, fitted.small.other_member, fitted.small.organiser, fitted.small.analyst]
    assert not [person for person in people if person.uid.hex in response.content.decode()]


@pytest.mark.parametrize("chart", ["choices", "distances", "months"])
@pytest.mark.parametrize("form", ["svg", "vega"])
def test_each_chart_names_its_unit_and_its_returns(
    chart: str, form: str, fitted: StockedClub, client_for: ClientFor
) -> None:
    address = f"/api/v1/clubs/heron-small/waters/{fitted.small.mere.uid}/advice/"
    response = client_for(fitted.small.account()).get(
        address, {"month": 3, "peg": "7", "format": form, "chart": chart}
    )
    assert response.status_code == 200, response.content
    text = response.content.decode()
    assert "kg" in text and "returns" in text and "caster" in text


def test_ones_own_returns_are_ones_own_in_full_and_nobody_elses(
    fitted: StockedClub, client_for: ClientFor
) -> None:
    small = fitted.small
    address = f"/api/v1/clubs/heron-small/waters/{small.mere.uid}/own-returns/"
    for role in ("member", "analyst", "secretary"):
        results = client_for(small.account(role)).get(address).json()["results"]
        assert {row["member"]["number"] for row in results} <= {getattr(small, role).number}
    mine = client_for(small.account()).get(address, {"peg": "5", "month": 5}).json()["results"]
    assert [row["uid"] for row in mine] == [str(fitted.session.uid)]
    assert mine[0]["notes"] == "by the reeds"


def test_ones_own_returns_of_another_clubs_water_are_not_found(
    fitted: StockedClub, other_club: SmallClub, client_for: ClientFor
) -> None:
    address = f"/api/v1/clubs/heron-small/waters/{other_club.mere.uid}/own-returns/"
    assert client_for(fitted.small.account()).get(address).status_code == 404


def test_an_empty_target_is_everything_caught(ask: Callable[..., Any]) -> None:
    assert ask(target="")["choices"] == ask()["choices"] != []
