"""What to tie for one line: float, pattern, lines, hook and elastic, limited by what the angler has."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from clubdata.errors import InvalidInput
from clubdata.rules.conventions import float_code
from clubdata.rules.plan_items import Because, Item, item_of, of_the_kit
from clubdata.rules.rigs import Rig, Shot, bulk_with_droppers, tapered, trimming_for
from clubdata.rules.situation import Ground
from clubdata.rules.tackle import strength_ratio
from clubdata.rules.trade import Facts, RuleBook

_RIG_TOPICS: Final = (
    "float", "stem", "pattern", "trimming", "bristle", "back_shot", "line_above_float",
    "main_line", "hooklength", "hooklength_length", "hook", "elastic",
)  # fmt: skip


def rig_items(book: RuleBook, ground: Ground, facts: Facts) -> dict[str, Item]:
    items = {}
    for topic in _RIG_TOPICS:
        if rules := book.speaking(topic, facts):
            items[topic] = item_of(rules, rules[0].advice)
    kit = ground.kit
    if "main_line" in items:
        items["main_line"] = _nearest(items["main_line"], kit.main_lines_mm, "mm main line")
    if "hooklength" in items:
        main = items.get("main_line")
        thick = float(main.value) if main is not None and main.value is not None else None
        items["hooklength"] = _finer(items["hooklength"], kit.hooklengths_mm, thick)
    if "hook" in items:
        items["hook"] = _nearest(items["hook"], kit.hook_sizes, "hook")
    if "float" in items:
        items["float"] = _float(items["float"], ground)
    return items


def _nearest(item: Item, had: Sequence[float] | None, what: str) -> Item:
    """What the angler has nearest to what is wanted; the thing itself where that is there."""
    if had is None or item.value in had:
        return item
    if not had:
        return replace(item, because=(*item.because, of_the_kit(f"You named no {what}.")))
    best = min(had, key=lambda one: abs(one - float(item.value or 0)))
    words = f"Of yours, {best:g} comes nearest to {float(item.value or 0):g}."
    says = f"{item.says} Of yours take {best:g}."
    return replace(item, says=says, value=best, because=(*item.because, of_the_kit(words)))


def _finer(item: Item, had: Sequence[float] | None, main_mm: float | None) -> Item:
    """A hooklength finer than the main line, whatever the rule and the box say."""
    wanted = float(item.value or 0)
    usable = None if had is None else [one for one in had if main_mm is None or one < main_mm]
    if usable == []:
        words = "None of your hooklengths is finer than the main line: tie or buy a finer one."
        return replace(item, says=words, value=None, because=(*item.because, of_the_kit(words)))
    if usable is not None:
        item = _nearest(item, usable, "hooklength")
    elif main_mm is not None and wanted >= main_mm:
        finer = round(main_mm - 0.02, 3)
        item = replace(item, says=f"Hooklength of {finer:g} mm: finer than the main line.", value=finer)
    if main_mm is not None and item.value is not None:
        share = round(strength_ratio(float(item.value), main_mm) * 100)
        strength = Because("the trade", f"About {share} % as strong as the main line, were both of one make.")
        item = replace(item, because=(*item.because, strength))
    return item


def _float(item: Item, ground: Ground) -> Item:
    loads = ground.float_loads_g
    wanted_g = loads.get(float_code(str(item.value)))
    had = ground.kit.floats
    if had is not None:
        known = {code: loads[float_code(code)] for code in had if float_code(code) in loads}
        if known and wanted_g:
            best = min(known, key=lambda code: max(known[code] / wanted_g, wanted_g / known[code]))
            if float_code(best) != float_code(str(item.value)):
                words = f"Of yours, {best} ({known[best]:g} g) comes nearest."
                return replace(
                    item,
                    says=f"{item.says} Of yours take {best}.",
                    value=best,
                    because=(*item.because, of_the_kit(words)),
                )
    if wanted_g is not None:
        about = Because("the club's table of floats", f"{item.value} takes about {wanted_g:g} g.")
        item = replace(item, because=(*item.because, about))
    return item


def rig_of(book: RuleBook, ground: Ground, facts: Facts, items: dict[str, Item]) -> Rig | None:
    """The rig as positions, or None where no pattern fits this depth and float."""
    needed = ("float", "pattern", "hooklength_length")
    if any(items.get(topic) is None or items[topic].value is None for topic in needed):
        return None
    load_g = ground.float_loads_g.get(float_code(str(items["float"].value)))
    if load_g is None:
        return None
    hooklength_cm, depth_cm = float(items["hooklength_length"].value or 0), float(facts["depth_cm"])
    rule = book.rules[items["pattern"].because[0].rule]
    make = bulk_with_droppers if rule.value == "bulk" else tapered
    try:
        shot = make(hooklength_cm=hooklength_cm, load_g=load_g, depth_cm=depth_cm, size=rule.size or "9")
    except InvalidInput:
        return None
    rig = Rig(depth_cm=depth_cm, hooklength_cm=hooklength_cm, load_g=load_g, shot=shot)
    if back := book.speaking("back_shot", facts):
        above = Shot(depth_cm + back[0].number, back[0].size)
        rig = replace(rig, back_shot=(above, above))
    return replace(rig, trimming=trimming_for(rig))
