"""Learning the design: which terms the returns can speak for, their levels and knots. Once a fit."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.equations import weighted_counts
from analytics.catchrate.estimates import Dropped, Reference, Refusal
from analytics.catchrate.penalties import scaled_to_curve
from analytics.catchrate.returns import Returns, usable_returns
from analytics.catchrate.spec import (
    LATEST,
    MISSING,
    MOST_COMMON,
    UNKNOWN,
    CatchSpec,
    Factor,
    Line,
    Margin,
    Neighbours,
    Smooth,
    Term,
)
from analytics.catchrate.terms import (
    Coded,
    Encoded,
    Features,
    LearnedFactor,
    LearnedLine,
    LearnedMargin,
    LearnedSmooth,
    LearnedTerm,
    raw_basis,
)

#: A year needs as many returns before the other years are compared with it.
RETURNS_FOR_REFERENCE = 30

#: With fewer returns the levels of a factor are not told apart from their neighbours'.
RETURNS_FOR_NEIGHBOURS = 150

#: A coefficient that no penalty holds costs as many returns.
RETURNS_A_PARAMETER = 5

#: Terms that cross two others, and say nothing new once one of them is gone.
CROSSED = {
    "hook_bait_month": ("hook_bait",),
    "water_year": ("water", "year"),
    "season_distance": ("distance",),
}


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The usable returns with the learned terms and their codes."""

    returns: Returns
    terms: tuple[tuple[LearnedTerm, Encoded], ...]
    dropped: tuple[Dropped, ...]
    reference: Reference


def learn_design(frame: pd.DataFrame, spec: CatchSpec) -> Design | Refusal:
    """The design of a club's returns, or why there is none."""
    returns = usable_returns(frame, spec)
    refusal = _refusal(returns, spec)
    if refusal is not None:
        return refusal
    terms, dropped = learn_terms(spec, returns)
    free = 1 + sum(term.size for term, _ in terms if not term.penalty_names)
    needed = RETURNS_A_PARAMETER * free
    if len(returns.weight_g) < needed:
        message = f"{len(returns.weight_g)} usable returns for {free} free parameters; {needed} are needed"
        return Refusal("too_few_returns", message, needed)
    return Design(returns, tuple(terms), tuple(dropped), _reference(returns))


def _refusal(returns: Returns, spec: CatchSpec) -> Refusal | None:
    count = len(returns.weight_g)
    if count < spec.minimum_returns:
        message = f"{count} returns with a known weight and effort; {spec.minimum_returns} are needed"
        return Refusal("too_few_returns", message, spec.minimum_returns)
    if not (returns.weight_g[~returns.bounded] > 0).any():
        return Refusal("all_blank", "every return is a blank, so nothing tells one choice from another", 1)
    return None


def learn_terms(spec: CatchSpec, returns: Returns) -> tuple[list[tuple[LearnedTerm, Encoded]], list[Dropped]]:
    """The terms that these returns can speak for, with their codes, and the others with the reason."""
    learned: list[tuple[LearnedTerm, Encoded]] = []
    dropped: list[Dropped] = []
    for term in spec.terms:
        found = _learn(term, returns, {item.name for item in dropped})
        if isinstance(found, Dropped):
            dropped.append(found)
            continue
        encoded = found.encode(returns.features)
        if isinstance(found, LearnedSmooth):
            found = _scaled(found, encoded)
        learned.append((found, encoded))
    return learned, dropped


def _learn(term: Term, returns: Returns, gone: set[str]) -> LearnedTerm | Dropped:
    lost = [name.replace("_", " ") for name in CROSSED.get(term.name, ()) if name in gone]
    if lost:
        are = "is" if len(lost) == 1 else "are"
        reason = f"nothing to cross: {' and '.join(lost)} {are} not in the model"
        return Dropped(term.name, "nothing_to_cross", reason)
    count = len(returns.weight_g)
    if count < term.least_returns:
        return Dropped(term.name, "too_few_returns", f"{count} returns; {term.least_returns} are needed")
    if isinstance(term, Factor):
        return _learn_factor(term, returns)
    if isinstance(term, Line):
        return _learn_line(term, returns.features)
    return _learn_smooth(term, returns.features)


def _learn_factor(term: Factor, returns: Returns) -> LearnedFactor | Dropped:
    column = returns.features[term.feature]
    assert isinstance(column, Coded)  # noqa: S101 - a factor's feature is made of words
    counts = column.counts()
    met = [level for level, count in zip(column.levels, counts, strict=True) if count]
    if not set(met) - {UNKNOWN, MISSING}:
        return Dropped(term.name, "not_recorded", "no return records it")
    if len(met) == 1:
        # Which one is said of everything but people.
        said = "the same" if term.feature == "angler" else met[0]
        return Dropped(term.name, "one_level", f"every return that records it says {said}")
    reference = _reference_level(term, column)
    levels = _every_month(met) if term.neighbours is Neighbours.MONTHS else met
    levels = [level for level in levels if level != reference]
    return LearnedFactor(term, tuple(levels), reference, _links(term, levels, returns))


def _every_month(met: list[str]) -> list[str]:
    """Every month of every bait, so that a month not yet fished takes the prior and is no unseen level."""
    baits = sorted({level.rsplit("/", 1)[0] for level in met})
    return [f"{bait}/{month:02d}" for bait in baits for month in range(1, 13)]


