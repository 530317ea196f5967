"""Years against one another, and whether what they say holds on other returns and other readings of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analytics.answers.standard import Index, Interval, Ratio, from_document

#: Words for a chance: Mastrandrea et al. 2010, Guidance Note for Lead Authors of the IPCC Fifth Assessment
#: Report on Consistent Treatment of Uncertainties (its calibrated scale).
VERY_LIKELY, LIKELY = 0.90, 0.66

#: How a study's fits are told (`analytics.study`).
LABELS = {
    "all": "all returns, as the answers have them",
    "matches_only": "matches only: a drawn peg is random among the pegs put in",
    "did_not_weigh_as_zero": "who did not weigh caught nothing",
    "did_not_weigh_censored": "who did not weigh caught something up to a usual weight",
}


@dataclass(frozen=True, slots=True)
class OtherReading:
    """The same comparison by another fit; `ratio` is None where that fit has none, and `reason` says why."""

    code: str
    label: str
    rows_used: int | None
    ratio: Interval | None
    chance_up: float | None
    reading: str
    reason: str


@dataclass(frozen=True, slots=True)
class YearComparison:
    """A year over the one before it: the ratio of the standardised catch rates, and the chance of a rise."""

    year: str
    before: str
    ratio: Interval
    chance_up: float
    reading: str
    sensitivity: tuple[OtherReading, ...]


def year_comparisons(
    index: Index, study: Mapping[str, Any] | None, code: str, year: str | None
) -> tuple[YearComparison, ...]:
    """Each year against the one before it that has returns, or one year alone; the latest first."""
    readings = _readings(study, code)
    pairs = [pair for pair in zip(index.keys[1:], index.keys, strict=False) if year in {None, pair[0]}]
    found = [_compared(index, later, before, readings) for later, before in reversed(pairs)]
    return tuple(item for item in found if item is not None)


def _compared(
    index: Index, year: str, before: str, readings: Sequence[tuple[Mapping[str, Any], Index | None]]
) -> YearComparison | None:
    ratio = index.ratio(year, before)
    if ratio is None:
        return None
    others = tuple(_other(fit, other, year, before) for fit, other in readings)
    reading = _reading(ratio.chance_higher, year, before)
    return YearComparison(year, before, ratio.ratio, ratio.chance_higher, reading, others)


def _reading(chance: float, year: str, before: str) -> str:
    return reading_of(chance, up=f"{year} up on {before}", down=f"{year} down on {before}")


def disagreements(comparisons: Sequence[YearComparison]) -> tuple[str, ...]:
    """A sentence for each other reading by which a change is likely that is not so as answered."""
    return tuple(
        f"Mind that other returns or another reading say otherwise ({other.label}): {other.reading}. "
        f"As answered: {item.reading}."
        for item in comparisons
        for other in item.sensitivity
        if other.chance_up is not None and _differ(item.chance_up, other.chance_up)
    )


def _differ(chance: float, other: float) -> bool:
    return (other >= LIKELY > chance) or (1.0 - other >= LIKELY > 1.0 - chance)


def _readings(study: Mapping[str, Any] | None, code: str) -> list[tuple[Mapping[str, Any], Index | None]]:
    fits = [] if study is None else study.get("fits", [])
    found = []
    for fit in fits:
        stored = fit["index"].get(code, {}).get("year")
        found.append((fit, None if stored is None else from_document(stored)))
    return found


def _other(fit: Mapping[str, Any], index: Index | None, year: str, before: str) -> OtherReading:
    ratio: Ratio | None = None if index is None else index.ratio(year, before)
    reason = "" if ratio is not None else _why_none(fit, year, before)
    return OtherReading(
        code=fit["name"],
        label=LABELS.get(fit["name"], fit["name"]),
        rows_used=fit["rows_used"],
        ratio=None if ratio is None else ratio.ratio,
        chance_up=None if ratio is None else ratio.chance_higher,
        reading="" if ratio is None else _reading(ratio.chance_higher, year, before),
        reason=reason,
    )


def _why_none(fit: Mapping[str, Any], year: str, before: str) -> str:
    refusal = fit["refusal"]
    if refusal is not None:
        return str(refusal["message"])
    return f"These returns do not speak of both {before} and {year} here."


def reading_of(chance: float, *, up: str, down: str) -> str:
    """A chance in words; `up` and `down` say what it is the chance of, and of the contrary."""
    claim, likely = (up, chance) if chance >= 0.5 else (down, 1.0 - chance)
    if likely >= VERY_LIKELY:
        return f"{claim}: very likely"
    if likely >= LIKELY:
        return f"{claim}: likely"
    return f"{claim}: about as likely as not"
