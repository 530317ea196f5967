"""Each fact of the trade through the plan's JSON. All of them: common practice, no source.

What is asserted are the facts as anglers say them, in their own units; what the plan is asked are situations
in which each of them speaks. A record of the book that changes fails here.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account, HookBait, Peg, Species
from clubdata.rules.trade import TradeRule
from clubdata.rules.trade_records import plain, standard_book
from tests.factories import SmallClub, make_pegs, make_water, make_word

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
Ask = Callable[..., Any]
INCH_CM, FOOT_CM = 2.54, 30.48
AUTUMN = {"month": 9}


@pytest.fixture
def ask(heron_small: SmallClub, client_for: ClientFor) -> Ask:
    make_word(HookBait, heron_small.club, "sweetcorn", "corn")
    make_word(Species, heron_small.club, "mirror carp", group="carp")
    Peg.objects.update(depth_cm=round(5 * FOOT_CM))
    client = client_for(heron_small.account())

    def asked(where: str = "plan/", *, water: Any = None, **given: Any) -> Any:
        uid = (water or heron_small.mere).uid
        answer = client.get(
            f"/api/v1/clubs/heron-small/waters/{uid}/{where}", {"peg": "3", **AUTUMN, **given}
        )
        assert answer.status_code == 200, answer.content
        return answer.json()

    return asked


def line(answer: Any, place: str = "long") -> Any:
    return next(one for one in answer["plan"]["lines"] if one["place"] == place)


def item(answer: Any, topic: str) -> Any:
    found = [*line(answer)["items"], *answer["plan"]["items"]]
    return next(one for one in found if one["topic"] == topic)


def items(answer: Any, topic: str) -> str:
    return " ".join(one["says"] for one in answer["plan"]["items"] if one["topic"] == topic)


def test_a_13_m_line_and_another_at_6_to_7_m(ask: Ask) -> None:
    answer = ask()
    assert [one["distance_m"] for one in answer["plan"]["lines"]] == [13, 6.5]
    why = [one["why"] for one in answer["plan"]["lines"]]
    assert "bank" in why[0]["because"][0]["words"]
    assert (why[1]["low"], why[1]["high"]) == (6, 7)
    assert "group of fish of its own" in why[1]["because"][0]["words"]
    assert {one["because"][0]["source"] for one in why} == {"common practice, no source"}


def test_in_5_ft_a_4x14_with_a_carbon_stem_and_to_6_ft(ask: Ask) -> None:
    for feet in (5, 6):
        Peg.objects.update(depth_cm=round(feet * FOOT_CM))
        answer = ask()
        assert item(answer, "float")["value"] == "4x14"
        assert item(answer, "stem")["value"] == "carbon"
    # A 4×14 commonly takes about 0.4 g.
    assert line(answer)["rig"]["load_g"] == pytest.approx(0.4)
    dissent = item(answer, "float")["because"][0]["dissent"]
    assert "makers" in dissent


@pytest.mark.parametrize(("feet", "wind"), [(6.5, 1), (5, 4)])
def test_deeper_or_in_wind_a_heavier_float(feet: float, wind: int, ask: Ask) -> None:
    Peg.objects.update(depth_cm=round(feet * FOOT_CM))
    answer = ask(wind_force=wind)
    assert line(answer)["rig"]["load_g"] > 0.4
    assert item(answer, "float")["value"] == "4x16"


def test_a_4_in_hooklength_to_8_ft_and_6_in_beyond(ask: Ask) -> None:
    for feet, inches in ((5, 4), (8, 4), (8.2, 6), (12, 6)):
        Peg.objects.update(depth_cm=round(feet * FOOT_CM))
        assert item(ask(), "hooklength_length")["value"] == pytest.approx(inches * INCH_CM, abs=0.01)


@pytest.mark.parametrize("month", [3, 6, 10])
def test_a_hooklength_of_010_to_014_below_018_from_spring_to_the_first_frosts(month: int, ask: Ask) -> None:
    answer = ask(month=month)
    found = item(answer, "hooklength")
    assert (found["low"], found["high"]) == (0.10, 0.14) and 0.10 <= found["value"] <= 0.14
    main = item(answer, "main_line")
    assert main["value"] == 0.18 and found["value"] < main["value"]
    assert "finer than the main line" in found["says"]
    assert "0.12 to 0.14 mm over 0.08 to 0.10" in main["because"][0]["dissent"]
    assert "hooklength is the weaker" in main["because"][0]["dissent"]


def test_in_the_cold_months_the_hooklength_is_finer(ask: Ask) -> None:
    assert item(ask(month=1), "hooklength")["value"] == 0.10
    assert item(ask(month=9), "hooklength")["value"] == 0.12


def test_in_clear_water_it_is_finer_and_carp_want_a_heavier_elastic(ask: Ask) -> None:
    assert item(ask(clarity_cm=150), "hooklength")["value"] == 0.10
    assert item(ask(clarity_cm=40), "hooklength")["value"] == 0.12
    assert item(ask(target="carp"), "elastic")["value"] == 14
    assert item(ask(baits="caster"), "hook")["value"] == 18


def test_number_nines_at_the_loop_a_hooklength_above_then_3_in_then_each_inch(ask: Ask) -> None:
    rig = line(ask())["rig"]
    assert {one["size"] for one in rig["shot"]} == {"9"}
    places = [one["above_hook_cm"] / INCH_CM for one in rig["shot"]]
    assert places == pytest.approx([4, 8, 11, 12, 13, 14, 15, 16], abs=0.01)
    # Four of them, 0.2 g, are the start of the pattern of a float that takes 0.4 g.
    assert sum(one["weight_g"] for one in rig["shot"][:4]) == pytest.approx(0.2)
    assert rig["shot_total_g"] == pytest.approx(0.4)


@pytest.mark.parametrize("sign", ["small_fish", "fish_confident"])
def test_a_bulk_with_two_droppers_where_the_tapered_shot_end(sign: str, ask: Ask) -> None:
    tapered = line(ask())["rig"]["shot"]
    answer = ask(**{sign: True})
    shot = line(answer)["rig"]["shot"]
    assert shot[:2] == tapered[:2], "two droppers"
    assert {one["above_hook_cm"] for one in shot[2:]} == {tapered[-1]["above_hook_cm"]}
    assert len(shot) == len(tapered)
    assert [one["name"] for one in item(answer, "pattern")["also"]] == ["taper-of-number-nines"]


def test_a_number_11_under_the_float_is_no_part_of_the_pattern(ask: Ask) -> None:
    answer = ask()
    found = item(answer, "trimming")
    assert found["value"] == "11" and "no part of the pattern" in found["says"]
    assert "11" not in {one["size"] for one in line(answer)["rig"]["shot"]}


def test_more_bristle_for_corn_and_when_the_rig_drags(ask: Ask) -> None:
    with_corn = ask(baits="sweetcorn")
    assert "sweetcorn" in item(with_corn, "bristle")["because"][0]["words"]
    assert "more bristle" in item(with_corn, "bristle")["says"]
    dragging = item(ask(tow="steady"), "bristle")
    assert "drags" in dragging["because"][0]["words"] and "more bristle" in dragging["says"]
    assert not [one for one in line(ask(tow="none"))["items"] if one["topic"] == "bristle"]


def test_two_number_8_back_shot_4_to_6_in_above_the_float_in_drift(ask: Ask) -> None:
    rig = line(ask(wind_force=3))["rig"]
    above = [(one["above_hook_cm"] - rig["depth_cm"]) / INCH_CM for one in rig["back_shot"]]
    assert [one["size"] for one in rig["back_shot"]] == ["8", "8"]
    assert all(4 <= one <= 6 for one in above)
    assert line(ask(wind_force=1))["rig"]["back_shot"] == []
    found = item(ask(wind_force=3), "back_shot")
    assert [found["low"] / INCH_CM, found["high"] / INCH_CM] == pytest.approx([4, 6], abs=0.02)
    assert "taut" in found["because"][0]["words"]


def test_a_heavy_plummet_to_the_bottom_of_the_body_and_around_the_spot(ask: Ask) -> None:
    answer = ask()
    plummet = item(answer, "plumb")
    assert (plummet["value"], plummet["unit"]) == (20, "g")
    assert "bottom of the float's body" in plummet["says"]
    assert "bristle" in plummet["because"][0]["dissent"]
    around = next(one for one in answer["plan"]["items"] if "around the spot" in one["says"])
    assert "slope or deep silt" in around["because"][0]["words"]


def test_hook_16_for_maggot_and_corn_and_a_medium_elastic(ask: Ask) -> None:
    answer = ask()
    hook = item(answer, "hook")
    assert hook["value"] == 16 and "maggot and for corn" in hook["says"]
    elastic = item(answer, "elastic")
    assert elastic["value"] == 9 and "soft or hollow" in elastic["says"]
    assert "4 or 5 lb" in elastic["because"][0]["words"] and "makers" in elastic["because"][0]["dissent"]


def test_a_ball_of_4_to_6_cm_with_a_pinch_and_grains_spread_and_mixed(ask: Ask) -> None:
    answer = ask()
    ball = item(answer, "feed")
    assert (ball["low"], ball["high"], ball["unit"]) == (4, 6, "cm")
    said = items(answer, "feed")
    for words in (
        "golf ball and a tangerine", "breaks about half-way down in 5 ft", "pinch of dead maggots",
        "10 to 12 grains of corn", "30 cm", "equal volumes of crushed pellet and water", "30 to 40 minutes",
        "riddle it at 4 mm",
    ):  # fmt: skip
        assert words in said
    assert "lift" in ball["because"][0]["dissent"]
    grains = next(one for one in answer["plan"]["items"] if one["unit"] == "grains")
    assert (grains["low"], grains["high"]) == (10, 12)


def test_feed_again_after_5_minutes_without_a_sign_up_to_10_and_in_one_place(ask: Ask) -> None:
    answer = ask(water_temperature_c=14)
    again = item(answer, "feed_again")
    assert (again["value"], again["low"], again["high"], again["unit"]) == (5, 5, 10, "min")
    assert "cold water" in again["because"][0]["dissent"]
    assert "always in one place" in items(answer, "feed_again")
    assert "2 or 3 ft down-tow" in items(answer, "feed_again")
    assert "wait longer" in items(ask(water_temperature_c=5), "feed_again")


def test_maggot_first_then_corn_that_takes_to_5_minutes(ask: Ask) -> None:
    plan = ask()["plan"]
    assert plan["first_bait"]["value"] == "red maggot"
    assert "everything" in plan["first_bait"]["because"][0]["words"]
    assert plan["next_bait"]["value"] == "sweetcorn"
    words = plan["next_bait"]["because"][0]["words"]
    assert "5 minutes" in words and "bigger fish" in words and "wind and tow" in words
    assert "5 minutes" in plan["next_bait"]["says"]


def test_two_maggots_through_the_pointed_end_and_corn_through_a_corner(ask: Ask) -> None:
    maggot, corn = ask()["plan"]["hooking"]
    assert maggot["value"] == 2 and "pointed end" in maggot["says"]
    assert "blunt end" in maggot["because"][0]["dissent"]
    assert corn["value"] == 1 and "corner" in corn["says"] and "point clear" in corn["says"]


def test_dead_maggots_do_not_spin_the_rig(ask: Ask) -> None:
    laid_in = item(ask(), "laying_in")
    assert "do not spin" in laid_in["because"][0]["words"]
    assert "dead maggots" in laid_in["says"] and "straight line past the spot" in laid_in["says"]


def test_a_canal_is_fished_on_its_shelves(heron_small: SmallClub, ask: Ask) -> None:
    canal = make_water(heron_small.club, "Heron-Small Cut (invented)", kind="canal")
    make_pegs(canal, "3")
    lines = ask(water=canal)["plan"]["lines"]
    assert "far shelf" in lines[0]["why"]["says"] and "near shelf" in lines[1]["why"]["says"]
    assert "boat track" in lines[0]["why"]["because"][0]["dissent"]
    assert [one["distance_m"] for one in lines] == [11, 4]


def test_a_river_has_one_line_where_the_pace_slackens(heron_small: SmallClub, ask: Ask) -> None:
    river = make_water(heron_small.club, "Heron-Small Run (invented)", kind="river")
    make_pegs(river, "3")
    (only,) = ask(water=river)["plan"]["lines"]
    assert only["distance_m"] == 10 and "slackens" in only["why"]["says"]


def test_in_a_strong_tow_the_stem_is_wire(ask: Ask) -> None:
    assert item(ask(tow="strong"), "stem")["value"] == "wire"
    assert item(ask(tow="slight"), "stem")["value"] == "carbon"


def test_75_cm_of_line_above_the_float_and_50_in_wind(ask: Ask) -> None:
    assert item(ask(), "line_above_float")["value"] == 75
    in_wind = item(ask(wind_force=4), "line_above_float")
    assert in_wind["value"] == 50 and "tangles" in in_wind["because"][0]["words"]
    assert [one["value"] for one in in_wind["also"]] == [75]


def test_in_cold_water_one_waits_20_minutes(ask: Ask) -> None:
    waiting, feeding, *_ = [
        one for one in ask(water_temperature_c=5)["plan"]["items"] if one["topic"] == "feed_again"
    ]
    assert (waiting["value"], feeding["value"]) == (20, 5), "what holds only here comes first; both are shown"


def test_the_figures_of_the_feed_are_those_that_are_said(ask: Ask) -> None:
    fed = {one["unit"]: one["value"] for one in ask()["plan"]["items"] if one["topic"] == "feed"}
    assert fed["min"] == 35 and fed["grains"] == 11
    balls = [one["value"] for one in ask()["plan"]["items"] if one["topic"] == "feed" and one["unit"] == "cm"]
    assert balls == [5, 30]


NEXT: list[tuple[dict[str, Any], str, str]] = [
    ({"minutes_without_sign": 5, "fish_expected": True}, "no-sign-feed", "Feed one ball"),
    ({"minutes_without_sign": 5, "water_temperature_c": 5}, "no-sign-cold-wait", "Do not feed yet"),
    ({"minutes_without_sign": 10}, "no-sign-change-line", "other line"),
    ({"small_fish": True}, "small-fish-change-bait", "sweetcorn"),
    ({"small_fish": True, "float_does_not_settle": True}, "small-fish-bulk", "bulk above two droppers"),
    ({"perch_over_feed": True}, "perch-feed-gone", "Feed again"),
    ({"bubbles": "small"}, "bubbles-bottom-feeders", "on the bottom"),
    ({"float_does_not_settle": True}, "does-not-settle-strike", "on the drop"),
    ({"missed_bites": 3}, "missed-bites", "smaller bait"),
    ({"tow_rising": True}, "tow-picks-up", "back shot"),
    ({"hook_bait": "corn", "minutes_without_sign": 3}, "first-corn-then-patience", "five minutes"),
]


@pytest.mark.parametrize(("seen", "rule", "words"), NEXT, ids=[rule for _, rule, _ in NEXT])
def test_what_to_do_next(seen: dict[str, Any], rule: str, words: str, ask: Ask) -> None:
    found = {one["name"]: one for one in ask("plan/next/", **seen)["steps"]}
    assert words in found[rule]["advice"]
    assert found[rule]["reason"] and found[rule]["source"] == "common practice, no source"


def test_what_disagrees_is_shown_too(ask: Ask) -> None:
    perch = ask("plan/next/", perch_over_feed=True)["steps"][0]
    assert "leaves the bait fit to use again" in perch["reason"]
    assert "do not prove that the feed is gone" in perch["dissent"]
    bubbles = ask("plan/next/", bubbles="small")["steps"][0]
    assert "gas from silt" in bubbles["dissent"]
    cold = ask("plan/next/", minutes_without_sign=6, fish_expected=True, water_temperature_c=5)["steps"]
    assert [one["name"] for one in cold] == ["no-sign-cold-wait", "no-sign-feed"]
    assert ask("plan/next/")["steps"] == [], "of what is not known nothing is said"


# Where each rule of the book speaks; every rule has a place here.
SPEAKS: dict[str, dict[str, Any]] = {
    "canal-far-shelf": {"canal": True}, "canal-near-shelf": {"canal": True},
    "river-one-line": {"river": True}, "float-heavier-when-deep": {"depth_cm": 200},
    "float-heavier-in-wind": {"wind_force": 4}, "wire-stem-in-tow": {"tow": "strong"},
    "bulk-through-small-fish": {"small_fish": True}, "bulk-for-confident-fish": {"fish_confident": True},
    "more-bristle-for-heavy-bait": {"baits": "sweetcorn"}, "more-bristle-when-it-drags": {"tow": "slight"},
    "back-shot-in-drift": {"wind_force": 3}, "shorter-above-the-float-in-wind": {"wind_force": 5},
    "finer-hooklength-after-the-frosts": {"month": 12}, "hooklength-6-in": {"depth_cm": 300},
    "hook-18-for-caster": {"baits": "caster"}, "heavier-elastic-for-carp": {"target": "carp"},
    "finer-hooklength-in-clear-water": {"clarity_cm": 150}, "wait-in-cold-water": {"water_temperature_c": 6},
}  # fmt: skip


@pytest.mark.parametrize("name", standard_book().rules)
def test_a_rule_that_changes_changes_the_plan(
    name: str, heron_small: SmallClub, client_for: ClientFor, ask: Ask
) -> None:
    rule = standard_book().rules[name]
    seen = next((seen for seen, known, _ in NEXT if known == name), None)
    given = dict(SPEAKS.get(name, {})) if seen is None else dict(seen)
    where = "plan/" if seen is None else "plan/next/"
    Peg.objects.update(depth_cm=given.pop("depth_cm", 150))
    kinds = {"canal": given.pop("canal", False), "river": given.pop("river", False)}
    water = heron_small.mere
    for kind in (kind for kind, wanted in kinds.items() if wanted):
        water = make_water(heron_small.club, f"An invented {kind}", kind=kind)
        make_pegs(water, "3")
    before = ask(where, water=water, **given)
    # The watch list shows every rule of change: whether it speaks is looked at in what comes next.
    (before.get("plan") or {}).pop("watch", None)
    changed = changed_of(rule)
    secretary = client_for(heron_small.account("secretary"))
    answer = secretary.put(f"/api/v1/clubs/heron-small/rules/{name}/", plain(changed), format="json")
    assert answer.status_code == 200, answer.content
    after = ask(where, water=water, **given)
    (after.get("plan") or {}).pop("watch", None)
    assert after != before
    assert changed.advice in str(after) or changed.reason in str(after)


def changed_of(rule: TradeRule) -> TradeRule:
    value = rule.value
    if isinstance(value, float):
        value = round(value * 0.9, 3)
    return replace(rule, advice=f"{rule.advice} So we do it.", reason=f"{rule.reason} We say.", value=value)
