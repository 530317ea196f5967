"""Trends as charts: a band over time or temperature, a map of baits, curves of distance, bars."""

from calendar import month_abbr
from collections.abc import Sequence
from datetime import date

from analytics.answers.raw import RawFigures
from analytics.answers.standard import Interval
from analytics.answers.trends import TrendEvent, Trends
from analytics.answers.trends_points import DISTANCE_BIN_M, TEMPERATURE_BIN_C, TrendPoint
from analytics.answers.water_trends import WaterTrends
from api.forms.charts.bars import Bar, Bars
from api.forms.charts.base import Axis, BandLine, BandPoint, Chart, Mark, RawPoint, Spread, Tick
from api.forms.charts.curves import Curves
from api.forms.charts.heat_map import Cell, HeatMap
from api.forms.charts.season_band import SeasonBand

#: With fewer returns than this a shade leans on its neighbours more than on itself.
FEW_RETURNS = 5
_RATE = Axis("Catch rate", "g/h")
_MONTHS = tuple(month_abbr[1:])
_CAUTION = "A catch rate is not stock size."
_TITLES = {
    "month": "Catch rate by month",
    "year": "Catch rate by year",
    "year-month": "Catch rate by year and month",
    "bait-month": "Hook bait through the season",
    "distance-season": "Distance through the season",
    "temperature": "Catch rate by water temperature",
    "species": "What was caught",
    "effort": "Effort",
}


def trend_chart(answer: Trends) -> Chart | None:
    """The chart of what the trend goes by; None where there is nothing to draw."""
    match answer.by:
        case "bait-month":
            return _baits(answer)
        case "distance-season":
            return _distances(answer)
        case "species":
            return _species(answer)
        case "effort":
            return _effort(answer)
        case _:
            return _band(answer)


def water_chart(answer: WaterTrends) -> Chart | None:
    """The waters' standardised catch rates; None where there are none."""
    bars = [
        Bar(
            item.name,
            item.standardised.estimate,
            _of(item.raw),
            _spread(item.standardised),
            None if item.raw is None else item.raw.g_per_rod_hour,
        )
        for item in answer.waters
        if item.standardised is not None
    ]
    if not bars or answer.fit is None or answer.reference is None:
        return None
    return Bars(
        title=_title("Waters against one another", answer.target),
        subtitle=answer.reference.sentence,
        caption=f"Bars are standardised, with 50 % and 90 % intervals. {_CAUTION}",
        returns=answer.fit.rows_used,
        value=_RATE,
        bars=tuple(bars),
    )


def _band(answer: Trends) -> SeasonBand | None:
    points = [point for point in answer.points if point.standardised is not None]
    if not points or answer.reference is None:
        return None
    return SeasonBand(
        title=_heading(answer),
        subtitle=answer.reference.sentence,
        caption=f"The line is standardised, with 50 % and 90 % bands. {_CAUTION}",
        returns=_total(answer.points),
        x=_axis(answer),
        y=_RATE,
        lines=(BandLine("standardised", tuple(_band_point(answer.by, point) for point in points)),),
        raw=tuple(
            RawPoint(_place(answer.by, point), point.raw.g_per_rod_hour, _of(point.raw) or 0)
            for point in answer.points
            if point.raw is not None and point.raw.g_per_rod_hour is not None
        ),
        marks=_marks(answer),
        ticks=_ticks(answer),
    )


def _baits(answer: Trends) -> HeatMap | None:
    points = [point for point in answer.points if point.standardised is not None]
    if not points or answer.reference is None:
        return None
    baits = list(dict.fromkeys(point.hook_bait or "" for point in points))
    return HeatMap(
        title=_heading(answer),
        subtitle=answer.reference.sentence,
        caption=f"Hatched: fewer than {FEW_RETURNS} returns, or withheld. {_CAUTION}",
        returns=_total(answer.points),
        x=Axis("Month"),
        y=Axis("Hook bait"),
        value=_RATE,
        columns=_MONTHS,
        rows=tuple(baits),
        cells=tuple(
            Cell(
                row=baits.index(point.hook_bait or ""),
                column=(point.month or 1) - 1,
                value=point.standardised.estimate,
                returns=_of(point.raw) or 0,
                too_few=(_of(point.raw) or 0) < FEW_RETURNS,
            )
            for point in points
            if point.standardised is not None
        ),
    )


def _distances(answer: Trends) -> Curves | None:
    seasons = list(dict.fromkeys(point.season or "" for point in answer.points if point.standardised))
    if not seasons or answer.reference is None:
        return None
    lines = tuple(
        BandLine(
            season,
            tuple(
                BandPoint(
                    (point.distance_m or 0) + DISTANCE_BIN_M / 2, _spread(point.standardised), _of(point.raw)
                )
                for point in answer.points
                if point.season == season and point.standardised is not None
            ),
        )
        for season in seasons
    )
    return Curves(
        title=_heading(answer),
        subtitle=answer.reference.sentence,
        caption=f"Raw means are in the tables. {_CAUTION}",
        returns=_total(answer.points),
        x=Axis("Distance", "m"),
        y=_RATE,
        lines=lines,
    )


