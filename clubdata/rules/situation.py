"""Where and when a session is planned for, what the angler has, and what the club's returns say of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from clubdata.rules.conventions import USUAL_FLOAT_LOADS_G
from clubdata.rules.trade import TradeRule, Value
from clubdata.rules.water_rules import WaterRules, is_among
from clubdata.rules.words import fold

#: A depth on record counts for a line that lies no further from it.
_NEAR_M: Final = 1.5
#: Baits that rules of the trade speak of, by what their names contain.
BAIT_CLASSES: Final = ("maggot", "corn", "caster", "pellet", "worm", "bread")


@dataclass(frozen=True, slots=True)
class Depth:
    """A depth in centimetres, and where it was found: on the line itself, elsewhere at the peg, nowhere."""

    depth_cm: float
    found: str


@dataclass(frozen=True, slots=True)
class Situation:
    """A peg on a day: the water's kind, what is on record of the depth, and the conditions as far as known.

    `depths` are metres from the bank and centimetres of water.
    """

    water_kind: str
    month: int
    wind_force: int | None = None
    tow: str = ""
    water_temperature_c: float | None = None
    clarity_cm: int | None = None
    target: str = ""
    small_fish: bool | None = None
    fish_confident: bool | None = None
    peg_depth_cm: float | None = None
    depths: tuple[tuple[float, float], ...] = ()

    def facts(self) -> dict[str, Value]:
        """What is known, as the rules ask about it."""
        told: dict[str, Value | None] = {
            "water_kind": self.water_kind,
            "month": float(self.month),
            "wind_force": self.wind_force,
            "tow": self.tow or None,
            "water_temperature_c": self.water_temperature_c,
            "clarity_cm": self.clarity_cm,
            "target": self.target or None,
            "small_fish": self.small_fish,
            "fish_confident": self.fish_confident,
        }
        return {name: value for name, value in told.items() if value is not None}

    def depth_at(self, distance_m: float) -> Depth | None:
        """The depth on record for a line, or None."""
        nearest = min(self.depths, key=lambda one: abs(one[0] - distance_m), default=None)
        if nearest is not None and abs(nearest[0] - distance_m) <= _NEAR_M:
            return Depth(nearest[1], "on record for this line")
        if self.peg_depth_cm:
            return Depth(self.peg_depth_cm, "on record for the peg")
        return None


@dataclass(frozen=True, slots=True)
class Kit:
    """What the angler has; None where that is not said, and then nothing is left out."""

    longest_pole_m: float | None = None
    hook_baits: tuple[str, ...] | None = None
    feeds: tuple[str, ...] | None = None
    floats: tuple[str, ...] | None = None
    main_lines_mm: tuple[float, ...] | None = None
    hooklengths_mm: tuple[float, ...] | None = None
    hook_sizes: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Tip:
    """One choice that the club's returns lead to, in words, and how much is known of it."""

    hook_bait: str
    distance_m: float | None
    how_much_we_know: str
    words: str
    is_firm: bool
    rig_type: str = ""


@dataclass(frozen=True, slots=True)
class Ground:
    """Everything that a plan is made from, beside the book of rules."""

    situation: Situation
    kit: Kit = field(default_factory=Kit)
    rules: WaterRules = field(default_factory=WaterRules)
    tips: tuple[Tip, ...] = ()
    #: The club's names for hook baits.
    hook_baits: tuple[str, ...] = ()
    float_loads_g: Mapping[str, float] = field(default_factory=lambda: dict(USUAL_FLOAT_LOADS_G))

    def may_hook(self, bait: str) -> bool:
        """Whether the water's rules and the angler's box have this bait."""
        if is_among(bait, self.rules.hook_baits_not_allowed):
            return False
        return self.kit.hook_baits is None or is_among(bait, self.kit.hook_baits)

    def may_feed(self, ingredient: str) -> bool:
        """Whether an ingredient may be fed, and is there: 'corn' is meant by 'sweetcorn' too."""
        barred = (*self.rules.feeds_not_allowed, *self.rules.hook_baits_not_allowed)
        if any(ingredient in fold(word) for word in barred):
            return False
        return self.kit.feeds is None or any(ingredient in fold(word) for word in self.kit.feeds)

    def missing(self, rule: TradeRule) -> tuple[str, ...]:
        """What a rule takes that may not be used here, or is not in the box."""
        fed = tuple(word for word in rule.uses if not self.may_feed(word))
        return fed if not rule.bait or self.baits_of(rule.bait) else (*fed, rule.bait)

    def baits_of(self, kind: str) -> tuple[str, ...]:
        """The club's names of one of `BAIT_CLASSES` that may be used here."""
        return tuple(name for name in self.hook_baits if class_of(name) == kind and self.may_hook(name))


def class_of(bait: str) -> str:
    """Which of `BAIT_CLASSES` a bait is, by its name; empty for any other."""
    folded = fold(bait)
    return next((kind for kind in BAIT_CLASSES if kind in folded), "")
