"""The book of rules: which speak, which lead, and what a record may hold."""

from typing import Any

import pytest

from clubdata.errors import InvalidInput
from clubdata.rules.described import Described
from clubdata.rules.trade import Comparator, Condition, Facts, RuleBook, TradeRule
from clubdata.rules.trade_records import plain, read_rule, reworded, standard_book


def rule(name: str, *conditions: Condition, **values: Any) -> TradeRule:
    return TradeRule(name=name, topic="feed", advice=name, reason="so", conditions=conditions, **values)


DEEP = Condition("depth_cm", Comparator.ABOVE, 183.0, "cm")
COLD = Condition("water_temperature_c", Comparator.AT_MOST, 7.0, "degC")


@pytest.mark.parametrize(
    ("comparator", "value", "holds_at"),
    [
        (Comparator.IS, 5.0, {5}), (Comparator.IS_NOT, 5.0, {3, 4, 6, 7}),
        (Comparator.AT_LEAST, 5.0, {5, 6, 7}), (Comparator.AT_MOST, 5.0, {3, 4, 5}),
        (Comparator.ABOVE, 5.0, {6, 7}), (Comparator.BELOW, 5.0, {3, 4}),
    ],
)  # fmt: skip
def test_a_fact_is_compared(comparator: Comparator, value: float, holds_at: set[int]) -> None:
    condition = Condition("month", comparator, value)
    assert {month for month in range(3, 8) if condition.holds({"month": float(month)})} == holds_at


def test_outside_a_span_holds_on_either_side() -> None:
    condition = Condition("month", Comparator.NOT_BETWEEN, 3.0, up_to=10.0)
    assert [month for month in range(1, 13) if condition.holds({"month": month})] == [1, 2, 11, 12]


@pytest.mark.parametrize("comparator", Comparator)
def test_of_what_is_not_known_nothing_holds(comparator: Comparator) -> None:
    assert not Condition("depth_cm", comparator, 5.0, up_to=6.0).holds({})


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        (DEEP, "depth above 183 cm"),
        (COLD, "water temperature at most 7 °C"),
        (Condition("small_fish", Comparator.IS, True), "small fish pester"),
        (Condition("small_fish", Comparator.IS_NOT, True), "not so: small fish pester"),
        (Condition("bubbles", Comparator.IS, "small"), "bubbles is small"),
        (Condition("month", Comparator.NOT_BETWEEN, 3.0, up_to=10.0), "month not between 3 and 10"),
    ],
)
def test_a_condition_reads_as_one_says_it(condition: Condition, words: str) -> None:
    assert str(condition) == words


def test_the_more_particular_leads_and_of_equals_the_later() -> None:
    book = RuleBook({one.name: one for one in (rule("always"), rule("deep", DEEP), rule("cold", COLD),
                                               rule("both", DEEP, COLD), rule("also"))})  # fmt: skip
    both: Facts = {"depth_cm": 200, "water_temperature_c": 5}
    assert [one.name for one in book.speaking("feed", both)] == ["both", "cold", "deep", "also", "always"]
    assert [one.name for one in book.speaking("feed", {"depth_cm": 200})] == ["deep", "also", "always"]
    assert book.speaking("hook", both) == ()


@pytest.mark.parametrize("name", standard_book().rules)
def test_a_record_read_and_told_is_the_same(name: str) -> None:
    found = standard_book().rules[name]
    assert read_rule(Described(plain(found))) == found
    again = reworded(found, plain(found))
    assert again.edited and plain(again) == plain(found)


def test_every_rule_says_why_and_whence() -> None:
    for found in standard_book().rules.values():
        assert found.reason and found.source == "common practice, no source", found.name
        if found.low is not None and found.high is not None and isinstance(found.value, float):
            assert found.low <= found.value <= found.high, found.name


@pytest.mark.parametrize(
    ("topic", "values"),
    [
        ("line", {}), ("line", {"value": "far"}), ("line", {"value": 0}), ("line", {"value": 90}),
        ("hook", {"value": "big"}), ("hook", {"value": True}), ("hooklength", {"value": 5}),
        ("back_shot", {"value": 12}), ("back_shot", {"value": 12, "size": "77"}),
        ("pattern", {"value": "spiral", "size": "9"}), ("pattern", {"value": "bulk"}),
        ("float", {"value": 4}), ("float", {"value": ""}), ("main_line", {"value": -0.2}),
    ],
)  # fmt: skip
def test_a_value_that_no_plan_can_reckon_with_is_refused(topic: str, values: dict[str, Any]) -> None:
    with pytest.raises(InvalidInput):
        read_rule(
            Described({"name": "own", "topic": topic, "advice": "Do so.", "reason": "So we do.", **values})
        )
