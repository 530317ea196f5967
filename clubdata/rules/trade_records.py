"""Rules of the trade read from records and told as records; what cannot be is refused by its place."""

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

from clubdata.rules.described import Described
from clubdata.rules.tackle import SPLIT_SHOT_G
from clubdata.rules.trade import (
    FACTS,
    NUMBERS,
    SURE,
    TOPICS,
    UNITS,
    Comparator,
    Condition,
    RuleBook,
    TradeRule,
    Value,
)

BOOK_FILE: Final = Path(__file__).with_name("trade_book.json")
_MOST_CONDITIONS: Final = 6
_LARGEST: Final = 100_000
#: Topics whose value is a number that a plan reckons with, and between which it lies.
_RECKONED: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "line": (0.5, 30),
        "back_shot": (1, 200),
        "line_above_float": (5, 500),
        "main_line": (0.03, 1),
        "hooklength": (0.03, 1),
        "hooklength_length": (1, 200),
        "hook": (1, 30),
        "elastic": (1, 30),
    }
)
#: Topics whose value is a word, and which words they take where that is not anybody's.
_WORDED: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {"float": (), "stem": (), "pattern": ("tapered", "bulk"), "hook_bait": (), "next_bait": ()}
)


@cache
def standard_book() -> RuleBook:
    """The book that every club begins with."""
    records = Described(json.loads(BOOK_FILE.read_text(encoding="utf-8")), "trade_book").items()
    return RuleBook({rule.name: rule for rule in map(read_rule, records)})


def read_rule(record: Described) -> TradeRule:
    """A rule from JSON. Raises `InvalidInput`, its field the place at fault."""
    entries = record.fields(
        required=("name", "topic", "advice", "reason"),
        optional=(
            *("when", "value", "low", "high", "unit", "size", "place", "bait", "uses", "minutes"),
            *("dissent", "source", "sure"),
        ),
    )
    texts = {"dissent": 400, "source": 200, "size": 4, "place": 10, "bait": 20}
    values: dict[str, Any] = {
        "name": entries["name"].text(most=60),
        "topic": entries["topic"].one_of(TOPICS),
        "advice": entries["advice"].text(most=400),
        "reason": entries["reason"].text(most=400),
        **{
            name: entries[name].text(most=most, blank=True) for name, most in texts.items() if name in entries
        },
        **{name: _number(entries[name]) for name in ("low", "high", "minutes") if name in entries},
    }
    if "value" in entries:
        values["value"] = _value(entries["value"])
    if "uses" in entries:
        values["uses"] = tuple(word.text(most=20) for word in entries["uses"].items())
    if "unit" in entries:
        values["unit"] = entries["unit"].one_of(UNITS)
    if "sure" in entries:
        values["sure"] = entries["sure"].one_of(SURE)
    if "when" in entries:
        conditions = entries["when"].items()
        if len(conditions) > _MOST_CONDITIONS:
            raise entries["when"].refusal(f"at most {_MOST_CONDITIONS} conditions are wanted")
        values["conditions"] = tuple(map(_condition, conditions))
    rule = TradeRule(**values)
    _check_for_its_topic(rule, entries)
    if rule.low is not None and rule.high is not None and rule.low > rule.high:
        raise entries["low"].refusal("a range begins below its end")
    return rule


def _check_for_its_topic(rule: TradeRule, entries: Mapping[str, Described]) -> None:
    """A plan reckons with the values of some topics: those are there, and within what can be tied."""
    told = entries.get("value", Described(None, "value"))
    if rule.topic in _RECKONED:
        least, most = _RECKONED[rule.topic]
        is_number = isinstance(rule.value, float)
        if not is_number or not least <= float(rule.value or 0) <= most:
            raise told.refusal(f"a number from {least:g} to {most:g} is wanted for this topic")
    if rule.topic in _WORDED:
        words = _WORDED[rule.topic]
        if not isinstance(rule.value, str) or not rule.value or (words and rule.value not in words):
            raise told.refusal(f"{' or '.join(words) or 'a word'} is wanted for this topic")
    if rule.size and rule.size not in SPLIT_SHOT_G:
        raise entries["size"].refusal(f"one of {', '.join(SPLIT_SHOT_G)} is wanted")
    if rule.topic in {"back_shot", "pattern"} and not rule.size:
        raise Described(None, "size").refusal("the size of the shot is wanted for this topic")


def reworded(rule: TradeRule, record: Any) -> TradeRule:
    """A club's own version of a rule, from JSON as `plain` gives it. Raises `InvalidInput`.

    What kind of thing its value is stays: a number stays a number, a word a word.
    """
    given = dict(Described(record).mapping())
    own = read_rule(
        Described(
            {**{key: item.value for key, item in given.items()}, "name": rule.name, "topic": rule.topic}
        )
    )
    if isinstance(own.value, str) != isinstance(rule.value, str) or (own.value is None) != (
        rule.value is None
    ):
        raise Described(own.value, "value").refusal("a value of the same kind as before is wanted")
    return replace(own, unit=rule.unit, place=rule.place, bait=rule.bait, uses=rule.uses, edited=True)


def plain(rule: TradeRule) -> dict[str, Any]:
    """A rule as JSON values, as `read_rule` reads it."""
    shown: dict[str, Any] = {
        "name": rule.name,
        "topic": rule.topic,
        "when": [_plain_condition(condition) for condition in rule.conditions],
        "advice": rule.advice,
        "value": rule.value,
        "low": rule.low,
        "high": rule.high,
        "unit": rule.unit,
        "size": rule.size,
        "place": rule.place,
        "bait": rule.bait,
        "uses": list(rule.uses),
        "minutes": rule.minutes,
        "reason": rule.reason,
        "dissent": rule.dissent,
        "source": rule.source,
        "sure": rule.sure,
    }
    return shown


def _plain_condition(condition: Condition) -> dict[str, Any]:
    shown = {"fact": condition.fact, "is": condition.comparator.value, "value": condition.value}
    return {**shown, "unit": condition.unit, "up_to": condition.up_to}


def _condition(record: Described) -> Condition:
    entries = record.fields(required=("fact", "is", "value"), optional=("unit", "up_to"))
    fact = entries["fact"].one_of(tuple(FACTS))
    comparator = Comparator(entries["is"].one_of(tuple(Comparator)))
    if fact not in NUMBERS and comparator not in {Comparator.IS, Comparator.IS_NOT}:
        raise entries["is"].refusal("of a word one asks whether it is or is not")
    if fact not in NUMBERS:
        return Condition(fact, comparator, _value(entries["value"]), FACTS[fact])
    up_to = _number(entries["up_to"]) if "up_to" in entries else None
    if (up_to is not None) != (comparator is Comparator.NOT_BETWEEN):
        raise record.refusal("'up_to' goes with 'not_between', and only with it")
    return Condition(fact, comparator, _number(entries["value"]), FACTS[fact], up_to)


def _value(entry: Described) -> Value:
    if isinstance(entry.value, bool):
        return entry.value
    if isinstance(entry.value, str):
        return entry.text(most=40, blank=True)
    return _number(entry)


def _number(entry: Described) -> float:
    return float(entry.number(lowest=-_LARGEST, highest=_LARGEST, places=3))
