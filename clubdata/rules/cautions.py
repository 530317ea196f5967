"""What to be careful of at a peg: the usual cautions, each deferring to those who decide.

A caution informs; it never declares a place safe. Where no source is named, the content is common practice
without a published source.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from clubdata.rules.oxygen import oxygen_at_saturation_mg_l
from clubdata.rules.season import (
    CLOSE_SEASON_SENTENCE,
    PARTLY_CLOSED_MONTHS,
    Season,
    check_water_kind,
    close_season_applies,
    close_season_touches,
    season_of,
)
from clubdata.rules.words import fold

# Each in the singular and as an officer would note it; common practice, no source. Any other wording may mean
# anything, a power line among it, so it keeps advice back until somebody has looked.
HAZARDS_THAT_ONLY_CAUTION: Final = frozenset(
    {
        *("steep bank", "slippery bank", "slippery platform", "uneven path"),
        *("deep margin", "deep water", "deep silt", "submerged snag"),
    }
)
BANK_HAZARDS: Final = frozenset({"steep bank", "deep margin", "deep water", "undercut bank", "slippery bank"})
POWER_LINE_WORDS: Final = ("power", "cable", "overhead", "pylon", "electric", "voltage")

WARM_WATER_C: Final = 20.0
_OXYGEN_AT_10: Final = oxygen_at_saturation_mg_l(10.0)
NEAR_FREEZING_C: Final = 2.0
STRONG_WIND_FORCE: Final = 6
GALE_FORCE: Final = 8
STRONG_TOW: Final = "strong"


@dataclass(frozen=True, slots=True)
class Caution:
    """A stable code and one or more plain sentences for the bank side."""

    code: str
    sentence: str


# 30 m: network operators' guidance to anglers. 105: the power-cut and network-emergency number in Great
# Britain, and 999, from memory and unverified.
_POWER_LINE: Final = Caution(
    "overhead_power_line",
    "An overhead power line crosses or runs near this peg: do not fish here, and do not put together, "
    "lift or carry a pole, rod or landing-net handle here. Electricity can jump to a pole without "
    "touching it. Tell the club's water officer or a bailiff, and the electricity network operator "
    "(in Great Britain call 105). If a line is down or has been touched, keep everyone away and call "
    "105, and 999 if anyone is in danger. Network operators ask anglers to keep at least 30 m away "
    "along the ground; no distance is a promise of safety. The fishery's signs and rules and the "
    "network operator's advice come first.",
)
# Thirty minutes after the last thunder: common public advice, from memory and unverified.
_LIGHTNING: Final = Caution(
    "lightning_and_carbon",
    "Carbon poles and rods conduct electricity. At the first thunder or lightning lay the pole down, "
    "leave the water's edge and take shelter away from trees; wait at least 30 minutes after the last "
    "thunder. Look up for power lines before you put a pole together or carry it. Follow the weather "
    "service's warnings and the instructions of the fishery or the match organiser.",
)
_STRONG_WIND: Final = Caution(
    "strong_wind",
    "In a strong wind a long pole is hard to hold and branches fall: fish shorter or with rod and "
    "line, peg down or put away umbrellas, and keep from under trees. The fishery or the match "
    "organiser may close a bank.",
)
_GALE: Final = Caution(
    "gale",
    "A gale is no weather for a bank side: branches and trees come down. Stay at home, or leave in "
    "good time. Follow the weather service's warnings and the fishery's instructions.",
)
# Common practice, no source.
_STRONG_TOW: Final = Caution(
    "strong_tow",
    "The water runs strongly: do not wade, keep back from the edge, wear a life jacket and do not fish "
    "alone. A river may rise while you fish: heed flood warnings, and the fishery's instructions.",
)
_WARM_WATER: Final = Caution(
    "warm_water",
    "Warm water holds little oxygen and fish tire and die sooner. Keep them out of the water, and in "
    "a keepnet, for as short a time as you can, or use no keepnet; return them at once if they gasp, "
    "and tell a bailiff of fish in distress. Many fisheries shorten matches or forbid keepnets in "
    "warm weather: the fishery's rules come first.",
)
_ICE: Final = Caution(
    "ice",
    "Never walk on ice, and do not go after tackle, dog or person on it: call 999 in the United "
    "Kingdom. Platforms and paths freeze too. The fishery decides whether a frozen water may be "
    "fished, and whether ice may be broken.",
)
_BANK: Final = Caution(
    "steep_or_deep",
    "The bank or the margin here is steep or deep. Wear a life jacket, sit back from the edge, keep a "
    "landing net within reach and do not fish here alone. Heed the fishery's signs; tell the water "
    "officer if the bank has moved.",
)
_CLOSE_SEASON: Final = Caution("close_season", CLOSE_SEASON_SENTENCE)
_CLOSE_SEASON_IN_PART: Final = Caution(
    "close_season_in_part", f"This water may be closed for part of this month. {CLOSE_SEASON_SENTENCE}"
)
_LOCAL_CLOSE_SEASON: Final = Caution(
    "local_close_season",
    "Some stillwaters and canals have a close season of their own, by local byelaw, by the owner or "
    "by the club. Local byelaws and the fishery's rules come first; check them before you go.",
)
# The Control of Pollution (Anglers' Lead Weights) Regulations 1986, SI 1986/1992.
_LEAD: Final = Caution(
    "lead_weights",
    "In England and Wales lead weights of more than 0.06 g and less than 28.35 g may not be used. "
    "Local byelaws and the fishery's rules may ask for more.",
)


def cautions_for(
    *,
    water_kind: str,
    on: date | None,
    month: int | None,
    water_temperature_c: float | None,
    wind_force: int | None,
    hazards: Sequence[str],
    longest_pole_m: float | None,
    tow: str = "",
) -> tuple[Caution, ...]:
    """The cautions for a session at a peg, the gravest first, each once.

    `hazards` are the kinds noted at the peg; `tow` is how the water moves, as `Tow` words it. With a date
    the month is the date's, and `month` (1 to 12) is read only without one. What is not known (None) raises
    no caution, save that a missing date and month count as any day of the year.
    """
    if on is not None:
        month = on.month
    return tuple(
        dict.fromkeys(
            (
                *_of_hazards(hazards),
                *_of_wind(wind_force),
                *((_STRONG_TOW,) if tow == STRONG_TOW else ()),
                *(() if longest_pole_m is None or longest_pole_m <= 0 else (_LIGHTNING,)),
                *_of_cold(month, water_temperature_c),
                *_of_warmth(water_temperature_c),
                *_of_close_season(water_kind, on, month),
                _LEAD,
            )
        )
    )


def forbids_advice(hazards: Sequence[str]) -> bool:
    """Whether a hazard noted at a peg means that no fishing advice is given for it.

    Every hazard does, save the few kinds of `HAZARDS_THAT_ONLY_CAUTION`.
    """
    return any(fold(hazard) not in HAZARDS_THAT_ONLY_CAUTION for hazard in hazards)


def means_power_line(hazard: str) -> bool:
    """Whether a kind of hazard speaks of electricity overhead, however it is worded.

    Rather one too many: an overhead branch counts too.
    """
    kind = fold(hazard)
    return any(word in kind for word in POWER_LINE_WORDS)


def _of_hazards(hazards: Sequence[str]) -> Iterator[Caution]:
    kinds = sorted({fold(hazard) for hazard in hazards} - {""})
    if any(means_power_line(kind) for kind in kinds):
        yield _POWER_LINE
    if BANK_HAZARDS.intersection(kinds):
        yield _BANK
    for kind in kinds:
        if kind not in BANK_HAZARDS and not means_power_line(kind):
            yield Caution(
                "noted_hazard",
                f"The club has noted a hazard at this peg: {kind}. Ask the water officer or a bailiff "
                "before you fish here; the fishery's signs and rules come first.",
            )


def _of_wind(force: int | None) -> Iterator[Caution]:
    if force is not None and force >= GALE_FORCE:
        yield _GALE
    elif force is not None and force >= STRONG_WIND_FORCE:
        yield _STRONG_WIND


def _of_cold(month: int | None, water_temperature_c: float | None) -> Iterator[Caution]:
    is_winter = month is None or season_of(month) is Season.WINTER
    if is_winter or (water_temperature_c is not None and water_temperature_c <= NEAR_FREEZING_C):
        yield _ICE


def _of_warmth(water_temperature_c: float | None) -> Iterator[Caution]:
    if water_temperature_c is not None and water_temperature_c >= WARM_WATER_C:
        oxygen_mg_l = oxygen_at_saturation_mg_l(min(water_temperature_c, 40.0))
        told = (
            f" Water of {water_temperature_c:g} °C holds at most {oxygen_mg_l:.1f} mg/l of oxygen; of 10 °C, "
        )
        yield replace(_WARM_WATER, sentence=f"{_WARM_WATER.sentence}{told}{_OXYGEN_AT_10:.1f}.")


def _of_close_season(water_kind: str, on: date | None, month: int | None) -> Iterator[Caution]:
    check_water_kind(water_kind)
    if water_kind != "river":
        yield _LOCAL_CLOSE_SEASON
    elif on is not None:
        if close_season_applies(water_kind, on):
            yield _CLOSE_SEASON
    elif month is None or close_season_touches(water_kind, month):
        yield _CLOSE_SEASON_IN_PART if month in PARTLY_CLOSED_MONTHS else _CLOSE_SEASON
