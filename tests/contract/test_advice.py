"""From returns to advice over HTTP, on a fit that came out."""

from collections.abc import Callable
from math import prod
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account
from clubdata.rules.units import format_pounds_ounces
from clubdata.services.returns import HandIn, hand_in
from tests.contract.routes import READS, StockedClub
from tests.contract.test_schema import faults
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]


@pytest.fixture
def ask(fitted: StockedClub, client_for: ClientFor) -> Callable[..., Any]:
    client = client_for(fitted.small.account())
    address = f"/api/v1/clubs/heron-small/waters/{fitted.small.mere.uid}/advice/"

    def asked(status: int = 200, **question: Any) -> Any:
        response = client.get(address, {"month": 3, **question})
        assert response.status_code == status, response.content
        return response.json()

    return asked


def test_a_fitted_clubs_answers_are_what_the_document_says(
    fitted: StockedClub, client_for: ClientFor
) -> None:
    client = client_for(fitted.small.account("secretary"))
    for operation in READS:
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
    hint = "Separate several words by ';'."
    (fault,) = ask(400, **{field: "first, second"})["errors"]
    assert (fault["field"], fault["code"]) == (field, "unknown_word")
    assert fault["detail"].endswith(hint)
    for words in ("first", "first, second; third"):
        assert hint not in ask(400, **{field: words})["detail"]


def test_a_peg_that_the_water_has_not_is_not_found(ask: Callable[..., Any]) -> None:
    assert ask(404, peg="13")["type"] == "/problems/not-found"


def test_a_return_that_arrives_leaves_the_answer_stale(fitted: StockedClub, ask: Callable[..., Any]) -> None:
    assert ask()["fit"]["stale"] is False
    small = fitted.small
    blank = HandIn(water=small.mere.name, peg="1", fished_on=NOW.date(), outcome="blank", hours=5)  # type: ignore[arg-type]
    hand_in(actor=small.account(), club=small.club, now=NOW, data=blank)
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
