"""Charts of a fit's page: coverage and means of unseen returns, where they lie in their forecasts, blanks."""

from calendar import month_abbr
from collections.abc import Mapping
from typing import Any

from analytics.answers.fit_report import FitReport
from api.forms.charts.bars import Bar, Bars
from api.forms.charts.base import Axis, BandLine, BandPoint, Chart, RawPoint, Spread, Tick
from api.forms.charts.calibration import Calibration, Coverage, MeanPair
from api.forms.charts.season_band import SeasonBand

#: Standard normal quantiles that leave a quarter, and a twentieth, on either side.
_NORMAL_75, _NORMAL_95 = 0.6744897501960817, 1.6448536269514722


def fit_charts(report: FitReport) -> tuple[Chart, ...]:
    """Those of them that the run has figures for."""
    held = report.validation
    charts = [] if held is None else [_calibration(held), _tenths(held)]
    if report.blanks_by_month:
        charts.append(_blanks(report))
    return tuple(charts)


def _calibration(held: Mapping[str, Any]) -> Chart:
    found = held["calibration"]
    means = [item for item in found["classes"] if item["expected_g"] is not None]
    return Calibration(
        title="Forecasts of unseen returns",
        subtitle="Of days that the model had not seen",
        caption=(
            "First: the share of weights inside each interval, beside the share it should hold. "
            "Second: mean weights of returns with forecasts alike, beside the mean forecast."
        ),
        returns=held["tested"],
        coverage=tuple(
            Coverage(item["share"], item["inside"], item["sessions"]) for item in found["coverages"]
        ),
        means=tuple(MeanPair(item["expected_g"], item["observed_g"], item["sessions"]) for item in means),
    )


def _tenths(held: Mapping[str, Any]) -> Chart:
    counts = held["calibration"]["tenths"]
    labels = [f"{10 * place} to {10 * place + 10} %" for place in range(len(counts))]
    return Bars(
        title="Where weights lie within their forecasts",
        subtitle="Even where forecasts are right; high at both ends where they are too sure",
        caption="Unseen returns by the tenth of their forecast distribution.",
        returns=held["tested"],
        value=Axis("Unseen returns"),
        bars=tuple(Bar(label, float(count)) for label, count in zip(labels, counts, strict=True)),
    )


def _blanks(report: FitReport) -> Chart:
    months = report.blanks_by_month
    return SeasonBand(
        title="Blanks by month, found and fitted",
        subtitle="Line: as the fit expects; band: where the share of so many returns lies under it",
        returns=sum(item["returns"] for item in months),
        x=Axis("Month"),
        y=Axis("Share of blanks", "%"),
        lines=(BandLine("expected", tuple(_month(item) for item in months)),),
        raw=tuple(RawPoint(item["month"], 100 * item["observed"], item["returns"]) for item in months),
        ticks=tuple(Tick(item["month"], month_abbr[item["month"]]) for item in months),
    )


def _month(item: Mapping[str, Any]) -> BandPoint:
    middle, error = 100 * item["fitted"], 100 * item["standard_error"]
    spread = Spread(
        estimate=middle,
        lower_50=max(0.0, middle - _NORMAL_75 * error),
        upper_50=middle + _NORMAL_75 * error,
        lower_90=max(0.0, middle - _NORMAL_95 * error),
        upper_90=middle + _NORMAL_95 * error,
    )
    return BandPoint(item["month"], spread, item["returns"])
