"""The plan of a session: which lines, what to tie for each, what to hook and feed, and what to watch for.

Pure arrangement of the club's evidence, the trade's rules and the peg's record; each line carries its reason.
"""

from dataclasses import dataclass, replace
from typing import Final

from clubdata.errors import InvalidInput
from clubdata.rules.plan_items import Because, Item, item_of, of_the_kit
from clubdata.rules.planned_baits import feeding, first_bait, next_bait
from clubdata.rules.planned_rig import rig_items, rig_of
from clubdata.rules.rigs import Rig, Stage, as_written, settling
from clubdata.rules.situation import Depth, Ground, class_of
from clubdata.rules.tackle import USUAL_POLE, feet_and_inches
from clubdata.rules.trade import Facts, RuleBook, TradeRule

#: Lines that lie closer together feed one group of fish.
APART_M: Final = 3.0
#: Drawn where no depth is on record, and said so: about 5 ft.
DEPTH_TO_PLUMB_CM: Final = 152.4
#: Two lines and no more: the further, and the nearer.
_PLACES: Final = ("long", "short")


@dataclass(frozen=True, slots=True)
class PlannedLine:
    """One line to fish: how far, how deep, and the rig for it."""

    place: str
    distance_m: float
    joints: int | None
    depth: Depth | None
    depth_in_words: str
    why: Item
    rig: Rig | None
    pattern: str
    settles: tuple[Stage, ...]
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The lines, the hook baits to begin with and to change to, the feed, and what to watch for."""

    lines: tuple[PlannedLine, ...]
    first_bait: Item | None
    next_bait: Item | None
    hooking: tuple[Item, ...]
    items: tuple[Item, ...]
    watch: tuple[TradeRule, ...]
    left_out: tuple[str, ...]


def plan_session(*, book: RuleBook, ground: Ground) -> Plan:
    """A plan from what is known; what is not known is left to the rules that need no such fact."""
    facts = ground.situation.facts()
    first = first_bait(book, ground, facts)
    after = next_bait(book, ground, facts, first)
    hooked = dict(facts) if first is None else {**facts, "hook_bait": class_of(str(first.value))}
    fed, left_out = feeding(book, ground, hooked)
    baits = [item for item in (first, after) if item is not None]
    hooking = [
        item_of(rules, rules[0].advice)
        for item in baits
        if (rules := book.speaking("hooking", {**facts, "hook_bait": class_of(str(item.value))}))
    ]
    return Plan(
        lines=tuple(
            replace(_line(book, ground, hooked, why), place=place)
            for place, why in zip(_PLACES, _distances(book, ground, facts), strict=False)
        ),
        first_bait=first,
        next_bait=after,
        hooking=tuple(hooking),
        items=(*_rig_type(ground), *fed),
        watch=tuple(rule for rule in book.of("change") if not ground.missing(rule)),
        left_out=left_out,
    )


def next_steps(*, book: RuleBook, ground: Ground, seen: Facts) -> tuple[TradeRule, ...]:
    """What to do next, given what has happened so far: the more particular first, and who disagrees too."""
    speaking = book.speaking("change", {**ground.situation.facts(), **seen})
    return tuple(rule for rule in speaking if not ground.missing(rule))


def _rig_type(ground: Ground) -> list[Item]:
    """The rig type with which the returns do best, beside the rig that the trade ties."""
    tip = next((tip for tip in ground.tips if tip.rig_type), None)
    if tip is None:
        return []
    says = (
        f"The club's returns do best here with: {tip.rig_type}. The rigs drawn are for the bottom; "
        "change to that one when signs say so, or from the start if you trust it."
    )
    why = Because("the club's returns", f"{tip.words}: {tip.how_much_we_know}.")
    return [Item("rig_type", says, (why,), tip.rig_type)]


def _distances(book: RuleBook, ground: Ground, facts: Facts) -> list[Item]:
    """The lines' distances, the longest first; the returns' own best distance takes its neighbour's place."""
    longest = ground.kit.longest_pole_m
    found: list[Item] = []
    for rule in book.of("line"):
        if rule.speaks(facts):
            distance = rule.number if longest is None else min(rule.number, longest)
            shorter = distance < rule.number - 1e-9
            kit = (of_the_kit(f"Your pole reaches {longest:g} m."),) if shorter else ()
            says = f"Fish at {distance:g} m, as far as your pole reaches." if shorter else rule.advice
            item = item_of((rule,), says)
            found.append(replace(item, value=distance, because=(*item.because, *kit)))
    tip = next((tip for tip in ground.tips if tip.distance_m is not None), None)
    if tip is not None and tip.distance_m is not None and (longest is None or tip.distance_m <= longest):
        found = _with_tip(found, tip.distance_m, f"{tip.words}: {tip.how_much_we_know}.")
    found.sort(key=lambda item: -float(item.value or 0))
    apart = found[:1]
    for item in found[1:]:
        if float(apart[-1].value or 0) - float(item.value or 0) >= APART_M:
            apart.append(item)
    return apart


def _with_tip(found: list[Item], distance_m: float, words: str) -> list[Item]:
    returns = Because("the club's returns", words)
    says = f"Fish a line at {distance_m:g} m: where the club's returns do best here."
    if not found:
        return [Item("line", says, (returns,), distance_m, "m")]
    nearest = min(found, key=lambda item: abs(float(item.value or 0) - distance_m))
    others = [item for item in found if item is not nearest]
    trade = tuple(replace(why, words=f"It would say: {nearest.says} {why.words}") for why in nearest.because)
    told = Item("line", says, (returns, *trade), distance_m, "m")
    return [told, *(item for item in others if abs(float(item.value or 0) - distance_m) >= APART_M)]


def _line(book: RuleBook, ground: Ground, facts: Facts, why: Item) -> PlannedLine:
    distance_m = float(why.value or 0)
    depth = ground.situation.depth_at(distance_m)
    depth_cm = DEPTH_TO_PLUMB_CM if depth is None else depth.depth_cm
    here = {**facts, "depth_cm": depth_cm}
    items = rig_items(book, ground, here)
    rig = rig_of(book, ground, here, items)
    unknown = "no depth is on record: plumb it first; drawn for 5 ft"
    metres = f"{feet_and_inches(depth_cm)} ({depth_cm / 100:.2f} m)"
    return PlannedLine(
        place=_PLACES[0],
        distance_m=distance_m,
        joints=_joints(distance_m),
        depth=depth,
        depth_in_words=unknown if depth is None else f"{metres}, {depth.found}; plumb it",
        why=why,
        rig=rig,
        pattern="" if rig is None else as_written(rig.shot),
        settles=() if rig is None else settling(rig),
        items=tuple(items.values()),
    )


def _joints(distance_m: float) -> int | None:
    try:
        return USUAL_POLE.joints_for(distance_m)
    except InvalidInput:
        return None
