"""Trends as tables."""

from collections.abc import Iterable
from typing import Any

from analytics.answers.raw import RawFigures
from analytics.answers.standard import Interval
from analytics.answers.trends import Trends
from analytics.answers.water_trends import WaterTrends
from api.forms.sheets import Column, Kind, Sheet, sheet_of

_RATE = "g/h"
_INTERVAL = ("estimate", "lower_90", "lower_50", "upper_50", "upper_90")
_STANDARDISED = (
    Column("standardised", "Standardised", _RATE, "On the stated reference, a rod-hour.", Kind.NUMBER),
    Column("lower_90", "Lower end, 90 %", _RATE, kind=Kind.NUMBER),
    Column("lower_50", "Lower end, 50 %", _RATE, kind=Kind.NUMBER),
    Column("upper_50", "Upper end, 50 %", _RATE, kind=Kind.NUMBER),
    Column("upper_90", "Upper end, 90 %", _RATE, kind=Kind.NUMBER),
)
_RAW = (
    Column(
        "raw",
        "Raw",
        _RATE,
        "All weight over all effort, where the weight is known; empty where withheld.",
        Kind.NUMBER,
    ),
    Column("raw_se", "Its standard error", _RATE, kind=Kind.NUMBER),
    Column("mean_of_ratios", "Mean of ratios", _RATE, "Every session counts alike.", Kind.NUMBER),
    Column("mean_of_ratios_se", "Its standard error", _RATE, kind=Kind.NUMBER),
    Column("returns", "Returns", "returns", kind=Kind.WHOLE),
    Column("anglers", "Anglers", "anglers", kind=Kind.WHOLE),
    Column("blanks", "Blanks", "returns", kind=Kind.WHOLE),
    Column("did_not_weigh", "Did not weigh", "returns", kind=Kind.WHOLE),
    Column("at_least", "At least", "returns", "Known only to weigh at least so much.", Kind.WHOLE),
    Column("weight_g", "Weight", "g", kind=Kind.NUMBER),
    Column("rod_hours", "Rod-hours", "h", kind=Kind.NUMBER),
    Column("withheld", "Withheld", description="Of fewer than five anglers.", kind=Kind.FLAG),
)
_WHERE = (
    Column("key", "Key", kind=Kind.TEXT),
    Column("label", "What", kind=Kind.TEXT),
    Column("year", "Year", kind=Kind.TEXT),
    Column("month", "Month", description="1 is January.", kind=Kind.WHOLE),
    Column("season", "Season", kind=Kind.TEXT),
    Column("hook_bait", "Hook bait", kind=Kind.TEXT),
    Column("distance_m", "Distance", "m", "The lower edge of a bin of 2 m.", Kind.WHOLE),
    Column("water_temperature_c", "Water temperature", "°C", "The lower edge of a bin of 2 °C.", Kind.WHOLE),
)
_POINT = (
    *_WHERE,
    *_STANDARDISED,
    *_RAW,
    Column("match_raw", "Raw in matches", _RATE, kind=Kind.NUMBER),
    Column("match_returns", "Returns in matches", "returns", kind=Kind.WHOLE),
)
_COMPARISON = (
    Column("year", "Year", kind=Kind.TEXT),
    Column("before", "Over", kind=Kind.TEXT),
    Column("code", "By", description="'answer' is the fit that answers.", kind=Kind.TEXT),
    Column("estimate", "Ratio", kind=Kind.NUMBER),
    *(Column(name, name.replace("_", " ").capitalize(), kind=Kind.NUMBER) for name in _INTERVAL[1:]),
    Column("chance_up", "Chance of a rise", kind=Kind.NUMBER),
    Column("rows_used", "Returns", "returns", kind=Kind.WHOLE),
    Column("reading", "In words", kind=Kind.TEXT),
)
_SPECIES = (
    Column("year", "Year", description="Empty: all years.", kind=Kind.TEXT),
    Column("name", "Species", kind=Kind.TEXT),
    Column("group", "Group", kind=Kind.TEXT),
    Column("weight_g", "Weight", "g", "Of the lines that were weighed.", Kind.NUMBER),
    Column("weight_share", "Share of the weight", kind=Kind.NUMBER),
    Column("fish_count", "Fish", "fish", "Of the lines that were counted.", Kind.WHOLE),
    Column("returns", "Returns", "returns", kind=Kind.WHOLE),
    Column("anglers", "Anglers", "anglers", kind=Kind.WHOLE),
    Column("withheld", "Withheld", kind=Kind.FLAG),
)
_TOLD = (
    Column("year", "Year", description="Empty: all years.", kind=Kind.TEXT),
    Column("returns", "Returns that caught", "returns", kind=Kind.WHOLE),
    Column("name_species", "Name a species", "returns", kind=Kind.WHOLE),
    Column("tell_the_whole", "Tell the whole weight", "returns", kind=Kind.WHOLE),
    Column("withheld", "Withheld", kind=Kind.FLAG),
)
_EFFORT = (
    Column("month", "Month", kind=Kind.TEXT),
    Column("session_kind", "Kind of session", kind=Kind.TEXT),
    Column("rod_hours", "Rod-hours", "h", kind=Kind.NUMBER),
    Column("returns", "Returns", "returns", kind=Kind.WHOLE),
    Column("anglers", "Anglers", "anglers", kind=Kind.WHOLE),
    Column("withheld", "Withheld", kind=Kind.FLAG),
)
_COMPLIANCE = (
    Column("month", "Month", kind=Kind.TEXT),
    Column("on_the_books", "On the books", "members", kind=Kind.WHOLE),
    Column("handed_in", "Handed something in", "members", kind=Kind.WHOLE),
    Column("did_not_fish", "Said only that they did not fish", "members", kind=Kind.WHOLE),
    Column("share", "Share that handed in", kind=Kind.NUMBER),
    Column("withheld", "Withheld", kind=Kind.FLAG),
)
_EVENT = (
    Column("water", "Water", kind=Kind.TEXT),
    Column("kind", "What", kind=Kind.TEXT),
    Column("started_on", "From", kind=Kind.DAY),
    Column("ended_on", "To", kind=Kind.DAY),
    Column("note", "Note", kind=Kind.TEXT),
)
_WATER = (Column("name", "Water", kind=Kind.TEXT), *_STANDARDISED, *_RAW)
_PAIR = (
    Column("water", "Water", kind=Kind.TEXT),
    Column("other", "Over", kind=Kind.TEXT),
    Column("estimate", "Ratio", kind=Kind.NUMBER),
    *(Column(name, name.replace("_", " ").capitalize(), kind=Kind.NUMBER) for name in _INTERVAL[1:]),
    Column("chance_higher", "Chance that it is the higher", kind=Kind.NUMBER),
    Column("reading", "In words", kind=Kind.TEXT),
)


