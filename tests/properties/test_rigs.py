"""Laws of rigs and plans that hold for all inputs."""

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clubdata.errors import InvalidInput
from clubdata.rules.rigs import Rig, Shot, settling, tapered
from clubdata.rules.session_plan import APART_M, plan_session
from clubdata.rules.situation import Ground, Kit, Situation, class_of
from clubdata.rules.tackle import SPLIT_SHOT_G, shot_g, shot_of
from clubdata.rules.trade import Value
from clubdata.rules.trade_records import standard_book
from clubdata.rules.water_rules import WaterRules

SIZES = st.sampled_from(list(SPLIT_SHOT_G))
SHOT = st.builds(Shot, st.floats(1, 100), SIZES)
BAITS = ("red maggot", "white maggot", "caster", "sweetcorn", "worm", "bread punch", "soft pellet")
SOME_BAITS = st.lists(st.sampled_from(BAITS), unique=True).map(tuple)
FEEDS = st.lists(st.sampled_from(("groundbait", "pellet", "sweetcorn", "maggot")), unique=True).map(tuple)


@given(SIZES)
def test_a_size_and_its_weight_convert_there_and_back(size: str) -> None:
    assert shot_of(shot_g(size)) == size


@given(st.lists(SHOT, min_size=1, max_size=20), st.randoms(use_true_random=False))
def test_a_total_is_the_sum_whatever_the_order_of_entry(shot: list[Shot], order: random.Random) -> None:
    rig = Rig(depth_cm=120, hooklength_cm=10, load_g=3, shot=tuple(shot))
    shuffled = list(shot)
    order.shuffle(shuffled)
    assert rig == replace(rig, shot=tuple(shuffled))
    assert rig.shot_total_g == pytest.approx(sum(SPLIT_SHOT_G[one.size] for one in shot), abs=1e-9)
    assert rig.shot_total_g + rig.left_g == pytest.approx(rig.load_g)
    assert sum(stage.share for stage in settling(rig)) == pytest.approx(1)


@given(st.floats(4, 20), st.floats(0.05, 1.5), st.floats(20, 600))
def test_a_tapered_pattern_is_no_heavier_than_the_float_carries(
    hooklength_cm: float, load_g: float, depth_cm: float
) -> None:
    try:
        shot = tapered(hooklength_cm=hooklength_cm, load_g=load_g, depth_cm=depth_cm)
    except InvalidInput:
        # Too much for this depth, or not one shot: then there is none.
        assert load_g < 0.05 or depth_cm < 2 * hooklength_cm + 2.54 * (3 + load_g / 0.05)
        return
    total = sum(one.weight_g for one in shot)
    assert load_g - 0.05 - 1e-9 <= total <= load_g + 1e-9
    assert all(0 < one.above_hook_cm <= depth_cm for one in shot)


SITUATIONS = st.builds(
    Situation,
    water_kind=st.sampled_from(("stillwater", "canal", "river")),
    month=st.integers(1, 12),
    wind_force=st.none() | st.integers(0, 12),
    tow=st.sampled_from(("", "none", "slight", "steady", "strong")),
    water_temperature_c=st.none() | st.floats(-2, 40),
    small_fish=st.none() | st.booleans(),
    fish_confident=st.none() | st.booleans(),
    peg_depth_cm=st.none() | st.integers(20, 1000),
)
KITS = st.builds(
    Kit,
    longest_pole_m=st.none() | st.floats(0.5, 16),
    hook_baits=st.none() | SOME_BAITS,
    feeds=st.none() | FEEDS,
    floats=st.none() | st.lists(st.sampled_from(("4x10", "4x14", "4x18", "odd")), min_size=1).map(tuple),
    main_lines_mm=st.none() | st.lists(st.floats(0.08, 0.3), min_size=1, max_size=4).map(tuple),
    hooklengths_mm=st.none() | st.lists(st.floats(0.06, 0.3), min_size=1, max_size=4).map(tuple),
    hook_sizes=st.none() | st.lists(st.integers(8, 24), min_size=1, max_size=4).map(tuple),
)
RULES = st.builds(WaterRules, hook_baits_not_allowed=SOME_BAITS, feeds_not_allowed=FEEDS)


@given(SITUATIONS, KITS, RULES)
def test_a_plan_never_has_what_kit_or_rules_exclude(
    situation: Situation, kit: Kit, rules: WaterRules
) -> None:
    plan = plan_session(
        book=standard_book(), ground=Ground(situation=situation, kit=kit, rules=rules, hook_baits=BAITS)
    )
    for bait in (plan.first_bait, plan.next_bait):
        if bait is not None:
            assert bait.value not in rules.hook_baits_not_allowed
            assert kit.hook_baits is None or bait.value in kit.hook_baits
    if not {class_of(one) for one in BAITS if one not in rules.hook_baits_not_allowed}:
        assert plan.first_bait is None
    if "groundbait" in rules.feeds_not_allowed or (kit.feeds is not None and "groundbait" not in kit.feeds):
        assert not any("ball of inert groundbait" in item.says for item in plan.items)
    for rule in plan.watch:
        assert not set(rule.uses) & set(rules.feeds_not_allowed)
        if rule.bait:
            there = [one for one in BAITS if class_of(one) == rule.bait]
            there = [one for one in there if one not in rules.hook_baits_not_allowed]
            assert [one for one in there if kit.hook_baits is None or one in kit.hook_baits]
    distances = [line.distance_m for line in plan.lines]
    if kit.longest_pole_m is not None:
        assert all(distance <= kit.longest_pole_m for distance in distances)
    assert all(further - nearer >= APART_M for further, nearer in pairwise(distances))
    for line in plan.lines:
        tied: dict[str, Value | None] = {item.topic: item.value for item in line.items}
        main, hooklength = tied.get("main_line"), tied.get("hooklength")
        if hooklength is not None:
            assert float(hooklength) < float(main or 1)
            assert kit.hooklengths_mm is None or hooklength in kit.hooklengths_mm
        assert kit.main_lines_mm is None or main in kit.main_lines_mm
        assert kit.hook_sizes is None or tied["hook"] in kit.hook_sizes
        if line.rig is not None:
            assert line.rig.left_g >= -1e-9, "it floats"
        if situation.peg_depth_cm:
            assert line.depth is not None and line.depth.depth_cm == situation.peg_depth_cm
