"""A line of a plan and its reasons: the club's returns, the trade, the peg's record, the angler's own kit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from clubdata.rules.trade import TradeRule, Value


@dataclass(frozen=True, slots=True)
class Because:
    """Why: the club's returns, a rule of the trade by name, the peg's record, or the angler's own kit."""

    kind: str
    words: str
    rule: str = ""
    dissent: str = ""
    source: str = ""
    sure: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the plan: what to do, the figure it reckons with, why, and what else is said."""

    topic: str
    says: str
    because: tuple[Because, ...]
    value: Value | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    also: tuple[TradeRule, ...] = ()


def item_of(rules: Sequence[TradeRule], says: str) -> Item:
    """A line after the most particular rule; the others that speak are shown beside it."""
    lead = rules[0]
    return Item(
        topic=lead.topic,
        says=says,
        because=(of_the_trade(lead),),
        value=lead.value,
        unit=lead.unit,
        low=lead.low,
        high=lead.high,
        also=tuple(_disagreeing(lead, rules[1:])),
    )


def _disagreeing(lead: TradeRule, others: Iterable[TradeRule]) -> list[TradeRule]:
    return [rule for rule in others if (rule.value, rule.size) != (lead.value, lead.size)]


def of_the_trade(rule: TradeRule) -> Because:
    """The rule as a reason."""
    return Because("the trade", rule.reason, rule.name, rule.dissent, rule.source, rule.sure)


def of_the_kit(words: str) -> Because:
    return Because("your kit and the water's rules", words)
