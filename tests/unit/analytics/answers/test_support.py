"""Counts of returns and the words for them."""

import pytest

from analytics.answers.support import (
    A_FAIR_AMOUNT,
    A_LITTLE,
    A_LOT,
    KNOWLEDGE_RULE,
    bait_at_peg,
    how_much_we_know,
    in_season,
    returns_at_peg,
    returns_by_method,
    returns_on_water,
    water_support,
)

STORED = {
    "choices": [
        ["mere", "worm", "bulk", "pole", 19, 4],
        ["mere", "worm", "bulk", None, 21, 2],
        ["mere", "worm", None, None, None, 5],
        ["mere", None, "bulk", None, 19, 7],
        ["mere", "corn", "loose", None, 80, 3],
        ["brook", "worm", "bulk", None, 19, 9],
    ],
    "bait_month": [["mere", "worm", 12, 2], ["mere", "worm", 1, 1], ["mere", "corn", 6, 9]],
    "bait_peg": [["p1", "worm", 3], ["p2", "worm", 4], ["p2", "corn", 2]],
    "method": [["mere", "pole", 4], ["mere", None, 16], ["brook", None, 9]],
    # One of the mere's sessions was fished with two baits.
    "water": [["mere", 20], ["brook", 9]],
    "peg": [["p1", 3], ["p2", 5]],
}


def test_counts_are_of_one_water() -> None:
    support = water_support(STORED, water="mere", methods=None)
    worm = support.baits.index("worm")
    assert support.on_water(worm) == 11
    assert support.on_rig(worm, support.rigs.index("bulk")) == 6
    assert support.near(worm, 19) == 6, "9.5 m and 10.5 m lie within a metre"
    assert support.near(worm, 18) == 4
    assert support.near(worm, 24) == 0
    assert support.near(worm, 32) == 0, "what was not recorded is near nothing"
    assert (support.beyond, support.returns) == (3, 20)


def test_a_method_keeps_only_what_was_caught_by_it() -> None:
    support = water_support(STORED, water="mere", methods=frozenset({"pole"}))
    assert support.baits == ("worm",) and support.on_water(0) == 4


def test_steps_span_what_was_fished_and_stop_at_the_pole() -> None:
    support = water_support(STORED, water="mere", methods=None)
    assert support.steps(None) == [19, 20, 21]
    assert support.steps(10.0) == [19, 20]
    assert support.steps(9.4) == []


def test_a_season_goes_round_the_year() -> None:
    assert in_season(STORED, water="mere", month=12) == {"worm"}
    assert in_season(STORED, water="mere", month=1) == {"worm"}
    assert in_season(STORED, water="mere", month=3) == set()
    assert in_season(STORED, water="mere", month=7) == {"corn"}
    assert bait_at_peg(STORED, peg="p2") == {"worm": 4, "corn": 2}


def test_a_session_of_several_baits_is_one_return_of_its_water_and_peg() -> None:
    assert (returns_on_water(STORED, water="mere"), returns_on_water(STORED, water="tarn")) == (20, 0)
    assert (returns_at_peg(STORED, peg="p2"), returns_at_peg(STORED, peg="p3")) == (5, 0)
    assert returns_by_method(STORED, water="mere") == {"pole": 4}


@pytest.mark.parametrize(
    ("near", "in_month", "ratio", "word"),
    [
        (30, 10, 2.0, A_LOT),
        (29, 10, 2.0, A_FAIR_AMOUNT),
        (30, 9, 2.0, A_FAIR_AMOUNT),
        (30, 10, 2.1, A_FAIR_AMOUNT),
        (10, 3, 3.0, A_FAIR_AMOUNT),
        (9, 3, 3.0, A_LITTLE),
        (10, 2, 3.0, A_LITTLE),
        (10, 3, 3.1, A_LITTLE),
        (0, 0, 100.0, A_LITTLE),
    ],
)
def test_the_word_follows_the_rule_that_the_answer_shows(
    near: int, in_month: int, ratio: float, word: str
) -> None:
    assert how_much_we_know(near=near, in_month=in_month, upper_over_lower=ratio) == word
    assert f"'{word}'" in KNOWLEDGE_RULE
