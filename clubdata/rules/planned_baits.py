"""What to hook, first and next, and how to feed: never what the water's rules or the angler's box exclude."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from clubdata.rules.plan_items import Because, Item, item_of, of_the_kit
from clubdata.rules.situation import Ground
from clubdata.rules.trade import Facts, RuleBook, TradeRule

_SESSION_TOPICS: Final = ("plumb", "laying_in", "feed", "feed_again")


def first_bait(book: RuleBook, ground: Ground, facts: Facts) -> Item | None:
    """The returns' choice where they know enough, else the trade's; never one not allowed or not there."""
    rules = book.speaking("hook_bait", facts)
    tips = [tip for tip in ground.tips if ground.may_hook(tip.hook_bait)]
    of_trade = [bait for rule in rules for bait in ground.baits_of(str(rule.value))]
    if tips and (tips[0].is_firm or not of_trade):
        return _tipped(tips[0].hook_bait, f"{tips[0].words}: {tips[0].how_much_we_know}.", "Start on", rules)
    if of_trade:
        return replace(item_of(rules, f"Start on {of_trade[0]}."), value=of_trade[0])
    others = [bait for bait in ground.hook_baits if ground.may_hook(bait)]
    if not others:
        return None
    words = "Of what the rules allow and you have."
    return Item("hook_bait", f"Start on {others[0]}.", (of_the_kit(words),), others[0])


def next_bait(book: RuleBook, ground: Ground, facts: Facts, first: Item | None) -> Item | None:
    rules = book.speaking("next_bait", facts)
    begun = None if first is None else first.value
    of_trade = [bait for rule in rules for bait in ground.baits_of(str(rule.value)) if bait != begun]
    if of_trade:
        wait = "" if rules[0].minutes is None else f", and give it {rules[0].minutes:g} minutes"
        return replace(item_of(rules, f"Change to {of_trade[0]} for bigger fish{wait}."), value=of_trade[0])
    tips = [tip for tip in ground.tips if ground.may_hook(tip.hook_bait) and tip.hook_bait != begun]
    if tips:
        words = f"{tips[0].words}: {tips[0].how_much_we_know}."
        return replace(_tipped(tips[0].hook_bait, words, "Change to", ()), topic="next_bait")
    return None


def _tipped(bait: str, words: str, verb: str, also: Sequence[TradeRule]) -> Item:
    return Item(
        "hook_bait", f"{verb} {bait}.", (Because("the club's returns", words),), bait, also=tuple(also)
    )


def feeding(book: RuleBook, ground: Ground, facts: Facts) -> tuple[tuple[Item, ...], tuple[str, ...]]:
    """Plumbing, laying in and feeding; and what was left out because a feed may not be used."""
    items, left_out = [], []
    for topic in _SESSION_TOPICS:
        speaking = book.speaking(topic, facts)
        # In the book's order, those that hold only here before those that hold anywhere.
        in_order = [rule for rule in book.of(topic) if rule in speaking]
        for rule in sorted(in_order, key=lambda rule: topic == "feed_again" and -len(rule.conditions)):
            if missing := ground.missing(rule):
                left_out.append(f"{rule.name}: no {' or '.join(missing)} here, or none in the box.")
            else:
                items.append(item_of((rule,), rule.advice))
    return tuple(items), tuple(left_out)