def _links(term: Factor, levels: list[str], returns: Returns) -> tuple[tuple[int, int], ...]:
    if term.neighbours is Neighbours.MONTHS:
        return tuple((i, i + 1 if (i + 1) % 12 else i - 11) for i in range(len(levels)))
    if term.neighbours is Neighbours.BANK and len(returns.weight_g) >= RETURNS_FOR_NEIGHBOURS:
        return _bank_links(levels, returns)
    return ()


def _bank_links(levels: list[str], returns: Returns) -> tuple[tuple[int, int], ...]:
    """Pegs that follow one another on their water, by their order along the bank."""
    peg, water = returns.features["peg"], returns.features["water"]
    assert isinstance(peg, Coded) and isinstance(water, Coded)  # noqa: S101 - both are made of words
    known = (peg.codes >= 0) & (water.codes >= 0) & ~np.isnan(returns.peg_order)
    codes, first = np.unique(peg.codes[known], return_index=True)
    rows = np.flatnonzero(known)[first]
    index = {level: place for place, level in enumerate(levels)}
    places = np.array([index[peg.levels[code]] for code in codes], dtype=np.int64)
    order = np.lexsort((places, returns.peg_order[rows], water.codes[rows]))
    along, waters = places[order], water.codes[rows][order]
    return tuple(
        (int(along[i]), int(along[i + 1])) for i in range(len(along) - 1) if waters[i] == waters[i + 1]
    )


def _reference_level(term: Factor, column: Coded) -> str | None:
    if term.reference == LATEST:
        return _latest(column)
    if term.reference == MOST_COMMON:
        return _most_common(column)
    return term.reference


def _latest(column: Coded) -> str:
    """The last level with returns enough to be compared with; the first week of a year is no reference."""
    counts = column.counts()
    enough = np.flatnonzero(counts >= min(RETURNS_FOR_REFERENCE, counts.max()))
    return str(column.levels[enough[-1]])


def _most_common(column: Coded) -> str:
    """The most frequent recorded level, the first in order among equals."""
    counts = {
        level: int(count)
        for level, count in zip(column.levels, column.counts(), strict=True)
        if count and level != UNKNOWN
    }
    return min(counts, key=lambda level: (-counts[level], level)) if counts else UNKNOWN


def _learn_line(term: Line, features: Features) -> LearnedLine | Dropped:
    values = np.asarray(features[term.feature], dtype=np.float64)
    values = values[~np.isnan(values)]
    if not len(values):
        return Dropped(term.name, "not_recorded", "no return records it")
    if values.min() == values.max():
        return Dropped(term.name, "one_level", f"every return that records it says {values[0]:g}")
    return LearnedLine(term, float(values.mean()))


def _learn_smooth(term: Smooth, features: Features) -> LearnedSmooth | Dropped:
    margins = []
    for margin in term.margins:
        values = np.asarray(features[margin.feature], dtype=np.float64)
        values = values[~np.isnan(values)]
        if not len(values):
            return Dropped(term.name, "not_recorded", "no return records it")
        steps, counts = _grid_counts(values, margin.resolution)
        if len(steps) == 1:
            return Dropped(term.name, "one_level", f"every return that records it says {values[0]:g}")
        margins.append(_learn_margin(margin, steps, counts))
    return LearnedSmooth(term, tuple(margins))


def _grid_counts(values: FloatArray, resolution: float) -> tuple[FloatArray, FloatArray]:
    """The rounded values that occur, and how often."""
    steps = np.rint(values / resolution).astype(np.int64)
    counts = np.bincount(steps - steps.min())
    met = np.flatnonzero(counts)
    return (met + steps.min()) * resolution, counts[met].astype(np.float64)


def _learn_margin(margin: Margin, values: FloatArray, counts: FloatArray) -> LearnedMargin:
    """Span without the rarest percent, so that one far cast does not stretch the knots; flat beyond."""
    share = np.cumsum(counts) / counts.sum()
    lower = float(values[np.searchsorted(share, 0.005)])
    upper = float(values[np.searchsorted(share, 0.995)])
    if lower == upper:
        lower, upper = float(values[0]), float(values[-1])
    rows = raw_basis(margin, lower, upper, values)
    mean = counts @ rows / counts.sum()
    return LearnedMargin(margin, lower, upper, tuple(float(value) for value in mean))


def _scaled(learned: LearnedSmooth, encoded: Encoded) -> LearnedSmooth:
    assert encoded.table is not None  # noqa: S101 - a smooth has basis rows
    counts = np.bincount(encoded.codes + 1, minlength=len(encoded.table) + 1)[1:]
    moments = (encoded.table.T * counts) @ encoded.table / counts.sum()
    scales = []
    for penalty in learned.penalties():
        scaled = scaled_to_curve(penalty, moments)
        scales.append(float(np.linalg.norm(scaled) / np.linalg.norm(penalty)))
    return replace(learned, scales=tuple(scales))


def _reference(returns: Returns) -> Reference:
    features = returns.features
    year, wind, kind = features["year"], features["wind"], features["session_kind"]
    assert isinstance(year, Coded) and isinstance(wind, Coded) and isinstance(kind, Coded)  # noqa: S101
    hours = returns.hours
    if returns.session is not None:
        hours = weighted_counts(returns.session, returns.hours, len(returns.weight_g))
    return Reference(
        year=_latest(year),
        wind=_most_common(wind),
        session_kind=_most_common(kind),
        hours=float(np.median(hours)),
        water_temperature_by_month=returns.water_temperature_by_month,
    )
