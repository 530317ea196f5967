"""The plan keeps within kit, rules and safety; its page and drawings; and the rig as tied."""

import re
from base64 import b64encode
from collections.abc import Callable
from datetime import date
from hashlib import sha256
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account, HookBait, Peg, PegDepth, PegHazard, Water
from tests.factories import SmallClub, make_word

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
Ask = Callable[..., Any]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def ask(heron_small: SmallClub, client_for: ClientFor) -> Ask:
    make_word(HookBait, heron_small.club, "sweetcorn", "corn")
    client = client_for(heron_small.account())

    def asked(where: str = "plan/", status: int = 200, **given: Any) -> Any:
        path = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/{where}"
        answer = client.get(path, {"peg": "12A", "on": "2024-09-14", **given})
        assert answer.status_code == status, answer.content
        return answer

    return asked


@pytest.fixture
def club_client(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account())


def test_a_peg_under_a_power_line_gets_no_plan_but_the_hazard_whom_to_tell_and_other_pegs(ask: Ask) -> None:
    found = ask(peg="5").json()
    assert found["plan"] is None and found["no_plan"]["code"] == "standing_hazard"
    assert (
        found["hazards"][0]["kind"] == "overhead power line" and "105" in found["hazards"][0]["whom_to_tell"]
    )
    assert found["other_pegs"] and "5" not in {peg["label"] for peg in found["other_pegs"]}
    first = found["cautions"][0]
    assert (
        first["code"] == "overhead_power_line" and "no distance is a promise of safety" in first["sentence"]
    )
    page = ask("plan/page/", peg="5").content.decode()
    assert "overhead power line" in page and "Lines and rigs" not in page and "<svg" not in page
    assert ask("plan/next/", peg="5", small_fish=True).json() == {"steps": []}
    assert ask("plan/rig/", 404, peg="5").json()["status"] == 404


def test_the_cautions_always_stand_with_the_plan(ask: Ask) -> None:
    codes = {one["code"] for one in ask(water_temperature_c=22, wind_force=6).json()["cautions"]}
    assert {
        "lightning_and_carbon",
        "strong_wind",
        "warm_water",
        "lead_weights",
        "local_close_season",
    } <= codes
    cold = {one["code"] for one in ask(on="2024-01-14").json()["cautions"]}
    assert "ice" in cold


def test_a_steep_bank_is_cautioned_of_and_planned_for(heron_small: SmallClub, ask: Ask) -> None:
    peg = heron_small.pegs["12A"]
    PegHazard.objects.create(club=heron_small.club, peg=peg, kind="steep bank", noted_on=date(2020, 1, 1))
    found = ask().json()
    assert found["plan"] and "steep_or_deep" in {one["code"] for one in found["cautions"]}


def test_a_river_in_the_close_season_gets_no_plan(heron_small: SmallClub, club_client: APIClient) -> None:
    path = f"/api/v1/clubs/heron-small/waters/{heron_small.brook.uid}/plan/"
    closed = club_client.get(path, {"peg": "1", "on": "2024-04-14"}).json()
    assert closed["plan"] is None and closed["no_plan"]["code"] == "close_season"
    assert club_client.get(path, {"peg": "1", "on": "2024-06-16"}).json()["plan"]


def test_the_waters_rules_limit_it(heron_small: SmallClub, ask: Ask) -> None:
    rules = {"hook_baits_not_allowed": ["red maggot"], "feeds_not_allowed": ["groundbait"]}
    Water.objects.filter(pk=heron_small.mere.pk).update(rules=rules)
    plan = ask().json()["plan"]
    assert plan["first_bait"]["value"] != "red maggot"
    said = " ".join(one["says"] for one in plan["items"])
    assert "ball" not in said and "maggots" not in said
    assert any("ball-breaks-half-way" in words for words in plan["left_out"])
    assert not any("ball" in one["advice"] for one in plan["watch"])
    assert "maggot" not in ask().json()["headline"]
    Water.objects.filter(pk=heron_small.mere.pk).update(rules={"methods_not_allowed": ["pole"]})
    assert ask().json()["no_plan"]["code"] == "pole_not_allowed"


def test_the_kit_limits_it(ask: Ask) -> None:
    kit = {
        "longest_pole_m": 11, "baits": "caster", "feeds": "pellet", "floats": "4x12; 4x18",
        "main_lines_mm": "0.14; 0.16", "hooklengths_mm": "0.16; 0.12; 0.09", "hook_sizes": "18; 20",
    }  # fmt: skip
    plan = ask(**kit).json()["plan"]
    assert [one["distance_m"] for one in plan["lines"]] == [11, 6.5]
    tied = {one["topic"]: one["value"] for one in plan["lines"][0]["items"]}
    assert (tied["main_line"], tied["hooklength"], tied["hook"], tied["float"]) == (0.16, 0.12, 18, "4x18")
    assert plan["lines"][0]["rig"]["load_g"] == 0.75
    assert plan["first_bait"]["value"] == "caster" and plan["next_bait"] is None
    assert "ball" not in " ".join(one["says"] for one in plan["items"])


