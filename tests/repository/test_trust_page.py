"""The page on which fits are served states the rule as the code has it."""

from pathlib import Path

import pytest

from analytics.answers.fit_rule import rule_in_words
from analytics.catchrate import verdict
from analytics.catchrate.validation import FEWEST_DAYS, FEWEST_TESTED

PAGE = (Path(__file__).parents[2] / "docs" / "trust.md").read_text()


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("LARGEST_BLANK_GAP", 100),
        ("LARGEST_EFFORT_GAP", 1),
        ("LARGEST_SPREAD_RATIO", 1),
        ("CERTAIN_Z", 1),
        ("BETTER_Z", 1),
        ("WORSE_Z", 1),
        ("COVERAGE_TOLERANCE", 100),
        ("COVERAGE_Z", 1),
    ],
)
def test_every_number_is_the_codes_own(name: str, factor: int) -> None:
    assert f"`{name}` = {factor * getattr(verdict, name):g}" in PAGE


def test_every_code_is_explained() -> None:
    assert all(f"`{code}`" in PAGE for code in verdict.VERDICTS)
    assert f"fewer than {FEWEST_TESTED} unseen returns, or fewer than {FEWEST_DAYS} days" in PAGE


def test_the_rule_in_words_names_every_number() -> None:
    words = " ".join(rule_in_words())
    for told in (
        "10 percentage points",
        "0.8 and 1.25",
        "0.4 and 1.6",
        "0.5 standard errors",
        "2.5 standard",
    ):
        assert told in words
