"""Wind by the Beaufort scale.

Bands in metres a second and names: World Meteorological Organization, *Guide to Instruments and Methods
of Observation* (WMO-No. 8), wind.
"""

import math
import re
from bisect import bisect_right
from collections.abc import Mapping
from typing import Final, NamedTuple

from clubdata.rules.words import fold


class BeaufortBand(NamedTuple):
    """One force as printed: its name, and the lowest and highest mean speed in metres a second."""

    force: int
    name: str
    lowest: float
    highest: float


BEAUFORT_SCALE: Final = (
    BeaufortBand(0, "calm", 0.0, 0.2),
    BeaufortBand(1, "light air", 0.3, 1.5),
    BeaufortBand(2, "light breeze", 1.6, 3.3),
    BeaufortBand(3, "gentle breeze", 3.4, 5.4),
    BeaufortBand(4, "moderate breeze", 5.5, 7.9),
    BeaufortBand(5, "fresh breeze", 8.0, 10.7),
    BeaufortBand(6, "strong breeze", 10.8, 13.8),
    BeaufortBand(7, "near gale", 13.9, 17.1),
    BeaufortBand(8, "gale", 17.2, 20.7),
    BeaufortBand(9, "strong gale", 20.8, 24.4),
    BeaufortBand(10, "storm", 24.5, 28.4),
    BeaufortBand(11, "violent storm", 28.5, 32.6),
    BeaufortBand(12, "hurricane", 32.7, math.inf),
)

# The printed bands leave gaps of 0.1 m/s; each gap is halved.
_BOUNDARIES: Final = (0.25, 1.55, 3.35, 5.45, 7.95, 10.75, 13.85, 17.15, 20.75, 24.45, 28.45, 32.65)


def beaufort_from_metres_per_second(speed: float) -> int:
    """Beaufort force, 0 to 12, of a mean wind speed in metres a second.

    The bands are printed to 0.1 m/s, so a speed between two bands is first rounded to 0.1 m/s, a half
    upwards: 0.24 is force 0 and 0.25 is force 1. Raises `ValueError` for a speed below zero or not finite.
    """
    if not math.isfinite(speed) or speed < 0:
        raise ValueError("a wind speed is a finite number of metres a second, zero or above")
    return bisect_right(_BOUNDARIES, speed)


def beaufort_name(force: int) -> str:
    """The scale's word for a force, such as 'gentle breeze' for 3. Raises `ValueError` outside 0 to 12."""
    if not 0 <= force < len(BEAUFORT_SCALE):
        raise ValueError("a Beaufort force goes from 0 to 12")
    return BEAUFORT_SCALE[force].name


_FORCE: Final = re.compile(r"(?:f|force|beaufort)? ?([0-9]{1,2})")


def read_force(text: str, words: Mapping[str, int]) -> int:
    """Beaufort force of '4', 'F4', 'force 4', the scale's own word or one of the club's folded `words`.

    Raises `ValueError` for anything else.
    """
    folded = fold(text)
    if folded in words:
        return words[folded]
    named = next((band.force for band in BEAUFORT_SCALE if band.name == folded), None)
    if named is not None:
        return named
    number = _FORCE.fullmatch(folded)
    if number is None or int(number[1]) >= len(BEAUFORT_SCALE):
        raise ValueError("a Beaufort force goes from 0 to 12")
    return int(number[1])
