"""Learning the design: which returns are used, which terms they can speak for, and their codes.

Learning happens once a fit. Rows are never dropped for a missing covariate: wind has a class of its own
for 'not recorded', a missing water temperature takes its month's mean and an indicator, a missing
distance the mean effect and an indicator, an unnamed bait, rig or match day no effect.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.catchrate.basis import FloatArray, ObjectArray, round_to
from analytics.catchrate.estimates import Dropped, Reference, Refusal
from analytics.catchrate.features import bait_month, wind_class
from analytics.catchrate.spec import (
    LATEST,
    MATCH,
    MISSING,
    MOST_COMMON,
    PLEASURE,
    RECORDED,
    UNKNOWN,
    CatchSpec,
    Factor,
    Margin,
    Smooth,
)
from analytics.catchrate.terms import (
    Encoded,
    Features,
    LearnedFactor,
    LearnedMargin,
    LearnedSmooth,
    LearnedTerm,
    raw_basis,
)

#: Outcomes whose weight is known; a weight over the net limit is an 'at least' and stays out.
USED_OUTCOMES = ("weighed", "blank", "estimated")

#: A year needs as many returns before the other years are compared with it.
RETURNS_FOR_REFERENCE = 30

WORDS = ("water", "peg", "angler", "hook_bait", "rig_type", "match_day")


@dataclass(frozen=True, slots=True, eq=False)
class Returns:
    """The usable returns: weight in grams and effort in rod-hours, (n,) each, and every feature."""

    weight_g: FloatArray
    hours: FloatArray
    features: Features
    water_temperature_by_month: tuple[float | None, ...]
    left_out: dict[str, int]
    first: date | None
    last: date | None


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The usable returns with the learned terms and their codes."""

    returns: Returns
    terms: tuple[tuple[LearnedTerm, Encoded], ...]
    dropped: tuple[Dropped, ...]
    reference: Reference


def learn_design(frame: pd.DataFrame, spec: CatchSpec) -> Design | Refusal:
    """The design of a club's returns, or why there is none."""
    returns = usable_returns(frame)
    count = len(returns.hours)
    if count < spec.minimum_returns:
        message = f"{count} returns with a known weight and effort; {spec.minimum_returns} are needed"
        return Refusal("too_few_returns", message, spec.minimum_returns)
    if not (returns.weight_g > 0).any():
        return Refusal("all_blank", "every return is a blank, so nothing tells one choice from another", 1)
    learned, dropped = _learn_terms(spec, returns.features)
    coded = tuple((term, term.encode(returns.features)) for term in learned)
    return Design(returns, coded, tuple(dropped), _reference(returns))


def usable_returns(frame: pd.DataFrame) -> Returns:
    """Rows with a known weight and effort as features, and a count by reason of the others.

    :raises KeyError: a column is missing from the frame.
    """
    outcome = frame["outcome"].astype(object)
    weight = frame["weight_g"].astype(np.float64).mask(outcome == "blank", 0.0)
    hours = frame["hours"].astype(np.float64)
    reason = pd.Series("", index=frame.index, dtype=object)
    reason = reason.mask(weight.isna(), "weight_not_known")
    reason = reason.mask(~(hours > 0) | np.isinf(hours), "effort_not_known")
    reason = reason.mask(~outcome.isin(USED_OUTCOMES), outcome)
    counts = reason[reason != ""].value_counts().sort_index()
    kept = reason == ""
    usable = frame[kept]
    features, temperatures = _features(usable)
    days = [value.date() for value in (usable["fished_on"].min(), usable["fished_on"].max()) if kept.any()]
    return Returns(
        weight_g=_floats(weight[kept]),
        hours=_floats(hours[kept]),
        features=features,
        water_temperature_by_month=temperatures,
        left_out={str(name): int(count) for name, count in counts.items()},
        first=days[0] if days else None,
        last=days[-1] if days else None,
    )


def _floats(column: "pd.Series[float]") -> FloatArray:
    return np.asarray(column, dtype=np.float64)


def _features(usable: pd.DataFrame) -> tuple[dict[str, ObjectArray], tuple[float | None, ...]]:
    """Every feature of the spec, (n,) each, and the mean water temperature of each month."""
    features: dict[str, ObjectArray] = {
        name: usable[name].astype(object).where(usable[name].notna(), None).to_numpy() for name in WORDS
    }
    dates = pd.to_datetime(usable["fished_on"]).dt
    month = dates.month.to_numpy()
    features["month"] = month
    features["day_of_year"] = dates.day_of_year.to_numpy(np.float64)
    features["year"] = dates.year.astype(str).astype(object).to_numpy()
    features["session_kind"] = np.where(usable["is_match"].astype(bool), MATCH, PLEASURE).astype(object)
    pairs = zip(features["hook_bait"], month, strict=True)
    features["hook_bait_month"] = np.array(
        [bait_month(bait, int(number)) for bait, number in pairs], dtype=object
    )
    force = usable["wind_force"].to_numpy(np.float64)
    features["wind"] = np.array([wind_class(value) for value in force], dtype=object)
    features["distance_m"] = usable["distance_m"].to_numpy(np.float64)
    features["distance_missing"] = _missing(features["distance_m"])
    temperature = usable["water_temperature_c"].to_numpy(np.float64)
    features["water_temperature_missing"] = _missing(temperature)
    means = _month_means(temperature, month)
    usual = np.array(means, dtype=np.float64)[month - 1]
    features["water_temperature_c"] = np.where(np.isnan(temperature), usual, temperature)
    return features, means