def test_the_kit_is_understood_in_any_of_the_clubs_spellings(ask: Ask) -> None:
    assert ask(baits="REDS").json()["plan"]["first_bait"]["value"] == "red maggot"


def test_no_change_is_to_what_may_not_be_used_or_is_not_there(heron_small: SmallClub, ask: Ask) -> None:
    def steps(**given: Any) -> set[str]:
        return {one["name"] for one in ask("plan/next/", **given).json()["steps"]}

    pestered, quiet = {"small_fish": True}, {"minutes_without_sign": 5, "fish_expected": True}
    assert "small-fish-change-bait" in steps(**pestered) and "no-sign-feed" in steps(**quiet)
    assert "small-fish-change-bait" not in steps(baits="caster", **pestered)
    assert "no-sign-feed" not in steps(feeds="pellet", **quiet)
    rules = {"hook_baits_not_allowed": ["sweetcorn"], "feeds_not_allowed": ["groundbait"]}
    Water.objects.filter(pk=heron_small.mere.pk).update(rules=rules)
    assert not {"small-fish-change-bait", "no-sign-feed"} & steps(**pestered, **quiet)
    plan = ask().json()["plan"]
    assert not {"small-fish-change-bait", "no-sign-feed"} & {one["name"] for one in plan["watch"]}


def test_a_hooklength_no_finer_than_the_main_line_is_not_tied(ask: Ask) -> None:
    plan = ask(main_lines_mm="0.12", hooklengths_mm="0.14; 0.12").json()["plan"]
    found = next(one for one in plan["lines"][0]["items"] if one["topic"] == "hooklength")
    assert found["value"] is None and "finer" in found["says"]


def test_the_depth_is_the_pegs_record_and_said_where_it_was_found(heron_small: SmallClub, ask: Ask) -> None:
    peg = heron_small.pegs["12A"]
    PegDepth.objects.create(club=heron_small.club, peg=peg, distance_m=13, depth_cm=210)
    far, near = ask().json()["plan"]["lines"]
    assert far["depth"] == {"depth_cm": 210, "found": "on record for this line"}
    assert near["depth"] == {"depth_cm": 180, "found": "on record for the peg"}
    assert "6 ft 11 in" in far["depth_in_words"] and far["rig"]["depth_cm"] == 210
    assert far["joints"] == 8, "three of the top kit count as one length"
    Peg.objects.update(depth_cm=None)
    near = ask().json()["plan"]["lines"][1]
    assert near["depth"] is None and "plumb it first" in near["depth_in_words"]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"peg": ""}, "peg"), ({"peg": "77"}, "peg"), ({"hook_sizes": "big"}, "hook_sizes"),
        ({"baits": "moonbeams"}, "baits"), ({"longest_pole_m": -1}, "longest_pole_m"),
        ({"longest_pole_m": "nan"}, "longest_pole_m"), ({"on": "someday"}, "on"),
        ({"month": 3}, "month"), ({"wind_force": "breezy-ish"}, "wind_force"), ({"kit": "all"}, "kit"),
    ],
)  # fmt: skip
def test_a_slip_is_answered_with_its_field(wrong: dict[str, Any], field: str, ask: Ask) -> None:
    for where in ("plan/", "plan/page/", "plan/rig/"):
        assert [one["field"] for one in ask(where, 400, **wrong).json()["errors"]] == [field]


# --- Drawing and page ------------------------------------------------------------------------------------


@pytest.mark.parametrize("depth_cm", [60, 152, 240, 420])
@pytest.mark.parametrize("place", ["long", "short"])
def test_the_drawing_is_to_scale(depth_cm: int, place: str, ask: Ask) -> None:
    Peg.objects.update(depth_cm=depth_cm)
    rig = next(one for one in ask(wind_force=3).json()["plan"]["lines"] if one["place"] == place)["rig"]
    answer = ask("plan/rig/", wind_force=3, place=place)
    assert answer["Content-Type"] == "image/svg+xml"
    root = ET.fromstring(answer.content)  # noqa: S314 - our own drawing
    hook_y = float(root.find(f".//{SVG}path[@data-part='hook']").get("data-y"))  # type: ignore[union-attr, arg-type]
    shot = root.findall(f".//{SVG}circle[@data-part='shot']")
    wanted = sorted((*rig["shot"], *rig["back_shot"]), key=lambda one: one["above_hook_cm"])
    assert [one.get("data-size") for one in shot] == [one["size"] for one in wanted]
    for drawn, one in zip(shot, wanted, strict=True):
        above = hook_y - float(drawn.get("cy"))  # type: ignore[arg-type]
        assert above == pytest.approx(one["above_hook_cm"], rel=0.01)
    surface = root.find(f".//{SVG}line[@class='water']")
    assert hook_y - float(surface.get("y1")) == pytest.approx(depth_cm, rel=0.01)  # type: ignore[union-attr, arg-type]
    _x, top, _width, height = map(float, root.get("viewBox").split())  # type: ignore[union-attr]
    assert all(top <= float(one.get("cy")) <= top + height for one in shot)  # type: ignore[arg-type]


