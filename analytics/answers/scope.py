"""What a trend is of: the whole club or one water, and the cells in which it is standardised."""

from collections.abc import Mapping, Sequence
from typing import Any

from analytics.answers.standard import Cell, Scope, levels_of, years_of
from analytics.catchrate.estimates import Estimates

CLUB = ""
#: The months of each season, as the raw series count them.
SEASON_MONTHS = {"winter": (12, 1, 2), "spring": (3, 4, 5), "summer": (6, 7, 8), "autumn": (9, 10, 11)}


def scope_of(estimates: Estimates, series: Mapping[str, Any], code: str) -> Scope | None:
    """The scope; of the club every water that the fit knows, by the number of its pegs that were fished.

    None where the fit knows no such water.
    """
    pegs = {
        water: tuple(fished)
        for water, fished in sorted(series.get("pegs", {}).items())
        if _is_known(estimates, water) and code in {CLUB, water}
    }
    total = sum(len(fished) for fished in pegs.values())
    if not total:
        return None
    known = levels_of(estimates, "peg")
    return Scope(
        code,
        {water: len(fished) / total for water, fished in pegs.items()},
        {water: tuple(peg for peg in fished if peg in known) for water, fished in pegs.items()},
        _shares_of_baits(estimates, series),
    )


def _shares_of_baits(estimates: Estimates, series: Mapping[str, Any]) -> dict[str, float]:
    """The share of each bait that the fit knows in the club's returns that name one."""
    counts = dict.fromkeys(levels_of(estimates, "hook_bait"), 0)
    for key, returns, *_ in series.get("rates", {}).get("all", {}).get("bait_month", {}).get(CLUB, ()):
        bait = key.partition("/")[0]
        if bait in counts:
            counts[bait] += returns
    total = sum(counts.values())
    return {bait: count / total for bait, count in counts.items() if count} if total else {}


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
