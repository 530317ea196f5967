"""The word for how much is known, and what of it may be shown."""

from datetime import date

import pytest

from analytics.answers.knowledge import (
    A_FAIR_AMOUNT,
    A_LITTLE,
    A_LOT,
    KNOWLEDGE_RULE,
    WORTH_A_CHANCE,
    how_much_we_know,
    part_of,
    worth_trying,
)
from analytics.answers.support import NOBODY, Tally

LATEST = date(2024, 2, 29)


@pytest.mark.parametrize(
    ("near", "in_month", "ratio", "word"),
    [
        (Tally(30, date(2022, 2, 28), 5), 10, 2.0, A_FAIR_AMOUNT),
        (Tally(30, date(2022, 3, 1), 5), 10, 2.0, A_LOT),
        (Tally(30, LATEST, 4), 10, 2.0, A_FAIR_AMOUNT),
        (Tally(29, LATEST, 5), 10, 2.0, A_FAIR_AMOUNT),
        (Tally(30, LATEST, 5), 9, 2.0, A_FAIR_AMOUNT),
        (Tally(30, LATEST, 5), 10, 2.1, A_FAIR_AMOUNT),
        (Tally(10, date(2020, 2, 29), 1), 3, 3.0, A_FAIR_AMOUNT),
        (Tally(10, date(2020, 2, 28), 9), 3, 3.0, A_LITTLE),
        (Tally(9, LATEST, 5), 3, 3.0, A_LITTLE),
        (Tally(10, LATEST, 5), 2, 3.0, A_LITTLE),
        (Tally(10, LATEST, 5), 3, 3.1, A_LITTLE),
        (Tally(0, None, 0), 0, 100.0, A_LITTLE),
    ],
)
def test_the_word_follows_the_rule_that_the_answer_shows(
    near: Tally, in_month: int, ratio: float, word: str
) -> None:
    found = how_much_we_know(near=near, in_month=in_month, upper_over_lower=ratio, latest=LATEST)
    assert found == word
    assert f"'{word}'" in KNOWLEDGE_RULE


def test_of_fewer_than_five_members_neither_number_nor_day_is_shown() -> None:
    part = part_of("peg", "this peg", Tally(9, LATEST, 4))
    assert (part.returns, part.members, part.last_on, part.last_year) == (9, None, None, 2024)
    assert part.members_in_words == "fewer than 5"


def test_of_five_members_both_are_shown() -> None:
    part = part_of("peg", "this peg", Tally(9, LATEST, 5))
    assert (part.members, part.members_in_words, part.last_on) == (5, "5", LATEST)


def test_of_nobody_nothing_is_said() -> None:
    part = part_of("peg", "this peg", NOBODY)
    assert (part.returns, part.last_year, part.members_in_words) == (0, None, "nobody")


@pytest.mark.parametrize(
    ("known", "chance", "upper_g", "is_worth"),
    [
        (A_LITTLE, WORTH_A_CHANCE, 3001.0, True),
        (A_LITTLE, WORTH_A_CHANCE - 0.001, 3001.0, False),
        (A_LITTLE, 0.9, 3000.0, False),
        (A_FAIR_AMOUNT, 0.9, 9000.0, False),
        (A_LITTLE, None, 9000.0, False),
    ],
)
def test_worth_trying_is_what_little_is_known_of_and_may_well_beat_the_first(
    known: str, chance: float | None, upper_g: float, is_worth: bool
) -> None:
    found = worth_trying(known=known, chance_beats_first=chance, upper_g=upper_g, first_g=3000.0)
    assert bool(found) == is_worth
    if is_worth:
        assert "25% chance" in found and "6 lb 10 oz" in found
