"""Seasons of the year and the coarse close season."""

from datetime import date
from enum import StrEnum
from typing import Final

WATER_KINDS: Final = frozenset({"stillwater", "canal", "river"})

# National byelaws for rivers in England and Wales, both days included.
CLOSE_SEASON_STARTS: Final = (3, 15)
CLOSE_SEASON_ENDS: Final = (6, 15)
PARTLY_CLOSED_MONTHS: Final = frozenset({CLOSE_SEASON_STARTS[0], CLOSE_SEASON_ENDS[0]})
CLOSE_SEASON_SENTENCE: Final = (
    "Rivers in England and Wales are closed to coarse fishing from 15 March to 15 June inclusive. "
    "Local byelaws and the fishery's rules come first; check them before you go."
)


class Season(StrEnum):
    """Meteorological season of the northern hemisphere."""

    WINTER = "winter"
    SPRING = "spring"
    SUMMER = "summer"
    AUTUMN = "autumn"


def close_season_applies(kind: str, on: date) -> bool:
    """Whether the national close season for rivers in England and Wales covers this water on this date.

    Stillwaters and canals have no national close season; some have one by local byelaw, which this cannot
    know. Always show `CLOSE_SEASON_SENTENCE` or the like beside the answer. Raises `ValueError` for a kind of
    water other than stillwater, canal or river.
    """
    check_water_kind(kind)
    return kind == "river" and CLOSE_SEASON_STARTS <= (on.month, on.day) <= CLOSE_SEASON_ENDS


def close_season_touches(kind: str, month: int) -> bool:
    """Whether any day of the month (1 to 12) lies in the close season of this kind of water."""
    check_water_kind(kind)
    _check_month(month)
    return kind == "river" and CLOSE_SEASON_STARTS[0] <= month <= CLOSE_SEASON_ENDS[0]


def season_of(month: int) -> Season:
    """Meteorological season of a month: winter is December to February."""
    _check_month(month)
    return tuple(Season)[month % 12 // 3]


def _check_month(month: int) -> None:
    if not 1 <= month <= 12:
        raise ValueError("a month goes from 1 to 12")


def check_water_kind(kind: str) -> None:
    """Raise `ValueError` for a kind of water that the rules do not know."""
    if kind not in WATER_KINDS:
        raise ValueError("a water is a stillwater, a canal or a river")
