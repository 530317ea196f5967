"""Whether a peg makes more or less of what is expected of it than it used to, in a plain word."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.answers.peg_figures import OverExpected, Row, over_expected
from analytics.catchrate.standing import chance_above

LEAST_IN_YEAR = 3
LEAST_YEARS = 3
SURE = 0.95

RISING, FALLING, NO_CLEAR_CHANGE, TOO_FEW = "rising", "falling", "no clear change", "too few years to say"

TREND_RULE = (
    "Each year's weight over what the fit expects of the same anglers, days and tackle at this peg. A "
    "weighted straight line through the years with at least 3 returns says 'rising' or 'falling' where the "
    "chance of it is at least .95; else 'no clear change'; with fewer than 3 such years 'too few years to "
    "say'. Of pegs that do not change about one in ten gets a word by chance."
)


@dataclass(frozen=True, slots=True)
class PegYear:
    """A year of a peg."""

    year: int
    returns: int
    over_expected: OverExpected


@dataclass(frozen=True, slots=True)
class PegTrend:
    """The word, by `TREND_RULE`; the change of the ratio a year and the chance that it rises, None where the
    years are too few."""

    word: str
    change_per_year: float | None
    chance_rising: float | None
    years: tuple[PegYear, ...]


def trends(years: Mapping[str, Mapping[str, Row]], power: float) -> dict[str, PegTrend]:
    """By peg, from its rows by year."""
    cells = [(peg, year, row) for peg, rows in years.items() for year, row in sorted(rows.items())]
    ratios = over_expected([row for _, _, row in cells], power)
    found: dict[str, list[PegYear]] = {peg: [] for peg in years}
    for (peg, year, row), ratio in zip(cells, ratios, strict=True):
        found[peg].append(PegYear(int(year), int(row["returns"]), ratio))
    return {peg: _trend(of_peg, list(years[peg].values())) for peg, of_peg in found.items()}


def _trend(years: Sequence[PegYear], rows: Sequence[Row]) -> PegTrend:
    told = [row for row in rows if row["returns"] >= LEAST_IN_YEAR]
    if len(told) < LEAST_YEARS:
        return PegTrend(TOO_FEW, None, None, tuple(years))
    slope, error = _slope([item.year for item in years if item.returns >= LEAST_IN_YEAR], told)
    chance = chance_above(slope, error)
    word = RISING if chance >= SURE else FALLING if chance <= 1.0 - SURE else NO_CLEAR_CHANGE
    return PegTrend(word, slope, chance, tuple(years))


def _slope(years: Sequence[int], rows: Sequence[Row]) -> tuple[float, float]:
    """The weighted line's change a year and its standard error; a ratio's variance is V / E^2."""
    expected = np.array([row["fitted_g"] for row in rows])
    ratio = np.array([row["weight_g"] for row in rows]) / expected
    weight = expected**2 / np.array([row["variance_g2"] for row in rows])
    at = np.array(years, dtype=np.float64)
    away = at - np.average(at, weights=weight)
    information = float(np.sum(weight * away**2))
    return float(np.sum(weight * away * ratio) / information), information**-0.5
