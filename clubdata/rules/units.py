"""Weights and lengths as anglers write them, in exact arithmetic.

A weight is kept as whole grams beside the unit and the step to which it was weighed. One dram is
1.77 g, more than a gram, so every lb-oz-dr reading comes back exactly from its grams.

The avoirdupois pound is 0.45359237 kg and the foot 0.3048 m, both by definition: International Yard
and Pound Agreement 1959; Weights and Measures Act 1985 (UK), schedule 1.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import Final, Literal

from clubdata.errors import InvalidInput

OUNCES_IN_A_POUND: Final = 16
DRAMS_IN_AN_OUNCE: Final = 16
DRAMS_IN_A_POUND: Final = OUNCES_IN_A_POUND * DRAMS_IN_AN_OUNCE
HEAVIEST_WEIGHT_G: Final = 500_000
METRES_IN_A_FOOT: Final = Decimal("0.3048")

# A dram has thirteen decimals in grams; counted in 10⁻¹³ g every unit is a whole number.
_EXACT_DRAM_G: Final = Decimal("1.7718451953125")
_GRAM: Final = 10**13
_DRAM: Final = int(_EXACT_DRAM_G * _GRAM)
_OUNCE: Final = _DRAM * DRAMS_IN_AN_OUNCE
_POUND: Final = _DRAM * DRAMS_IN_A_POUND
_KILOGRAM: Final = _GRAM * 1000


class WeighingUnit(StrEnum):
    """The smallest unit that was read off the scales."""

    DRAM = "dram"
    OUNCE = "ounce"
    POUND = "pound"
    GRAM = "gram"
    KILOGRAM = "kilogram"


_SIZE: Final = {
    WeighingUnit.DRAM: _DRAM,
    WeighingUnit.OUNCE: _OUNCE,
    WeighingUnit.POUND: _POUND,
    WeighingUnit.GRAM: _GRAM,
    WeighingUnit.KILOGRAM: _KILOGRAM,
}
_METRIC: Final = frozenset({WeighingUnit.GRAM, WeighingUnit.KILOGRAM})

WeightProblem = Literal[
    "ambiguous_weight",
    "weight_not_understood",
    "ounces_out_of_range",
    "drams_out_of_range",
    "weight_out_of_range",
]


class WeightNotUnderstood(InvalidInput, ValueError):
    """A written weight that cannot be taken as it stands; the message says what would have been."""

    def __init__(self, code: WeightProblem, message: str) -> None:
        super().__init__(message, code=code)


@dataclass(frozen=True, slots=True)
class Weighing:
    """A weight to the nearest gram, with the unit and the step to which it was weighed.

    `step` counts in `unit`: 0.01 with kilogram is a scale that shows 10 g. Steps of drams, ounces and
    pounds are whole. No step is finer than a gram, because the weight is kept in grams and a finer
    reading could not be given back: `ValueError`. (`parse_weight` keeps such a reading to the gram.)
    """

    weight_g: int
    unit: WeighingUnit
    step: Decimal

    def __post_init__(self) -> None:
        if self.weight_g < 0:
            raise ValueError("a weight is not negative")
        _step_size(self.unit, self.step)


@lru_cache(maxsize=256)
def _step_size(unit: WeighingUnit, step: Decimal) -> int:
    """One step in 10⁻¹³ g; refuses steps that grams cannot give back."""
    if not step.is_finite() or step <= 0:
        raise ValueError("a step of weighing is above zero")
    if unit not in _METRIC and step != step.to_integral_value():
        raise ValueError("drams, ounces and pounds are weighed in whole steps")
    size = int(step * _SIZE[unit])
    if size < _GRAM:
        raise ValueError("a step of weighing is a gram or more")
    return size


def _nearest(amount: int, size: int) -> int:
    """How many whole `size` lie nearest to `amount`; a half goes to the even neighbour."""
    count, rest = divmod(amount, size)
    doubled = 2 * rest
    return count + 1 if doubled > size or (doubled == size and count % 2) else count


def exact_grams_from_pounds(pounds: int, ounces: int = 0, drams: int = 0) -> Decimal:
    """Grams of an avoirdupois weight, exact: 12-7-8 is 5655.7298634375."""
    return _EXACT_DRAM_G * (pounds * DRAMS_IN_A_POUND + ounces * DRAMS_IN_AN_OUNCE + drams)


def grams_from_pounds(pounds: int, ounces: int = 0, drams: int = 0) -> int:
    """Grams of an avoirdupois weight to the nearest gram, a half to the even one (ROUND_HALF_EVEN)."""
    return _nearest(pounds * _POUND + ounces * _OUNCE + drams * _DRAM, _GRAM)


def steps(weighing: Weighing) -> int:
    """The weight as a whole number of steps: what the scales showed, for sums and ties.

    The exact inverse of rounding to grams. Grams that lie between two steps go to the nearest, a half to
    the even one.
    """
    return _nearest(weighing.weight_g * _GRAM, _step_size(weighing.unit, weighing.step))


def pounds_ounces_drams(weight_g: int) -> tuple[int, int, int]:
    """Grams as pounds, ounces and drams to the nearest dram."""
    return _split_drams(_nearest(weight_g * _GRAM, _DRAM))


def pounds_ounces(weight_g: int) -> tuple[int, int]:
    """Grams as pounds and ounces to the nearest ounce."""
    return divmod(_nearest(weight_g * _GRAM, _OUNCE), OUNCES_IN_A_POUND)


def _split_drams(total: int) -> tuple[int, int, int]:
    pounds, rest = divmod(total, DRAMS_IN_A_POUND)
    ounces, drams = divmod(rest, DRAMS_IN_AN_OUNCE)
    return pounds, ounces, drams


def format_pounds_ounces(weight_g: int) -> str:
    """Grams for reading, to the nearest ounce: '12 lb 8 oz'."""
    pounds, ounces = pounds_ounces(weight_g)
    return f"{pounds} lb {ounces} oz"


def format_as_weighed(weighing: Weighing) -> str:
    """A weight as the scales showed it: '12-7-8', '12-8', '12 lb', '2.82 kg', '850 g'."""
    reading = steps(weighing) * weighing.step
    match weighing.unit:
        case WeighingUnit.DRAM:
            return "{}-{}-{}".format(*_split_drams(int(reading)))
        case WeighingUnit.OUNCE:
            return "{}-{}".format(*divmod(int(reading), OUNCES_IN_A_POUND))
        case WeighingUnit.POUND:
            return f"{reading:f} lb"
        case WeighingUnit.GRAM:
            return f"{reading:f} g"
        case WeighingUnit.KILOGRAM:
            return f"{reading:f} kg"


def metres_from_feet(feet: Decimal | int) -> Decimal:
    """Feet as metres, exact."""
    return feet * METRES_IN_A_FOOT


def feet_from_metres(metres: Decimal | int) -> Decimal:
    """Metres as feet, to the 28 digits of the default decimal context; exact for what came from feet."""
    return metres / METRES_IN_A_FOOT


_ACCEPTED: Final = (
    "write pounds-ounces-drams such as 12-7-8, pounds-ounces such as 12-8 or 12lb 8oz, "
    "or a metric weight with its unit such as 2.82 kg or 850 g"
)
_LONGEST_TEXT: Final = 40
_HYPHEN: Final = "[-‐‑–]"  # spreadsheets turn typed hyphens into dashes
_DASHED: Final = re.compile(rf"([0-9]+){_HYPHEN}([0-9]+)(?:{_HYPHEN}([0-9]+))?")
_NAMED: Final = re.compile(
    r"(?:([0-9]+)\s*(?:lbs?|pounds?))?\s*(?:([0-9]+)\s*(?:ozs?|ounces?))?\s*(?:([0-9]+)\s*(?:drs?|drams?))?",
    re.IGNORECASE,
)
_METRIC_TEXT: Final = re.compile(r"([0-9]*)(?:\.([0-9]{1,9}))?(?<=[0-9])\s*(kgs?|g)", re.IGNORECASE)
_BARE_NUMBER: Final = re.compile(r"[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+")
_FRACTION_OF_A_POUND: Final = re.compile(r"[0-9]*[.,][0-9]+\s*(?:lbs?|pounds?)", re.IGNORECASE)

_ONE: Final = Decimal(1)
_KILOGRAM_STEPS: Final = (_ONE, Decimal("0.1"), Decimal("0.01"), Decimal("0.001"))


def parse_weight(text: str) -> Weighing:
    """A written weight: '12-7-8', '12-8', '12lb 8oz 4dr', '12 lb', '9oz', '2.82 kg', '850g'.

    The last unit written is the unit of weighing; the decimals of a metric weight are its step, and
    digits finer than a gram are rounded to it, a half to the even one. Raises `WeightNotUnderstood`.
    """
    text = text.strip()
    if len(text) > _LONGEST_TEXT:
        raise WeightNotUnderstood("weight_not_understood", f"this is longer than a weight; {_ACCEPTED}")
    if found := _DASHED.fullmatch(text):
        pounds, ounces, drams = found.groups()
        return _avoirdupois(pounds, ounces, drams)
    if found := _METRIC_TEXT.fullmatch(text):
        return _metric(found[1], found[2] or "", found[3])
    if text and (found := _NAMED.fullmatch(text)):
        pounds, ounces, drams = found.groups()
        return _avoirdupois(pounds, ounces, drams)
    if _BARE_NUMBER.fullmatch(text):
        raise WeightNotUnderstood("ambiguous_weight", f"a number alone does not say its unit; {_ACCEPTED}")
    if _FRACTION_OF_A_POUND.fullmatch(text):
        raise WeightNotUnderstood(
            "ambiguous_weight",
            f"a point after pounds may mean a fraction or ounces; {_ACCEPTED}",
        )
    raise WeightNotUnderstood("weight_not_understood", f"this is not a weight that can be read; {_ACCEPTED}")


def _avoirdupois(pounds: str | None, ounces: str | None, drams: str | None) -> Weighing:
    ounce_count, dram_count = int(ounces or 0), int(drams or 0)
    if ounce_count >= OUNCES_IN_A_POUND:
        raise WeightNotUnderstood("ounces_out_of_range", "ounces go from 0 to 15; 16 oz is one pound")
    if dram_count >= DRAMS_IN_AN_OUNCE:
        raise WeightNotUnderstood("drams_out_of_range", "drams go from 0 to 15; 16 drams is one ounce")
    amount = int(pounds or 0) * _POUND + ounce_count * _OUNCE + dram_count * _DRAM
    if drams is not None:
        unit = WeighingUnit.DRAM
    else:
        unit = WeighingUnit.POUND if ounces is None else WeighingUnit.OUNCE
    return Weighing(_grams_in_range(amount), unit, _ONE)


def _metric(whole: str, decimals: str, unit: str) -> Weighing:
    count, parts = int(whole + decimals), 10 ** len(decimals)
    if unit[0] in "kK":
        step = _KILOGRAM_STEPS[min(len(decimals), 3)]
        return Weighing(_grams_in_range(count * _KILOGRAM // parts), WeighingUnit.KILOGRAM, step)
    return Weighing(_grams_in_range(count * _GRAM // parts), WeighingUnit.GRAM, _ONE)


def _grams_in_range(amount: int) -> int:
    if amount > HEAVIEST_WEIGHT_G * _GRAM:
        raise WeightNotUnderstood(
            "weight_out_of_range",
            f"a weight of one session is {HEAVIEST_WEIGHT_G // 1000} kg (1102 lb) or less",
        )
    return _nearest(amount, _GRAM)
