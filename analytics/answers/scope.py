"""What a trend is of: the whole club or one water, and the cells in which it is standardised."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analytics.answers.standard import Cell, levels_of, years_of
from analytics.catchrate.estimates import Estimates

CLUB = ""
#: The months of each season, as the raw series count them.
SEASON_MONTHS = {"winter": (12, 1, 2), "spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11)}


@dataclass(frozen=True, slots=True)
class Scope:
    """The waters of a trend with their weights, which add up to one; `code` is one water's, or the club's."""

    code: str
    waters: Mapping[str, float]


def scope_of(estimates: Estimates, series: Mapping[str, Any], code: str) -> Scope | None:
    """The scope; of the club every water that the fit knows, by the number of its pegs that were fished.

    None where the fit knows no such water.
    """
    pegs = {water: count for water, count in series.get("pegs", {}).items() if _is_known(estimates, water)}
    if code != CLUB:
        return Scope(code, {code: 1.0}) if code in pegs else None
    total = sum(pegs.values())
    return Scope(CLUB, {water: count / total for water, count in sorted(pegs.items())}) if total else None


def _is_known(estimates: Estimates, water: str) -> bool:
    """A fit of one water has no term of waters."""
    levels = levels_of(estimates, "water")
    return not levels or water in levels


def keys_of(series: Mapping[str, Any], name: str, code: str, kind: str = "all") -> tuple[str, ...]:
    """The keys of a raw series that occur at the club or a water."""
    return tuple(row[0] for row in series.get("rates", {}).get(kind, {}).get(name, {}).get(code, ()))


def month_cells(scope: Scope, year: str | None) -> list[Cell]:
    return [Cell(f"{month:02d}", scope.waters, (month,), year) for month in range(1, 13)]


def year_cells(estimates: Estimates, scope: Scope, keys: Sequence[str]) -> list[Cell]:
    known = years_of(estimates)
    return [Cell(key, scope.waters, year=key) for key in keys if key in known]


def year_month_cells(estimates: Estimates, scope: Scope, keys: Sequence[str]) -> list[Cell]:
    known = years_of(estimates)
    pairs = [(key, *key.split("-")) for key in keys]
    return [Cell(key, scope.waters, (int(month),), year) for key, year, month in pairs if year in known]


def bait_month_cells(estimates: Estimates, scope: Scope, keys: Sequence[str], year: str | None) -> list[Cell]:
    """Every month of each bait that was used there and that the fit knows."""
    used = {key.partition("/")[0] for key in keys}
    return [
        Cell(f"{bait}/{month:02d}", scope.waters, (month,), year, hook_bait=bait)
        for bait in levels_of(estimates, "hook_bait")
        if bait in used
        for month in range(1, 13)
    ]


def distance_cells(
    estimates: Estimates, scope: Scope, keys: Sequence[str], year: str | None, width_m: float
) -> list[Cell]:
    """The middle of every distance bin that occurs, in each season."""
    if estimates.term("distance") is None:
        return []
    edges = sorted({int(key.partition("/")[0]) for key in keys})
    return [
        Cell(f"{edge}/{season}", scope.waters, months, year, distance_m=edge + width_m / 2.0)
        for season, months in SEASON_MONTHS.items()
        for edge in edges
    ]


def temperature_cells(
    estimates: Estimates, scope: Scope, keys: Sequence[str], year: str | None, width_c: float
) -> list[Cell]:
    """The middle of every temperature bin that occurs, the season's own effect averaged over the year."""
    if estimates.term("water_temperature") is None:
        return []
    edges = sorted({int(key) for key in keys})
    return [
        Cell(str(edge), scope.waters, year=year, water_temperature_c=edge + width_c / 2.0) for edge in edges
    ]