def _missing(values: FloatArray) -> ObjectArray:
    return np.where(np.isnan(values), MISSING, RECORDED).astype(object)


def _month_means(values: FloatArray, month: ObjectArray) -> tuple[float | None, ...]:
    """The mean of each month, of all months where one has none, None where nothing was recorded."""
    known = ~np.isnan(values)
    if not known.any():
        return (None,) * 12
    chosen = [values[known & (month == number)] for number in range(1, 13)]
    return tuple(float((part if len(part) else values[known]).mean()) for part in chosen)


def _learn_terms(spec: CatchSpec, features: Features) -> tuple[list[LearnedTerm], list[Dropped]]:
    learned: list[LearnedTerm] = []
    dropped: list[Dropped] = []
    for term in spec.terms:
        found = _learn_factor(term, features) if isinstance(term, Factor) else _learn_smooth(term, features)
        if isinstance(found, Dropped):
            dropped.append(found)
        else:
            learned.append(found)
    gone = {item.name for item in dropped}
    if "hook_bait" in gone and any(term.name == "hook_bait_month" for term in learned):
        learned = [term for term in learned if term.name != "hook_bait_month"]
        dropped.append(Dropped("hook_bait_month", "one_level", "one bait: its months are the season"))
    return learned, dropped


def _learn_factor(term: Factor, features: Features) -> LearnedFactor | Dropped:
    values = [value for value in features[term.feature] if value is not None]
    levels = sorted(set(values))
    if not set(levels) - {UNKNOWN, MISSING}:
        return Dropped(term.name, "not_recorded", "no return records it")
    if len(levels) == 1:
        return Dropped(term.name, "one_level", f"every return that records it says {levels[0]}")
    if term.name == "hook_bait_month":
        # Every month of every bait, so that a month not yet fished takes the prior and is no unseen level.
        baits = sorted({level.rsplit("/", 1)[0] for level in levels})
        levels = [f"{bait}/{month:02d}" for bait in baits for month in range(1, 13)]
    reference = _reference_level(term, values)
    return LearnedFactor(term, tuple(level for level in levels if level != reference), reference)


def _reference_level(term: Factor, values: Sequence[str]) -> str | None:
    if term.reference == LATEST:
        return _latest(values)
    if term.reference == MOST_COMMON:
        return _most_common(values)
    return term.reference


def _latest(values: Sequence[str]) -> str:
    """The last level with returns enough to be compared with; the first week of a year is no reference."""
    levels, counts = np.unique(values, return_counts=True)
    enough = levels[counts >= min(RETURNS_FOR_REFERENCE, counts.max())]
    return str(enough[-1])


def _most_common(values: Sequence[str]) -> str:
    """The most frequent recorded level, the first in order among equals."""
    levels, counts = np.unique([value for value in values if value != UNKNOWN], return_counts=True)
    return str(levels[np.argmax(counts)]) if len(levels) else UNKNOWN


def _learn_smooth(term: Smooth, features: Features) -> LearnedSmooth | Dropped:
    margins = []
    for margin in term.margins:
        values = features[margin.feature].astype(np.float64)
        values = values[~np.isnan(values)]
        if not len(values):
            return Dropped(term.name, "not_recorded", "no return records it")
        if len(np.unique(round_to(values, margin.resolution))) == 1:
            return Dropped(term.name, "one_level", f"every return that records it says {values[0]:g}")
        margins.append(_learn_margin(margin, values))
    return LearnedSmooth(term, tuple(margins))


def _learn_margin(margin: Margin, values: FloatArray) -> LearnedMargin:
    """Span without the rarest percent, so that one far cast does not stretch the knots; flat beyond."""
    lower, upper = (float(value) for value in np.quantile(values, [0.005, 0.995]))
    if lower == upper:
        lower, upper = float(values.min()), float(values.max())
    rows = raw_basis(margin, lower, upper, round_to(values, margin.resolution))
    return LearnedMargin(margin, lower, upper, tuple(float(value) for value in rows.mean(axis=0)))


def _reference(returns: Returns) -> Reference:
    features = returns.features
    return Reference(
        year=_latest(list(features["year"])),
        wind=_most_common(list(features["wind"])),
        session_kind=_most_common(list(features["session_kind"])),
        hours=float(np.median(returns.hours)),
        water_temperature_by_month=returns.water_temperature_by_month,
    )