def test_labels_of_the_drawing_do_not_lie_on_one_another(ask: Ask) -> None:
    root = ET.fromstring(ask("plan/rig/", wind_force=3).content)  # noqa: S314 - our own drawing
    labels = [one for one in root.findall(f"{SVG}text") if "at" in (one.text or "")]
    size = float(labels[0].get("font-size"))  # type: ignore[arg-type]
    heights = sorted(float(one.get("y")) for one in labels)  # type: ignore[arg-type]
    assert all(upper - lower >= size for lower, upper in pairwise(heights))


def test_the_page_says_everything_and_needs_nothing_from_outside(ask: Ask) -> None:
    answer = ask("plan/page/", wind_force=3)
    page = answer.content.decode()
    assert answer["Content-Type"].startswith("text/html")
    assert page.count("<svg") == 2 and "Watch for, and do" in page
    assert not re.findall(r"(?:src|href)=", page) and "<script" not in page
    assert "default-src 'none'" in answer["Content-Security-Policy"]
    plan = ask(wind_force=3).json()["plan"]
    for line in plan["lines"]:
        for item in line["items"]:
            assert item["says"].replace("'", "&#x27;") in page


def test_the_policy_of_the_page_lets_in_the_styles_that_are_there_and_no_other(ask: Ask) -> None:
    answer = ask("plan/page/")
    styles = set(re.findall(r"<style>(.*?)</style>", answer.content.decode(), re.DOTALL))
    digests = {f"'sha256-{b64encode(sha256(style.encode()).digest()).decode()}'" for style in styles}
    allowed = re.search(r"style-src ([^;]*);", answer["Content-Security-Policy"])
    assert allowed is not None and set(allowed.group(1).split()) == digests and len(digests) == 2


def test_what_the_club_calls_a_bait_is_escaped_in_page_and_drawing(heron_small: SmallClub, ask: Ask) -> None:
    HookBait.objects.filter(name="red maggot").update(name="<b>maggot</b>")
    heron_small.club.raise_places_revision()
    for where in ("plan/page/", "plan/rig/"):
        body = ask(where).content.decode()
        assert "<b>maggot" not in body and "&lt;b&gt;maggot" in body


# --- A rig as tied ----------------------------------------------------------------------------------------


@pytest.fixture
def check(club_client: APIClient) -> Ask:
    def checked(status: int = 200, **changes: Any) -> Any:
        rig = {
            "depth_cm": 150, "hooklength_cm": 10, "load_g": 0.4,
            "shot": [{"above_hook_cm": at, "size": "9"} for at in (10, 20, 28, 30)],
        }  # fmt: skip
        answer = club_client.post("/api/v1/clubs/heron-small/rigs/check/", {**rig, **changes}, format="json")
        assert answer.status_code == status, answer.content
        return answer.json()

    return checked


def test_a_rig_is_reckoned_against_its_float(check: Ask) -> None:
    found = check()
    assert found["rig"]["shot_total_g"] == pytest.approx(0.2)
    assert found["rig"]["left_g"] == pytest.approx(0.2)
    assert found["findings"] == [] and found["falls_evenly"] is True
    assert found["trimming_wanted"], "half of the load is missing"
    assert found["drawing"].startswith("<svg")


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"load_g": 0.1}, "sinks"),
        ({"main_line_mm": 0.12, "hooklength_mm": 0.12}, "hooklength_not_finer"),
        ({"hooklength_cm": 15}, "shot_on_the_hooklength"),
        ({"load_g": 1, "shot": [{"above_hook_cm": 30, "size": "BB"}]}, "lead_not_allowed"),
        ({"depth_cm": 40, "hooklength_cm": 40, "shot": []}, "hooklength_too_long"),
        ({"hook_size": 22, "hook_bait": "sweetcorn"}, "hook_unusual_for_bait"),
        ({"hook_size": 8, "hook_bait": "red maggot"}, "hook_unusual_for_bait"),
        ({"elastic": 6, "biggest_expected_g": 2200}, "elastic_light"),
    ],
)
def test_what_is_wrong_with_a_rig_is_said(change: dict[str, Any], code: str, check: Ask) -> None:
    assert code in {one["code"] for one in check(**change)["findings"]}


def test_nonsense_of_a_rig_is_refused(check: Ask) -> None:
    for wrong in (
        {"shot": [{"above_hook_cm": 500, "size": "9"}]}, {"shot": [{"above_hook_cm": 0, "size": "9"}]},
        {"shot": [{"above_hook_cm": 5, "size": "99"}]}, {"load_g": "nan"}, {"load_g": 0}, {"bristle": 2},
    ):  # fmt: skip
        assert check(400, **wrong)["errors"]
