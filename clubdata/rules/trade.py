"""The trade's rules as records: when each speaks, what it says, why, and who disagrees.

A rule's conditions are facts compared with values, joined by 'and'; nothing in them is ever evaluated. What
the standard book holds (`trade_book.json`) is common practice without a published source unless a record
names one. `clubdata.rules.trade_records` reads
them, and a club may write a rule its own way (`clubdata.services.rule_book`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

COMMON_PRACTICE: Final = "common practice, no source"
Value = str | float | bool
Facts = Mapping[str, Value]


class Comparator(StrEnum):
    IS = "is"
    IS_NOT = "is_not"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"
    ABOVE = "above"
    BELOW = "below"
    NOT_BETWEEN = "not_between"


#: What a condition may look at, and the unit of what is compared.
FACTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "water_kind": "",
        "depth_cm": "cm",
        "month": "",
        "wind_force": "Beaufort",
        "tow": "",
        "water_temperature_c": "degC",
        "clarity_cm": "cm",
        "hook_bait": "",
        "target": "",
        "small_fish": "",
        "fish_confident": "",
        "fish_expected": "",
        "minutes_without_sign": "min",
        "perch_over_feed": "",
        "bubbles": "",
        "missed_bites": "",
        "tow_rising": "",
        "float_does_not_settle": "",
    }
)
#: Of those, what is a number; the rest are words, or yes and no.
NUMBERS: Final = frozenset(
    {
        *("depth_cm", "month", "wind_force", "water_temperature_c", "clarity_cm"),
        *("minutes_without_sign", "missed_bites"),
    }
)
_SPOKEN: Final[Mapping[str, str]] = MappingProxyType(
    {
        "depth_cm": "depth",
        "water_temperature_c": "water temperature",
        "clarity_cm": "clarity",
        "small_fish": "small fish pester",
        "fish_confident": "the fish are confident",
        "fish_expected": "fish are expected",
        "minutes_without_sign": "time without a bite or sign",
        "perch_over_feed": "perch come over the feed",
        "missed_bites": "missed bites in a row",
        "tow_rising": "the tow picks up",
        "float_does_not_settle": "the float does not settle",
    }
)
_UNIT_WORDS: Final = MappingProxyType({"degC": "°C"})
TOPICS: Final = (
    "line", "float", "stem", "pattern", "trimming", "bristle", "back_shot", "line_above_float", "main_line",
    "hooklength", "hooklength_length", "hook", "elastic", "plumb", "laying_in", "hook_bait", "next_bait",
    "hooking", "feed", "feed_again", "change",
)  # fmt: skip
UNITS: Final = ("", "m", "cm", "mm", "g", "min", "grains", "maggots", "Beaufort", "degC")
SURE: Final = ("usual", "weak", "one practice")


@dataclass(frozen=True, slots=True)
class Condition:
    """One fact compared with one value; `up_to` ends the span of 'not_between'."""

    fact: str
    comparator: Comparator
    value: Value
    unit: str = ""
    up_to: float | None = None

    def holds(self, facts: Facts) -> bool:
        """Whether it does; of what is not known nothing holds."""
        if self.fact not in facts:
            return False
        found, value = facts[self.fact], self.value
        match self.comparator:
            case Comparator.IS:
                return found == value
            case Comparator.IS_NOT:
                return found != value
            case _:
                return self._compares(float(found), float(value))

    def _compares(self, found: float, value: float) -> bool:
        match self.comparator:
            case Comparator.AT_LEAST:
                return found >= value
            case Comparator.AT_MOST:
                return found <= value
            case Comparator.ABOVE:
                return found > value
            case Comparator.BELOW:
                return found < value
            case _:
                return not value <= found <= float(self.up_to or value)

    def __str__(self) -> str:
        """As one says it: 'small fish pester', 'depth above 183 cm'."""
        spoken = _SPOKEN.get(self.fact, self.fact.replace("_", " "))
        if isinstance(self.value, bool):
            holds = self.value == (self.comparator is Comparator.IS)
            return spoken if holds else f"not so: {spoken}"
        compared = self.comparator.value.replace("_", " ")
        shown = f"{self.value:g}" if isinstance(self.value, float) else self.value or "unknown"
        unit = f" {_UNIT_WORDS.get(self.unit, self.unit)}" if self.unit else ""
        end = "" if self.up_to is None else f" and {self.up_to:g}"
        return f"{spoken} {compared} {shown}{end}{unit}"


@dataclass(frozen=True, slots=True)
class TradeRule:
    """One rule. `value` with its usual range, in `unit`, is what a plan reckons with; `advice` what it says.

    `place` narrows it to one of the lines; `bait` is what it puts on the hook and `uses` the feeds that it
    takes; `minutes` is how long to wait. `edited` marks a club's own wording.
    """

    name: str
    topic: str
    advice: str
    reason: str
    conditions: tuple[Condition, ...] = ()
    value: Value | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    size: str = ""
    place: str = ""
    bait: str = ""
    uses: tuple[str, ...] = ()
    minutes: float | None = None
    dissent: str = ""
    source: str = COMMON_PRACTICE
    sure: str = "usual"
    edited: bool = False

    def speaks(self, facts: Facts) -> bool:
        """Whether all its conditions hold."""
        return all(condition.holds(facts) for condition in self.conditions)

    @property
    def number(self) -> float:
        """The value where it is a number. Raises `TypeError` where it is none."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise TypeError(f"{self.name} has no number")
        return float(self.value)


@dataclass(frozen=True, slots=True)
class RuleBook:
    """The rules by name, in the book's order."""

    rules: Mapping[str, TradeRule]

    def speaking(self, topic: str, facts: Facts) -> tuple[TradeRule, ...]:
        """The rules of a topic that hold here, the more particular first: of more conditions, or later in the
        book. More than one is no fault: where they disagree both are shown.
        """
        found = [rule for rule in self.of(topic) if rule.speaks(facts)]
        later_first = found[::-1]
        return tuple(sorted(later_first, key=lambda rule: -len(rule.conditions)))

    def of(self, topic: str) -> tuple[TradeRule, ...]:
        """A topic's rules in the book's order."""
        return tuple(rule for rule in self.rules.values() if rule.topic == topic)

    def with_rules(self, rules: Iterable[TradeRule]) -> "RuleBook":
        """With a club's own wording in the places of the standard's."""
        return RuleBook({**self.rules, **{rule.name: rule for rule in rules}})

    def without(self, names: Iterable[str]) -> "RuleBook":
        left_out = set(names)
        return RuleBook({name: rule for name, rule in self.rules.items() if name not in left_out})
