"""The values of a trend: standardised and raw side by side, by what it goes by."""

from calendar import month_name
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analytics.answers.raw import RawFigures, raw_figures
from analytics.answers.scope import (
    bait_month_cells,
    distance_cells,
    keys_of,
    month_cells,
    temperature_cells,
    year_cells,
    year_month_cells,
)
from analytics.answers.standard import Cell, Index, Interval, Scope, index_of
from analytics.catchrate.estimates import Estimates

#: Widths of the bins of `analytics.observed.sessions`, which the web process does not load.
DISTANCE_BIN_M = 2
TEMPERATURE_BIN_C = 2

#: What a trend may go by, and the raw series beside it.
RAW_SERIES = {
    "month": "month",
    "year": "year",
    "year-month": "year_month",
    "bait-month": "bait_month",
    "distance-season": "distance_season",
    "temperature": "temperature",
}


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """A value of a trend. Of a bin its lower edge is given: `distance_m`, `water_temperature_c`.

    `standardised` is None where the fit has no such term or level, `raw` where nobody fished, and
    `raw_matches` for who may not see it too. All are grams a rod-hour.
    """

    key: str
    label: str
    year: str | None
    month: int | None
    season: str | None
    hook_bait: str | None
    distance_m: int | None
    water_temperature_c: int | None
    standardised: Interval | None
    raw: RawFigures | None
    raw_matches: RawFigures | None


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """What a trend is drawn from: the fit, what was observed, and where."""

    estimates: Estimates
    observed: Mapping[str, Any]
    scope: Scope
    baits: Mapping[str, str]
    sees_all: bool


def points_of(series: Series, *, by: str, year: str | None) -> tuple[tuple[TrendPoint, ...], Index]:
    """The points of a trend in order, and the index that the standardised ones are of."""
    cells = _cells(series, by, year)
    index = index_of(series.estimates, series.scope, cells)
    raw = _raw(series, by, year, kind="all")
    matches = _raw(series, by, year, kind="match") if series.sees_all else {}
    keys = [cell.key for cell in cells]
    keys += [key for key in raw if key not in set(keys)]
    order = _order(by, series.baits)
    found = [
        TrendPoint(
            key=key,
            **_parts(by, key, series.baits, year),
            standardised=index.at(key),
            raw=raw.get(key),
            raw_matches=matches.get(key),
        )
        for key in sorted(keys, key=order)
        if not (by == "year-month" and year is not None and not key.startswith(year))
    ]
    return tuple(found), index


def _cells(series: Series, by: str, year: str | None) -> Sequence[Cell]:
    estimates, scope = series.estimates, series.scope
    keys = keys_of(series.observed, RAW_SERIES[by], scope.code)
    match by:
        case "month":
            return month_cells(scope, year)
        case "year":
            return year_cells(estimates, scope, keys)
        case "year-month":
            wanted = [key for key in keys if year is None or key.startswith(year)]
            return year_month_cells(estimates, scope, wanted)
        case "bait-month":
            return bait_month_cells(estimates, scope, keys, year)
        case "distance-season":
            return distance_cells(estimates, scope, keys, year, DISTANCE_BIN_M)
        case _:
            return temperature_cells(estimates, scope, keys, year, TEMPERATURE_BIN_C)


def _raw(series: Series, by: str, year: str | None, *, kind: str) -> dict[str, RawFigures]:
    """Of one year's months those of that year; whatever else is of all years."""
    code, sees_all = series.scope.code, series.sees_all
    if by == "month" and year is not None:
        found = raw_figures(series.observed, "year_month", code, kind=kind, sees_all=sees_all)
        return {key[5:]: figures for key, figures in found.items() if key.startswith(year)}
    return raw_figures(series.observed, RAW_SERIES[by], code, kind=kind, sees_all=sees_all)


def _order(by: str, baits: Mapping[str, str]) -> Callable[[str], Any]:
    match by:
        case "bait-month":
            return lambda key: (baits.get(key[:32], ""), key)
        case "distance-season":
            seasons = ("winter", "spring", "summer", "autumn")
            return lambda key: (seasons.index(key.partition("/")[2]), int(key.partition("/")[0]))
        case "temperature":
            return int
        case _:
            return str


def _parts(by: str, key: str, baits: Mapping[str, str], year: str | None) -> dict[str, Any]:
    """What a key stands for, and a label for people."""
    parts: dict[str, Any] = dict.fromkeys(
        ("year", "month", "season", "hook_bait", "distance_m", "water_temperature_c")
    )
    match by:
        case "month":
            return parts | {"label": month_name[int(key)], "month": int(key), "year": year}
        case "year":
            return parts | {"label": key, "year": key}
        case "year-month":
            name = f"{month_name[int(key[5:])]} {key[:4]}"
            return parts | {"label": name, "year": key[:4], "month": int(key[5:])}
        case "bait-month":
            code, _, month = key.partition("/")
            bait = baits.get(code, "")
            return parts | {
                "label": f"{bait}, {month_name[int(month)]}",
                "hook_bait": bait,
                "month": int(month),
            }
        case "distance-season":
            edge, _, season = key.partition("/")
            label = f"{edge} to {int(edge) + DISTANCE_BIN_M} m, {season}"
            return parts | {"label": label, "distance_m": int(edge), "season": season}
        case _:
            label = f"{key} to {int(key) + TEMPERATURE_BIN_C} °C"
            return parts | {"label": label, "water_temperature_c": int(key)}
