"""What is said of a choice: short, and no finer than it is known."""

from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest

from analytics.answers.choices import Choice, OneSession, Percentile, lb_oz, spoken
from analytics.answers.question import Tackle

OUNCE_G = 28.349523125


@pytest.mark.parametrize(
    ("ounces", "said"),
    [
        (0.0, ""),
        (0.4, ""),
        (0.6, "1 oz"),
        (9.2, "9 oz"),
        (15.4, "15 oz"),
        (15.7, "1 lb"),
        (23.0, "1 lb 8 oz"),
        (79.0, "5 lb"),
        (205.0, "13 lb"),
        (458.0, "29 lb"),
    ],
)
def test_a_weight_is_said_as_finely_as_it_is_known(ounces: float, said: str) -> None:
    assert spoken(ounces * OUNCE_G) == said


def session(low_oz: float, high_oz: float, blank: float) -> OneSession:
    weights = ((0.1, low_oz * OUNCE_G), (0.9, high_oz * OUNCE_G))
    return OneSession(tuple(Percentile(share, grams, lb_oz(grams)) for share, grams in weights), blank)


@pytest.mark.parametrize(
    ("low_oz", "high_oz", "blank", "words"),
    [
        (9, 350, 0.06, "one session in ten under 9 oz, one in ten over 22 lb; 1 in 17 blanks"),
        (0.3, 236, 0.09, "one session in ten over 15 lb; 1 in 11 blanks"),
        (0, 0.2, 0.95, "more than half of them blanks"),
    ],
)
def test_a_session_is_never_said_to_stay_under_nothing(
    low_oz: float, high_oz: float, blank: float, words: str
) -> None:
    assert session(low_oz, high_oz, blank).words == words


@pytest.mark.parametrize(
    ("bait", "words"),
    [("caster", "caster at 8 m, bulk shot"), ("red maggot, dead", "red maggot, dead, at 8 m, bulk shot")],
)
def test_a_bait_with_a_comma_is_not_dead_at_a_distance(bait: str, words: str) -> None:
    choice = SimpleNamespace(
        hook_bait=Tackle(uuid4(), bait), distance_m=8.0, rig_type=Tackle(uuid4(), "bulk shot")
    )
    words_of: Any = Choice.words.fget  # type: ignore[attr-defined]
    assert words_of(choice) == words
