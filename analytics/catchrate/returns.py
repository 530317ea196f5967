"""Which returns are used, and as what: exact weights, weights between two bounds, totals over parts.

Rows are never dropped for a missing covariate: wind has a class of its own for 'not recorded', a missing
water temperature takes its month's mean and an indicator, a missing distance the mean effect and an
indicator, an unnamed bait, rig or match day no effect.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.features import wind_class
from analytics.catchrate.spec import MATCH, MISSING, PLEASURE, RECORDED, CatchSpec, DidNotWeigh
from analytics.catchrate.terms import CodeArray, Coded, Features

#: Outcomes whose weight is known.
USED_OUTCOMES = ("weighed", "blank", "estimated")

#: Outcomes that say 'at least'.
AT_LEAST_OUTCOMES = ("over_net_limit", "counted_only")

WORDS = ("water", "peg", "angler", "hook_bait", "rig_type", "match_day")

#: Dispersion classes, as positions.
WEIGHED, ESTIMATED = 0, 1

Reasons = NDArray[Any]


@dataclass(frozen=True, slots=True, eq=False)
class Returns:
    """The usable returns: s sessions with r parts; a session of one part comes before those of several.

    By session: `weight_g` (a weight between bounds holds its lower bound), `lower_g` and `upper_g` (NaN
    where the weight is exact), `dispersion_class`, `position` (the row of the frame it was found in). By
    part: `hours` (rod-hours), every feature, and `session`, the part's session (None when each session
    has one part).
    """

    weight_g: FloatArray
    lower_g: FloatArray
    upper_g: FloatArray
    dispersion_class: NDArray[np.int8]
    position: NDArray[np.int64]
    hours: FloatArray
    session: NDArray[np.int64] | None
    features: Features
    peg_order: FloatArray
    water_temperature_by_month: tuple[float | None, ...]
    left_out: Mapping[str, int]
    first: date | None
    last: date | None

    @property
    def bounded(self) -> NDArray[np.bool_]:
        """Sessions whose weight is only known to lie between two bounds, (s,)."""
        return ~np.isnan(self.lower_g)

    @property
    def kind_codes(self) -> CodeArray:
        """Pleasure or match as a code, (s,): in each, other shares of the weights are estimated."""
        kind = self.features["session_kind"]
        assert isinstance(kind, Coded)  # noqa: S101 - a word
        if self.session is None:
            return kind.codes
        return kind.codes[np.flatnonzero(np.diff(self.session, prepend=-1))]


def usable_returns(frame: pd.DataFrame, spec: CatchSpec | None = None) -> Returns:
    """The returns that the spec can use, and a count by reason of the others.

    :raises KeyError: a column is missing from the frame.
    """
    spec = spec or CatchSpec()
    parts = _parts(frame, spec)
    outcome, weight, lower, upper, reason = _weights(frame.iloc[parts.first_row], parts.hours, spec)
    counts = pd.Series(reason[reason != ""]).value_counts().sort_index()
    kept = np.flatnonzero(reason == "")
    kept = kept[np.argsort(parts.size[kept] > 1, kind="stable")]
    rows, session = parts.rows_of(kept)
    usable = frame.iloc[rows]
    features, temperatures = features_of(usable)
    days = usable["fished_on"]
    span = [value.date() for value in (days.min(), days.max())] if len(usable) else [None, None]
    return Returns(
        weight_g=weight[kept],
        lower_g=lower[kept],
        upper_g=upper[kept],
        dispersion_class=np.where(outcome[kept] == "estimated", ESTIMATED, WEIGHED).astype(np.int8),
        position=parts.first_row[kept],
        hours=parts.row_hours[rows],
        session=session,
        features=features,
        peg_order=_numbers(usable, "peg_order"),
        water_temperature_by_month=temperatures,
        left_out={str(name): int(count) for name, count in counts.items()},
        first=span[0],
        last=span[1],
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """How rows make sessions: by session its first row, its number of parts and its hours in all."""

    first_row: NDArray[np.int64]
    size: NDArray[np.int64]
    order: NDArray[np.int64]
    hours: FloatArray
    row_hours: FloatArray

    def rows_of(self, sessions: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64] | None]:
        """The rows of the chosen sessions, and the place of each row's session among them."""
        sizes = self.size[sessions]
        if (sizes == 1).all():
            return self.first_row[sessions], None
        starts = (np.cumsum(self.size) - self.size)[sessions]
        session = np.repeat(np.arange(len(sessions)), sizes)
        within = np.arange(len(session)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        return self.order[np.repeat(starts, sizes) + within], session


def _parts(frame: pd.DataFrame, spec: CatchSpec) -> _Parts:
    hours = _numbers(frame, "hours")
    every = np.arange(len(frame))
    if "session" not in frame:
        return _Parts(every, np.ones(len(frame), dtype=np.int64), every, hours, hours)
    _, codes = np.unique(frame["session"].to_numpy(), return_inverse=True)
    size = np.bincount(codes)
    total = np.bincount(codes, hours).astype(np.float64)
    order = np.argsort(codes, kind="stable")
    first = order[np.cumsum(size) - size]
    if spec.share_parts:
        return _Parts(first, size, order, total, hours)
    # The longest part, the earlier among equals, stands for the whole session.
    longest = np.lexsort((every, -hours, codes))[np.cumsum(size) - size]
    whole = hours.copy()
    whole[longest] = total
    return _Parts(longest, np.ones_like(size), longest, total, whole)


def _weights(
    sessions: pd.DataFrame, hours: FloatArray, spec: CatchSpec
) -> tuple[Reasons, FloatArray, FloatArray, FloatArray, Reasons]:
    """By session: outcome, weight, both bounds (NaN for an exact weight) and why it is left out."""
    outcome = sessions["outcome"].astype(object).to_numpy()
    weight = np.where(outcome == "blank", 0.0, _numbers(sessions, "weight_g"))
    bound = _numbers(sessions, "bound_g") if "bound_g" in sessions else np.full(len(weight), np.nan)
    lower, upper = np.full(len(weight), np.nan), np.full(len(weight), np.nan)
    usable = np.isin(outcome, USED_OUTCOMES)
    if spec.at_least:
        at_least = np.isin(outcome, AT_LEAST_OUTCOMES)
        lower = np.where(at_least, np.where(np.isnan(bound), np.nan_to_num(weight), bound), lower)
        upper = np.where(at_least, np.inf, upper)
        usable |= at_least
    unweighed = outcome == "did_not_weigh"
    if spec.did_not_weigh is DidNotWeigh.AS_ZERO:
        weight = np.where(unweighed, 0.0, weight)
        usable |= unweighed
    elif spec.did_not_weigh is DidNotWeigh.CENSORED:
        usual = _median_weights(sessions["water"], np.where(np.isin(outcome, USED_OUTCOMES), weight, np.nan))
        lower = np.where(unweighed, 0.0, lower)
        upper = np.where(unweighed, np.where(np.isnan(bound), usual, bound), upper)
        usable |= unweighed & (upper > 0)
    weight = np.where(np.isnan(lower), weight, lower)
    reason = np.where(usable, "", outcome).astype(object)
    reason[usable & ~((hours > 0) & np.isfinite(hours))] = "effort_not_known"
    reason[usable & np.isnan(weight)] = "weight_not_known"
    return outcome, weight, lower, upper, reason


def _median_weights(water: "pd.Series[Any]", weight: FloatArray) -> FloatArray:
    """The median weight above zero of each session's water, of all waters where it has none."""
    caught = pd.Series(np.where(weight > 0, weight, np.nan))
    by_water = caught.groupby(water.astype(object).to_numpy(), dropna=False).transform("median")
    return np.asarray(by_water.fillna(caught.median()), dtype=np.float64)


def _numbers(frame: pd.DataFrame, name: str) -> FloatArray:
    return frame[name].to_numpy(np.float64, na_value=np.nan) if name in frame else np.full(len(frame), np.nan)


def coded(column: "pd.Series[Any]") -> Coded:
    """A column of words, categorical or not, as codes into its sorted levels."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        levels = column.cat.categories
        return Coded(column.cat.codes.to_numpy().astype(np.int32), tuple(str(level) for level in levels))
    codes, found = pd.factorize(column.to_numpy(object), sort=True)
    return Coded(codes.astype(np.int32), tuple(str(level) for level in found))


def crossed(left: Coded, right: Coded) -> Coded:
    """Every level of one with every level of the other, 'left/right'; not recorded where either is not."""
    codes = np.where((left.codes < 0) | (right.codes < 0), -1, left.codes * len(right.levels) + right.codes)
    levels = tuple(f"{first}/{second}" for first in left.levels for second in right.levels)
    return Coded(codes.astype(np.int32), levels)


def features_of(usable: pd.DataFrame) -> tuple[dict[str, Any], tuple[float | None, ...]]:
    """Every feature of the spec, (r,) each, and the mean water temperature of each month."""
    features: dict[str, Any] = {name: coded(usable[name]) for name in WORDS}
    dates = usable["fished_on"].to_numpy("datetime64[D]")
    years = dates.astype("datetime64[Y]")
    month = (dates.astype("datetime64[M]") - years.astype("datetime64[M]")).astype(np.int64)
    features["month"] = Coded(month.astype(np.int32), tuple(f"{number:02d}" for number in range(1, 13)))
    features["day_of_year"] = (dates - years.astype("datetime64[D]")).astype(np.float64) + 1.0
    features["year"] = _years(years)
    kinds = usable["is_match"].to_numpy(np.bool_)
    features["session_kind"] = Coded(kinds.astype(np.int32), (PLEASURE, MATCH))
    features["hook_bait_month"] = crossed(features["hook_bait"], features["month"])
    features["water_year"] = crossed(features["water"], features["year"])
    features["wind"] = _wind(usable)
    features["distance_m"] = _numbers(usable, "distance_m")
    features["distance_missing"] = _missing(features["distance_m"])
    temperature = _numbers(usable, "water_temperature_c")
    features["water_temperature_missing"] = _missing(temperature)
    means = _month_means(temperature, month)
    usual = np.array(means, dtype=np.float64)[month]
    features["water_temperature_c"] = np.where(np.isnan(temperature), usual, temperature)
    return features, means


def _years(years: NDArray[Any]) -> Coded:
    numbers = years.astype(np.int64)
    first = int(numbers.min()) if len(numbers) else 0
    last = int(numbers.max()) if len(numbers) else 0
    return Coded(
        (numbers - first).astype(np.int32), tuple(str(1970 + year) for year in range(first, last + 1))
    )


def _wind(usable: pd.DataFrame) -> Coded:
    """Beaufort forces by class; a column of words is taken as the classes themselves."""
    column = usable["wind_force"]
    if not pd.api.types.is_numeric_dtype(column.dtype):
        return coded(column)
    force = column.to_numpy(np.float64)
    forces, inverse = np.unique(force, return_inverse=True)
    classes = [wind_class(float(value)) for value in forces]
    levels = sorted(set(classes))
    return Coded(np.array([levels.index(name) for name in classes], dtype=np.int32)[inverse], tuple(levels))


def _missing(values: FloatArray) -> Coded:
    return Coded(np.isnan(values).astype(np.int32), (RECORDED, MISSING))


def _month_means(values: FloatArray, month: NDArray[np.int64]) -> tuple[float | None, ...]:
    """The mean of each month, of all months where one has none, None where nothing was recorded."""
    known = ~np.isnan(values)
    if not known.any():
        return (None,) * 12
    count = np.bincount(month[known], minlength=12)
    total = np.bincount(month[known], values[known], minlength=12)
    overall = float(total.sum() / count.sum())
    return tuple(float(total[i] / count[i]) if count[i] else overall for i in range(12))
