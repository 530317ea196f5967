"""A choice of hook bait, distance and rig type, and what an answer says of it."""

import math
from dataclasses import dataclass

from analytics.answers.knowledge import Part
from analytics.answers.question import Tackle
from clubdata.rules.units import OUNCES_IN_A_POUND, format_pounds_ounces

GRAMS_IN_AN_OUNCE = 28.349523125
#: To how many ounces a weight below so many is said.
_SPOKEN_STEPS = ((1, 16.0), (8, 80.0), (16, math.inf))


@dataclass(frozen=True, slots=True)
class Evidence:
    """Used returns of this water with this bait: in all, at the peg (None when no peg was asked about), in
    the month, within 1 m of the distance (None when the choice names none), on the rig type.

    `parts` say the same with the last day and how many members, by whatever method.
    """

    on_water: int
    on_peg: int | None
    in_month: int
    near_distance: int | None
    on_rig_type: int
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Driver:
    """A factor of the expected weight with its 50 % and 90 % intervals: 1.2 is a fifth more than the base."""

    name: str
    label: str
    multiplier: float
    lower_50: float
    upper_50: float
    lower_90: float
    upper_90: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """The same bait on another rig type, at that one's best distance."""

    distance_m: float | None
    rig_type: Tackle | None
    expected_g: float
    expected_lb_oz: str


@dataclass(frozen=True, slots=True)
class Percentile:
    """A share of single sessions, and the weight that they stay below."""

    share: float
    weight_g: float
    weight_lb_oz: str


@dataclass(frozen=True, slots=True)
class OneSession:
    """What a single session may bring, whoever of the club fishes and whatever the day: not the mean."""

    percentiles: tuple[Percentile, ...]
    chance_of_blank: float

    def at(self, share: float) -> Percentile:
        """The weight that this share of sessions stays below; one of `predictive.OUTLOOK`."""
        return next(item for item in self.percentiles if item.share == share)

    @property
    def words(self) -> str:
        """'one session in ten under 1 lb 8 oz, one in ten over 22 lb; 1 in 12 blanks'."""
        low, high = spoken(self.at(0.1).weight_g), spoken(self.at(0.9).weight_g)
        told = [
            *([f"one session in ten under {low}"] if low else []),
            *([f"one {'in ten' if low else 'session in ten'} over {high}"] if high else []),
        ]
        return "; ".join([*([", ".join(told)] if told else []), blanks_in_words(self.chance_of_blank)])


@dataclass(frozen=True, slots=True)
class Choice:
    """A hook bait with its best distance and rig type.

    `expected_g` is the mean under the stated reference, with its 50 % (`lower_50_g` to `upper_50_g`) and 90 %
    intervals (of the mean: single sessions differ far more, `one_session`), and exactly base_g_per_hour *
    hours * the drivers' product. Every distance from `good_from_m` to `good_to_m` is expected to give at
    least 95 % of it. Of joint draws of all listed choices, `chance_best` is the share in which this one
    leads, `chance_beats_first` that in which it lies above the first (None for the first itself), and
    `regret_g` what one gives up on average by taking it instead of each draw's best, `regret_share` the same
    as a share of that best's mean. `worth_trying` says why it is, or is empty.
    """

    hook_bait: Tackle
    distance_m: float | None
    good_from_m: float | None
    good_to_m: float | None
    rig_type: Tackle | None
    expected_g: float
    expected_lb_oz: str
    lower_g: float
    lower_lb_oz: str
    upper_g: float
    upper_lb_oz: str
    lower_50_g: float
    lower_50_lb_oz: str
    upper_50_g: float
    upper_50_lb_oz: str
    one_session: OneSession
    chance_best: float
    chance_beats_first: float | None
    regret_g: float
    regret_lb_oz: str
    regret_share: float
    how_much_we_know: str
    worth_trying: str
    evidence: Evidence
    hours: float
    base_g_per_hour: float
    drivers: tuple[Driver, ...]
    alternatives: tuple[Alternative, ...]

    @property
    def words(self) -> str:
        """'sweetcorn at 8 m, up in the water'."""
        # 'red maggot, dead, at 8 m': without the comma the bait would be dead at that distance.
        comma = "," if "," in self.hook_bait.name else ""
        distance = "" if self.distance_m is None else f"{comma} at {self.distance_m:g} m"
        rig = "" if self.rig_type is None else f", {self.rig_type.name}"
        return f"{self.hook_bait.name}{distance}{rig}"


def blanks_in_words(chance: float) -> str:
    """'1 in 12 blanks'."""
    if chance > 0.5:
        return "more than half of them blanks"
    return "hardly ever a blank" if chance < 0.001 else f"1 in {round(1 / chance)} blanks"


def lb_oz(weight_g: float) -> str:
    """'6 lb 3 oz'."""
    return format_pounds_ounces(round(weight_g))


def spoken(weight_g: float) -> str:
    """A weight as one says it, no finer than it is known: '9 oz', '2 lb 8 oz', '13 lb'; empty below half an
    ounce.

    To the ounce below a pound, to the half pound below five, to the pound above.
    """
    ounces = weight_g / GRAMS_IN_AN_OUNCE
    step = next(step for step, below in _SPOKEN_STEPS if ounces < below)
    pounds, left = divmod(round(ounces / step) * step, OUNCES_IN_A_POUND)
    return " ".join([*([f"{pounds} lb"] if pounds else []), *([f"{left} oz"] if left else [])])
