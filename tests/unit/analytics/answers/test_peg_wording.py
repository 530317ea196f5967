"""The words follow their written rules, at the edges too, and stay kind."""

import pytest

from analytics.answers.peg_figures import WhyTheyDiffer
from analytics.answers.peg_wording import evenness_words, middle_words, pair_words, why_words


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.2, "below this water's middle, 1 chance in 5 that it isn't"),
        (0.8, "above this water's middle, 1 chance in 5 that it isn't"),
        (0.6, "above this water's middle, 2 chances in 5 that it isn't"),
        (0.36, "below this water's middle, 1 chance in 3 that it isn't"),
        (0.59, "about this water's middle: it could lie on either side"),
        (0.5, "about this water's middle: it could lie on either side"),
        (0.01, "below this water's middle, 1 chance in 100 that it isn't"),
        (0.999, "above this water's middle, less than 1 chance in 100 that it isn't"),
        (0.0, "below this water's middle, less than 1 chance in 100 that it isn't"),
    ],
)
def test_a_peg_lies_above_or_below_the_middle_as_surely_as_its_chance(chance: float, words: str) -> None:
    assert middle_words(chance) == words


@pytest.mark.parametrize(
    ("chance", "word"),
    [(0.96, "almost certainly"), (0.85, "probably"), (0.7, "rather more likely than not")],
)
def test_a_pair_is_told_the_same_from_either_side(chance: float, word: str) -> None:
    told = pair_words("7", "8", chance, 1.25)
    assert told.startswith(f"Peg 7 is {word} better than peg 8: about 1.25 times as much; ")
    assert pair_words("8", "7", 1 - chance, 1 / 1.25) == told


def test_pegs_that_cannot_be_told_apart_are_not_ranked() -> None:
    assert pair_words("7", "8", 0.55, 1.02) == "These returns cannot tell pegs 7 and 8 apart."


def test_reasons_come_largest_first_and_small_ones_are_left_unsaid() -> None:
    parts = {"who": 1.1, "season": 0.7, "tackle": 1.01, "held_back": 1.0}
    told = why_words(WhyTheyDiffer(raw_ratio=0.9, multiplier=1.15, parts=parts, remainder=1.016))
    assert "0.90 times the water's rate; the fit gives it 1.15" in told
    assert told.index("slower months") < told.index("stronger anglers")
    assert "baits" not in told and "leans" not in told
    assert told.endswith("left over ×1.02.")


def test_without_a_large_reason_none_is_made_up() -> None:
    for parts, raw_ratio in (({"who": 1.01, "tackle": 0.99}, 1.0), ({"held_back": 0.0}, 0.0)):
        told = why_words(WhyTheyDiffer(raw_ratio, multiplier=1.0, parts=parts, remainder=1.0))
        assert told.endswith("No one reason stands out; left over ×1.00.")


def test_a_draw_is_even_as_its_rule_says() -> None:
    assert evenness_words(20, 19.6, 1.4).startswith("Even: the best peg wins 1.4 times")
    assert evenness_words(20, 18.0, 2.9).startswith("Fairly even")
    assert "like a draw on 12.5 equal pegs of 20" in evenness_words(20, 12.5, 9.0)
    assert evenness_words(20, 12.5, 9.0).startswith("Uneven")
    assert "wins 12 times as often" in evenness_words(20, 12.5, 12.09)
    assert "wins more than 100 times as often" in evenness_words(20, 12.5, 142.8)
    assert evenness_words(20, 2.0, None).startswith("Uneven")