def trend_sheets(answer: Trends) -> tuple[Sheet, ...]:
    """The tables of what the trend goes by, and what happened meanwhile."""
    events = sheet_of("events", _EVENT, answer.events)
    match answer.by:
        case "species":
            species = [_fields(item.caught, _SPECIES) | {"name": item.name} for item in answer.species]
            return (sheet_of("species", _SPECIES, species), sheet_of("told", _TOLD, answer.told), events)
        case "effort":
            effort = sheet_of("effort", _EFFORT, answer.effort)
            return (effort, sheet_of("compliance", _COMPLIANCE, answer.compliance), events)
        case "year":
            compared = sheet_of("comparisons", _COMPARISON, _comparison_rows(answer))
            return (_points(answer), compared, events)
        case _:
            return (_points(answer), events)


def water_sheets(answer: WaterTrends) -> tuple[Sheet, ...]:
    """The waters, and each against each."""
    waters = [
        {"name": item.name, **_standardised(item.standardised), **_raw(item.raw)} for item in answer.waters
    ]
    pairs = [{**_ends(item.ratio), **_fields(item, (*_PAIR[:2], *_PAIR[-2:]))} for item in answer.pairs]
    return (sheet_of("waters", _WATER, waters), sheet_of("pairs", _PAIR, pairs))


def _points(answer: Trends) -> Sheet:
    rows = [
        {
            **_fields(point, _WHERE),
            **_standardised(point.standardised),
            **_raw(point.raw),
            "match_raw": None if point.raw_matches is None else point.raw_matches.g_per_rod_hour,
            "match_returns": None if point.raw_matches is None else point.raw_matches.returns,
        }
        for point in answer.points
    ]
    return sheet_of("points", _POINT, rows)


def _comparison_rows(answer: Trends) -> Iterable[dict[str, Any]]:
    for item in answer.comparisons:
        years = {"year": item.year, "before": item.before}
        yield {
            **years,
            "code": "answer",
            **_ends(item.ratio),
            "chance_up": item.chance_up,
            "rows_used": None if answer.fit is None else answer.fit.rows_used,
            "reading": item.reading,
        }
        for other in item.sensitivity:
            yield {
                **years,
                "code": other.code,
                **_ends(other.ratio),
                "chance_up": other.chance_up,
                "rows_used": other.rows_used,
                "reading": other.reason or f"{other.label}: {other.reading}",
            }


def _ends(interval: Interval | None) -> dict[str, float | None]:
    return {name: None if interval is None else getattr(interval, name) for name in _INTERVAL}


def _standardised(interval: Interval | None) -> dict[str, float | None]:
    ends = _ends(interval)
    return {"standardised": ends.pop("estimate"), **ends}


def _raw(figures: RawFigures | None) -> dict[str, Any]:
    shown = figures or RawFigures(withheld=False)
    names = [column.name for column in _RAW if column.name not in {"raw", "raw_se"}]
    rates = {"raw": shown.g_per_rod_hour, "raw_se": shown.standard_error}
    return rates | {name: getattr(shown, name) for name in names}


def _fields(item: Any, columns: Iterable[Column]) -> dict[str, Any]:
    return {column.name: getattr(item, column.name) for column in columns if hasattr(item, column.name)}