def _species(answer: Trends) -> Bars | None:
    shown = [item for item in answer.species if item.caught.year == answer.year and item.caught.weight_g]
    told = next((item.name_species for item in answer.told if item.year == answer.year), None)
    if not shown:
        return None
    when = "all years" if answer.year is None else answer.year
    return Bars(
        title=_heading(answer),
        subtitle=f"Weight that the catch lists of {when} name.",
        caption="Only returns with a catch list count here.",
        returns=told or 0,
        value=Axis("Weight", "kg"),
        bars=tuple(
            Bar(item.name, (item.caught.weight_g or 0.0) / 1000.0, item.caught.returns) for item in shown
        ),
    )


def _effort(answer: Trends) -> Bars | None:
    sums: dict[str, list[float]] = {}
    for item in answer.effort:
        if item.rod_hours is not None and item.returns is not None:
            found = sums.setdefault(f"{item.month[:4]} {item.session_kind}", [0.0, 0.0])
            found[0] += item.rod_hours
            found[1] += item.returns
    if not sums:
        return None
    return Bars(
        title=_heading(answer),
        subtitle="Rod-hours that returns tell of, by year and kind of session.",
        caption=_left_out(answer),
        returns=round(sum(count for _, count in sums.values())),
        value=Axis("Effort", "rod-hours"),
        bars=tuple(Bar(label, hours, round(count)) for label, (hours, count) in sums.items()),
    )


def _left_out(answer: Trends) -> str:
    hidden = sum(item.withheld for item in answer.effort)
    if not hidden:
        return "Nothing is left out."
    return f"Left out: {hidden} sums of a month and kind that fewer than five anglers would show through."


def _heading(answer: Trends) -> str:
    place = "" if answer.water is None else f" at {answer.water}"
    return _title(f"{_TITLES[answer.by]}{place}", answer.target)


def _title(title: str, target: str) -> str:
    return f"{title}: {target}" if target else title


def _axis(answer: Trends) -> Axis:
    match answer.by:
        case "temperature":
            return Axis("Water temperature", "°C")
        case "month":
            return Axis("Month")
        case "year-month" if answer.year is not None:
            return Axis(f"Month of {answer.year}")
        case _:
            return Axis("Year")


def _place(by: str, point: TrendPoint) -> float:
    """Where a point lies along the axis: months in their middle, years on their mark."""
    match by:
        case "month":
            return float(point.month or 0)
        case "year":
            return float(point.year or 0)
        case "year-month":
            return int(point.year or 0) + ((point.month or 1) - 0.5) / 12.0
        case _:
            return (point.water_temperature_c or 0) + TEMPERATURE_BIN_C / 2


def _ticks(answer: Trends) -> tuple[Tick, ...]:
    match answer.by:
        case "month":
            return tuple(Tick(float(month), name) for month, name in enumerate(_MONTHS, start=1))
        case "year":
            return tuple(Tick(float(point.year or 0), point.label) for point in answer.points)
        case "year-month":
            if answer.year is not None:
                return tuple(
                    Tick(_place(answer.by, point), _MONTHS[(point.month or 1) - 1]) for point in answer.points
                )
            years = sorted({point.year or "" for point in answer.points})
            return tuple(Tick(float(year), year) for year in years)
        case _:
            return ()


def _marks(answer: Trends) -> tuple[Mark, ...]:
    """What happened within the span of the points."""
    if answer.by not in {"year", "year-month"}:
        return ()
    years = [int(point.year or 0) for point in answer.points]
    return tuple(
        Mark(_moment(answer.by, event.started_on), _told(event, several=answer.water is None))
        for event in answer.events
        if min(years) <= event.started_on.year <= max(years)
    )


def _moment(by: str, day: date) -> float:
    """A year's point stands for the whole of it, so its middle lies on the mark."""
    along = day.year + (day.timetuple().tm_yday - 1) / 366.0
    return along - 0.5 if by == "year" else along


def _told(event: TrendEvent, *, several: bool) -> str:
    what = f"{event.kind.replace('_', ' ')}, {event.started_on:%B %Y}"
    return f"{event.water}: {what}" if several else what


def _band_point(by: str, point: TrendPoint) -> BandPoint:
    assert point.standardised is not None  # noqa: S101 - only such points are drawn
    return BandPoint(_place(by, point), _spread(point.standardised), _of(point.raw))


def _spread(interval: Interval) -> Spread:
    return Spread(
        interval.estimate, interval.lower_50, interval.upper_50, interval.lower_90, interval.upper_90
    )


def _of(raw: RawFigures | None) -> int | None:
    """Returns behind a rate; those that did not weigh are in none."""
    if raw is None or raw.returns is None:
        return None
    return raw.returns - (raw.did_not_weigh or 0)


def _total(points: Sequence[TrendPoint]) -> int:
    """Returns that are shown; those withheld are counted in none."""
    return sum(_of(point.raw) or 0 for point in points)
