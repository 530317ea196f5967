"""What pegs made as it stands, beside what a fit makes of it: from figures counted when the fit was stored.

Figures of fewer than five anglers are nobody's to read but the club's officers'. A part of the year, or a
year, is shown only where each such part of the peg's record has five: what is shown can then not be
taken from the whole to leave what is not.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.expected_ratio import ratio_bounds
from analytics.catchrate.predict import NORMAL_95
from analytics.catchrate.standing import NORMAL_75
from analytics.observed.columns import ALL_YEAR, PARTS
from clubdata.rules.season import Season

LEAST_ANGLERS = 5

Row = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class OverExpected:
    """Weight over what the fit expects of the same anglers, days and tackle at this peg."""

    ratio: float
    lower_90: float
    lower_50: float
    upper_50: float
    upper_90: float


@dataclass(frozen=True, slots=True)
class PegFigures:
    """A peg's figures by period and by year; `last_*` are ISO dates or None."""

    periods: Mapping[str, Row]
    years: Mapping[str, Row]
    last_drawn_on: str | None
    last_fished_on: str | None

    def shown(self, period: str) -> bool:
        """Whether the figures of the period, and of those beside it, are of enough anglers."""
        if period == ALL_YEAR:
            return _enough([self.periods[ALL_YEAR]] if ALL_YEAR in self.periods else [])
        beside = tuple(Season) if period in tuple(Season) else tuple(str(month) for month in range(1, 13))
        return _enough([self.periods[name] for name in beside if name in self.periods])

    def years_shown(self) -> bool:
        """The same of every year."""
        return _enough(list(self.years.values()))


def read_figures(observed: Mapping[str, Any], pegs: Sequence[str]) -> dict[str, PegFigures]:
    """By peg, of those asked for that have any; `observed` is as `analytics.observed.whole` counted it."""
    stored = observed.get("pegs") or {"columns": [], "pegs": {}}
    columns = stored["columns"]

    def rows(found: Mapping[str, Sequence[float]]) -> dict[str, Row]:
        return {name: dict(zip(columns, row, strict=True)) for name, row in found.items()}

    return {
        peg: PegFigures(
            rows(item["periods"]), rows(item["years"]), item["last_drawn_on"], item["last_fished_on"]
        )
        for peg, item in ((peg, stored["pegs"].get(peg)) for peg in pegs)
        if item is not None
    }


def open_pegs(figures: Mapping[str, PegFigures], period: str) -> frozenset[str]:
    """The pegs of a water whose figures of the period every member may read.

    A single one that is kept back would follow from the water's total, so the one of the fewest anglers
    beside it is kept back too.
    """
    held = [peg for peg, item in figures.items() if period in item.periods]
    found = {peg for peg in held if figures[peg].shown(period)}
    if period != ALL_YEAR:
        found &= open_pegs(figures, ALL_YEAR)
    if found and len(held) - len(found) == 1:
        found.remove(min(found, key=lambda peg: (figures[peg].periods[period]["anglers"], peg)))
    return frozenset(found)


def reference_rows(figures: Mapping[str, PegFigures], period: str, opened: frozenset[str]) -> dict[str, Row]:
    """What the water's raw rate is made of: of `opened`, the pegs whose figures the asker may read, so that
    no figure that is kept back can be worked out from it; all pegs where there is no such."""
    held = {peg: item.periods[period] for peg, item in figures.items() if period in item.periods}
    return {peg: row for peg, row in held.items() if peg in opened} or held


def over_expected(rows: Sequence[Row], power: float) -> list[OverExpected]:
    """One a row, with score intervals (`ratio_bounds`)."""
    if not rows:
        return []
    weight, fitted, variance = (_column(rows, name) for name in ("weight_g", "fitted_g", "variance_g2"))
    lower_90, upper_90 = ratio_bounds(weight, fitted, variance, power, NORMAL_95)
    lower_50, upper_50 = ratio_bounds(weight, fitted, variance, power, NORMAL_75)
    columns = (weight / fitted, lower_90, lower_50, upper_50, upper_90)
    return [OverExpected(*(float(value) for value in row)) for row in zip(*columns, strict=True)]


@dataclass(frozen=True, slots=True)
class WhyTheyDiffer:
    """`raw_ratio` = `multiplier` × the product of `parts` × `remainder`, exactly.

    `parts` are by `PARTS`, as mean effects against the water's, and two of weight over what was expected,
    against the water's: `held_back`, by the fit's own weighing of returns, which is what a fit leaves
    aside where there is little to go by; and `heavy_sessions`, what a raw mean adds by letting sessions
    that make much count for more. `pegs_fished` is the same for all pegs: one over the mean multiplier by
    rod-hours, below one where the water's rate stands above its typical peg's, better pegs being fished
    more. Were anglers, days and tackle everywhere alike, it would be all of the difference.
    """

    raw_ratio: float
    multiplier: float
    parts: Mapping[str, float]
    remainder: float


@dataclass(frozen=True, slots=True)
class WaterFigures:
    """What raw ratios are against: the sums of `reference_rows`, and their pegs' mean multiplier by
    rod-hours."""

    sums: Row
    multiplier: float

    @classmethod
    def of(cls, reference: Mapping[str, Row], log_multipliers: Mapping[str, float]) -> Self:
        """Of at least one row."""
        rows = list(reference.values())
        hours = _column(rows, "hours")
        multipliers = np.exp([log_multipliers[peg] for peg in reference])
        sums = {name: float(_column(rows, name).sum()) for name in rows[0]}
        return cls(sums, float(np.average(multipliers, weights=hours)))


def why_they_differ(row: Row, log_multiplier: float, water: WaterFigures) -> WhyTheyDiffer:
    """A peg's raw rate over the water's, taken apart.

    Effects are means over rod-hours. The remainder is what a product of means leaves of a mean of products.
    """
    whole = water.sums
    logs = {name: row[name] / row["hours"] - whole[name] / whole["hours"] for name in PARTS}
    expected = np.log(_over(row, whole, "fitted_g", "hours"))
    held_back = _over(row, whole, "believed", "information")
    own = _over(row, whole, "weight_g", "fitted_g")
    heavy = own / held_back if held_back > 0 else 1.0
    return WhyTheyDiffer(
        raw_ratio=_over(row, whole, "weight_g", "hours"),
        multiplier=float(np.exp(log_multiplier)),
        parts={
            **{name: float(np.exp(value)) for name, value in logs.items()},
            "held_back": held_back,
            "heavy_sessions": heavy,
            "pegs_fished": 1.0 / water.multiplier,
        },
        remainder=float(np.exp(expected - log_multiplier - sum(logs.values())) * water.multiplier),
    )


def _over(row: Row, whole: Row, above: str, below: str) -> float:
    """The peg's ratio of two sums over the water's; the peg's alone where the water's is nought."""
    of_water = whole[above] / whole[below]
    return (row[above] / row[below]) / of_water if of_water > 0 else row[above] / row[below]


def _column(rows: Sequence[Row], name: str) -> FloatArray:
    return np.array([row[name] for row in rows], dtype=np.float64)


def _enough(rows: Sequence[Row]) -> bool:
    return bool(rows) and all(row["anglers"] >= LEAST_ANGLERS for row in rows)
