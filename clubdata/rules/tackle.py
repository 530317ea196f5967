"""Tackle in figures: split shot, line, hooks and poles. Sizes are the trade's, and makers differ.

Where no source is named, a figure is common practice without a published source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from clubdata.errors import InvalidInput

#: Grams of a split shot by its size, as shops list them; tables disagree by 0.02 g or a tenth.
SPLIT_SHOT_G: Final[Mapping[str, float]] = MappingProxyType(
    {
        "SSG": 1.6,
        "AAA": 0.8,
        "BB": 0.4,
        "1": 0.3,
        "4": 0.2,
        "6": 0.1,
        "8": 0.06,
        "9": 0.05,
        "10": 0.04,
        "11": 0.03,
        "12": 0.02,
        "13": 0.01,
    }
)
#: Lead of these weights may not be used for fishing in England and Wales (SI 1986/1992): heavier than the
#: first, up to and with the second.
LEAD_NOT_ALLOWED_G: Final = (0.06, 28.35)
#: Hook sizes usual for a kind of bait, the bigger hook first (numbers fall as hooks grow).
HOOKS_FOR: Final[Mapping[str, tuple[int, int]]] = MappingProxyType(
    {
        "maggot": (16, 22),
        "caster": (16, 20),
        "corn": (10, 16),
        "worm": (8, 16),
        "bread": (12, 20),
        "pellet": (12, 18),
    }
)
#: The heaviest fish, in grams, for which an elastic's size is usual: 9 serves to 4 or 5 lb, the others are
#: from memory, unverified.
_ELASTICS: Final = ((5, 700), (9, 2_270), (12, 4_000), (14, 7_000), (16, 10_000))
CM_IN_AN_INCH: Final = 2.54
CM_IN_A_FOOT: Final = 30.48


def shot_g(size: str) -> float:
    """Grams of a size, written with or without 'No'. Raises `InvalidInput` for one that is not known."""
    folded = size.strip().upper().removeprefix("NO").lstrip(". ").strip()
    if folded not in SPLIT_SHOT_G:
        known = ", ".join(SPLIT_SHOT_G)
        raise InvalidInput(f"No such shot; known: {known}.", field="size", code="shot_unknown")
    return SPLIT_SHOT_G[folded]


def shot_of(weight_g: float) -> str:
    """The size whose weight is nearest by ratio; of two equally near the lighter.

    Raises `InvalidInput` for what is no weight of a single shot.
    """
    if not 0.005 <= weight_g <= 2.4:
        raise InvalidInput("From 0.005 to 2.4 g.", field="weight_g", code="out_of_range")
    lightest_first = sorted(SPLIT_SHOT_G.items(), key=lambda one: one[1])
    return min(lightest_first, key=lambda one: max(one[1] / weight_g, weight_g / one[1]))[0]


def is_lead_allowed(weight_g: float) -> bool:
    """Whether a weight of lead may be used in England and Wales; other metals may be of any weight."""
    above, up_to = LEAD_NOT_ALLOWED_G
    return weight_g <= above or weight_g > up_to


def lightest_elastic(fish_g: float) -> int:
    """The lightest elastic usual for fish of so many grams; sizes differ between makers."""
    return next((size for size, most_g in _ELASTICS if fish_g <= most_g), 18)


def strength_ratio(thinner_mm: float, thicker_mm: float) -> float:
    """How strong a line is beside another of its make: about the square of the diameters' ratio."""
    return (thinner_mm / thicker_mm) ** 2


@dataclass(frozen=True, slots=True)
class Pole:
    """A pole by the lengths that it can be fished at, from the top kit on, in metres."""

    lengths_m: tuple[float, ...]

    def joints_for(self, distance_m: float) -> int:
        """How many sections reach a distance from the bank. Raises `InvalidInput` beyond the pole."""
        for joints, length_m in enumerate(sorted(self.lengths_m), start=1):
            if length_m >= distance_m - 1e-9:
                return joints
        longest = max(self.lengths_m)
        raise InvalidInput(f"This pole reaches {longest:g} m.", field="distance_m", code="beyond_the_pole")


#: A pole as often sold: a top kit of three sections, then one section after another.
USUAL_POLE: Final = Pole((2.6, 4.0, 5.5, 7.0, 8.5, 10.0, 11.5, 13.0, 14.5, 16.0))


def feet_and_inches(depth_cm: float) -> str:
    """As anglers say a depth: 5 ft, or 4 ft 6 in, to the nearest inch."""
    inches = round(depth_cm / CM_IN_AN_INCH)
    feet, rest = divmod(inches, 12)
    parts = ([f"{feet} ft"] if feet else []) + ([f"{rest} in"] if rest or not feet else [])
    return " ".join(parts)
