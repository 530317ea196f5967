"""Small derivations that the fit and the prediction must make alike."""

import math
from typing import Any

import numpy as np

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.spec import UNKNOWN

WIND_CLASSES = ("0-1", "2-3", "4-5", "6+")

#: Day of the year of the middle of each month, January first (a common year).
MID_MONTH_DAY = (16, 46, 75, 105, 136, 166, 197, 228, 258, 289, 319, 350)


def wind_class(force: float | None) -> str:
    """The class of a Beaufort force; half a force rounds up; unknown when not recorded."""
    if force is None or math.isnan(force):
        return UNKNOWN
    whole = math.floor(force + 0.5)
    return WIND_CLASSES[min(max(whole, 0) // 2, 3)]


def bait_month(hook_bait: Any, month: int) -> str | None:
    """The level of a bait in a month, None when the bait is not recorded."""
    return None if hook_bait is None else f"{hook_bait}/{month:02d}"


def water_year(water: Any, year: Any) -> str | None:
    """The level of a water in a year, None when either is not known."""
    return None if water is None or year is None else f"{water}/{year}"


def mid_month(months: IntArray) -> FloatArray:
    """Day of the year in the middle of each month (1 to 12)."""
    return np.asarray(MID_MONTH_DAY, dtype=np.float64)[np.asarray(months) - 1]
