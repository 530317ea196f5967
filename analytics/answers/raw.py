"""Raw figures as a member may see them, from what a run observed (`analytics.observed.series`)."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

#: A row's places; the key comes first.
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class RawFigures:
    """What some returns say as they stand: counts, weight and effort of those that have both, and rates.

    `g_per_rod_hour` is all weight over all effort; `mean_of_ratios` lets every session count alike. Each
    with its standard error, None where there are fewer than two sessions. Everything is None where it is
    `withheld`: figures of fewer than five anglers, and what would give them away.
    """

    withheld: bool
    returns: int | None = None
    anglers: int | None = None
    blanks: int | None = None
    did_not_weigh: int | None = None
    at_least: int | None = None
    weight_g: float | None = None
    rod_hours: float | None = None
    g_per_rod_hour: float | None = None
    standard_error: float | None = None
    mean_of_ratios: float | None = None
    mean_of_ratios_se: float | None = None


WITHHELD = RawFigures(withheld=True)


@dataclass(frozen=True, slots=True)
class Effort:
    """What was fished in a month in one kind of session; None where it is withheld."""

    month: str
    session_kind: str
    withheld: bool
    returns: int | None = None
    anglers: int | None = None
    rod_hours: float | None = None


@dataclass(frozen=True, slots=True)
class Compliance:
    """Of a month's members on the books, how many handed in anything; `did_not_fish` of these said only
    that they did not fish. None where it is withheld."""

    month: str
    on_the_books: int
    withheld: bool
    handed_in: int | None = None
    did_not_fish: int | None = None
    share: float | None = None


@dataclass(frozen=True, slots=True)
class SpeciesCaught:
    """What catch lines say of a species in a year (None: all years); figures are None where withheld."""

    year: str | None
    code: str
    group: str
    withheld: bool
    returns: int | None = None
    anglers: int | None = None
    weight_g: float | None = None
    weight_share: float | None = None
    fish_count: int | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """How many of a year's returns that caught something name a species, and how many tell the whole; None
    where it is withheld."""

    year: str | None
    withheld: bool
    returns: int | None = None
    name_species: int | None = None
    tell_the_whole: int | None = None


def raw_figures(
    series: Mapping[str, Any], name: str, code: str, *, kind: str = "all", sees_all: bool
) -> dict[str, RawFigures]:
    """Figures by key of a series at the club or a water."""
    rows = series.get("rates", {}).get(kind, {}).get(name, {}).get(code, ())
    return {row["key"]: _figures(row, sees_all=sees_all) for row in _named(series.get("columns", ()), rows)}


def efforts(series: Mapping[str, Any], code: str, *, sees_all: bool) -> tuple[Effort, ...]:
    rows = _rows(series, "effort", code)
    names = ("returns", "anglers", "rod_hours")
    return tuple(
        Effort(row["month"], row["session_kind"], **_shown(row, names, sees_all=sees_all)) for row in rows
    )


def compliances(series: Mapping[str, Any], *, sees_all: bool) -> tuple[Compliance, ...]:
    found = series.get("compliance", {})
    rows = _named(found.get("columns", ()), found.get("rows", ()))
    return tuple(_compliance(row, sees_all=sees_all) for row in rows)


def species_caught(series: Mapping[str, Any], code: str, *, sees_all: bool) -> tuple[SpeciesCaught, ...]:
    """By year, the species of the most weight first within each, all years first."""
    rows = list(_rows(series, "species", code))
    totals: dict[str, float] = {}
    for row in rows:
        totals[row["year"]] = totals.get(row["year"], 0.0) + row["weight_g"]
    rows.sort(key=lambda row: (row["year"], -row["weight_g"]))
    return tuple(_species(row, totals[row["year"]], sees_all=sees_all) for row in rows)


def told(series: Mapping[str, Any], code: str, *, sees_all: bool) -> tuple[Told, ...]:
    found = series.get("species", {})
    rows = _named(found.get("told_columns", ()), found.get("told", {}).get(code, ()))
    names = ("returns", "name_species", "tell_the_whole")
    return tuple(Told(row["year"] or None, **_shown(row, names, sees_all=sees_all)) for row in rows)


def _rows(series: Mapping[str, Any], name: str, code: str) -> Iterator[Row]:
    found = series.get(name, {})
    return _named(found.get("columns", ()), found.get("rows", {}).get(code, ()))


def _named(columns: Any, rows: Any) -> Iterator[Row]:
    return (dict(zip(columns, row, strict=True)) for row in rows)


def _shown(row: Row, names: tuple[str, ...], *, sees_all: bool) -> dict[str, Any]:
    hidden = row["withheld"] and not sees_all
    return {"withheld": hidden, **{name: None if hidden else row[name] for name in names}}


def _figures(row: Row, *, sees_all: bool) -> RawFigures:
    if row["withheld"] and not sees_all:
        return WITHHELD
    counts = ("returns", "anglers", "blanks", "did_not_weigh", "at_least", "weight_g", "rod_hours")
    return RawFigures(
        withheld=False,
        **{name: row[name] for name in counts},
        g_per_rod_hour=row["ratio"],
        standard_error=row["ratio_se"],
        mean_of_ratios=row["mean_of_ratios"],
        mean_of_ratios_se=row["mean_of_ratios_se"],
    )


def _compliance(row: Row, *, sees_all: bool) -> Compliance:
    shown = _shown(row, ("handed_in", "did_not_fish"), sees_all=sees_all)
    handed_in, books = shown["handed_in"], row["on_the_books"]
    share = None if handed_in is None or not books else handed_in / books
    return Compliance(row["month"], books, share=share, **shown)


def _species(row: Row, total_g: float, *, sees_all: bool) -> SpeciesCaught:
    shown = _shown(row, ("returns", "anglers", "weight_g", "fish_count"), sees_all=sees_all)
    weight_g = shown["weight_g"]
    share = None if weight_g is None or not total_g else weight_g / total_g
    return SpeciesCaught(row["year"] or None, row["species"], row["group"], weight_share=share, **shown)
