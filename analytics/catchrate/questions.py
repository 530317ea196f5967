"""What is asked of estimates: conditions by name, and the same as codes of the terms, in NumPy alone."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray
from analytics.catchrate.estimates import Estimates, TermEstimate
from analytics.catchrate.features import bait_month, mid_month, water_year, wind_class
from analytics.catchrate.spec import MATCH, RECORDED
from analytics.catchrate.terms import NO_LEVEL, Coded, Encoded, LearnedFactor

BoolArray = NDArray[np.bool_]

#: A question is 'recorded' unless it is about a session that lacks the record.
MISSING_INDICATORS = ("distance_missing", "water_temperature_missing")

#: Crossings of levels that are kept.
KEPT_CROSSINGS = 128

MONTHS = tuple(str(number) for number in range(1, 13))

Words = Sequence[str | None] | Coded | str | None
Numbers = Sequence[float | None] | NDArray[Any] | float | None


@dataclass(frozen=True, slots=True)
class Questions:
    """Conditions to be asked about: each a single value for all, or one value a question.

    None means not asked: a typical water, peg, bait or rig (effect zero), the mean distance, and for wind,
    session kind, year, hours and water temperature the reference that the estimates state. `month` runs
    from 1 to 12; `day_of_year` defaults to the middle of the month. Naming an angler asks for their own
    expectation instead of the club's average. Many words are quickest as `Coded`.

    A session that was fished and lacks a record is asked about as the fit saw it: by the class of its wind in
    `wind`, which goes before the force, and by 'missing' in the two indicators.
    """

    month: Sequence[int] | NDArray[Any] | int
    water: Words = None
    peg: Words = None
    hook_bait: Words = None
    rig_type: Words = None
    angler: Words = None
    session_kind: Words = None
    year: Words = None
    distance_m: Numbers = None
    wind_force: Numbers = None
    water_temperature_c: Numbers = None
    hours: Numbers = None
    day_of_year: Numbers = None
    wind: Words = None
    distance_missing: Words = None
    water_temperature_missing: Words = None

    def __len__(self) -> int:
        lengths = {_length(value) for value in self._values() if _is_column(value)}
        if len(lengths) > 1:
            raise ValueError("questions differ in length")
        return lengths.pop() if lengths else 1

    def _values(self) -> list[Any]:
        return [getattr(self, name) for name in self.__slots__]


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """Questions as one fit's terms see them: codes by term, effort, and the averaging over people and days.

    `nobody` (n,) is true where no angler is named, `matches` (n,) where the session is a match.
    """

    terms: Mapping[str, Encoded]
    words: Mapping[str, Coded]
    hours: FloatArray
    nobody: BoolArray
    matches: BoolArray

    def __len__(self) -> int:
        return len(self.hours)

    def unseen(self) -> dict[str, BoolArray]:
        """By factor, the questions (n,) whose level the fit never saw, where there is one."""
        return {name: item.unseen for name, item in self.terms.items() if item.unseen is not None}

    def asked_of(self, item: TermEstimate) -> Coded:
        """What was asked of a factor."""
        assert isinstance(item.term, LearnedFactor)  # noqa: S101 - levels are a factor's
        return self.words[item.term.spec.feature]


def ask(estimates: Estimates, questions: Questions | Asked) -> Asked:
    """The questions as codes of these estimates, once and for all that is read of them.

    :raises ValueError: questions differ in length, or hours are not above zero.
    """
    if isinstance(questions, Asked):
        return questions
    size = len(questions)
    months = _numbers(questions.month, size).astype(np.int64)
    words = _words(estimates, questions, months)
    features: dict[str, Any] = {**words, **_measures(estimates, questions, months)}
    hours = _or_usual(_numbers(questions.hours, size), estimates.reference.hours)
    if not (hours > 0).all():
        raise ValueError("hours must be above zero")
    kinds = words["session_kind"]
    return Asked(
        terms={item.name: item.term.encode(features) for item in estimates.terms if item.start is not None},
        words=words,
        hours=hours,
        nobody=words["angler"].codes == NO_LEVEL,
        matches=np.array([*(kind == MATCH for kind in kinds.levels), False])[kinds.codes],
    )


def _words(estimates: Estimates, questions: Questions, months: NDArray[np.int64]) -> dict[str, Coded]:
    """The words of each question, with the reference wherever nothing was asked."""
    reference, size = estimates.reference, len(months)
    names = ("water", "peg", "angler", "hook_bait", "rig_type")
    words = {name: _coded(getattr(questions, name), size) for name in names}
    for name in ("session_kind", "year"):
        words[name] = _filled(_coded(getattr(questions, name), size), getattr(reference, name))
    in_month = Coded((months - 1).astype(np.int32), MONTHS)
    words["hook_bait_month"] = _crossed(words["hook_bait"], in_month, _bait_month)
    words["water_year"] = _crossed(words["water"], words["year"], water_year)
    if questions.wind is None:
        words["wind"] = _winds(questions.wind_force, reference.wind, size)
    else:
        words["wind"] = _filled(_coded(questions.wind, size), reference.wind)
    for name in MISSING_INDICATORS:
        words[name] = _filled(_coded(getattr(questions, name), size), RECORDED)
    # A match day that is a term of its own takes part in averaging alone.
    words["match_day"] = _coded(None, size)
    return words


def _bait_month(bait: str, month: str) -> str | None:
    return bait_month(bait, int(month))


def _winds(forces: Numbers, usual: str, size: int) -> Coded:
    """The class of each wind force, the usual one where none was asked about."""
    if not _is_column(forces):
        return _coded(usual if forces is None else wind_class(float(forces)), size)  # type: ignore[arg-type]
    numbers = _numbers(forces, size)
    return _coded([usual if np.isnan(force) else wind_class(force) for force in numbers], size)


def _measures(estimates: Estimates, questions: Questions, months: NDArray[np.int64]) -> dict[str, FloatArray]:
    size = len(months)
    usual = np.array(estimates.reference.water_temperature_by_month, dtype=np.float64)[months - 1]
    return {
        "day_of_year": _or_usual(_numbers(questions.day_of_year, size), mid_month(months)),
        "distance_m": _numbers(questions.distance_m, size),
        "water_temperature_c": _or_usual(_numbers(questions.water_temperature_c, size), usual),
    }


def _or_usual(values: FloatArray, usual: FloatArray | float) -> FloatArray:
    return np.where(np.isnan(values), usual, values)


def _is_column(value: Any) -> bool:
    return isinstance(value, np.ndarray | Coded) or (
        isinstance(value, Sequence) and not isinstance(value, str)
    )


def _length(column: Any) -> int:
    return len(column.codes) if isinstance(column, Coded) else len(column)


def _numbers(value: Numbers, size: int) -> FloatArray:
    """The condition (n,), NaN where it was not asked."""
    if _is_column(value):
        return np.array(value, dtype=np.float64)
    return np.full(size, np.nan if value is None else value)


def _coded(value: Words, size: int) -> Coded:
    if isinstance(value, Coded):
        return value
    if value is None or isinstance(value, str):
        levels = () if value is None else (value,)
        return Coded(np.full(size, len(levels) - 1, dtype=np.int32), levels)
    places: dict[str, int] = {}
    codes = (NO_LEVEL if word is None else places.setdefault(word, len(places)) for word in value)
    return Coded(np.fromiter(codes, np.int32, size), tuple(places))


def _filled(column: Coded, usual: str) -> Coded:
    """The column with a word wherever there is none."""
    codes = np.where(column.codes == NO_LEVEL, len(column.levels), column.codes)
    return Coded(codes.astype(np.int32), (*column.levels, usual))


def _crossed(left: Coded, right: Coded, name: Callable[[str, str], str | None]) -> Coded:
    """The levels of two columns together, -1 where either is not known."""
    codes = left.codes * np.int32(len(right.levels)) + right.codes
    codes[(left.codes == NO_LEVEL) | (right.codes == NO_LEVEL)] = NO_LEVEL
    return Coded(codes, _crossed_levels(left.levels, right.levels, name))


@lru_cache(maxsize=KEPT_CROSSINGS)
def _crossed_levels(
    left: tuple[str, ...], right: tuple[str, ...], name: Callable[[str, str], str | None]
) -> tuple[str, ...]:
    """Kept: the same hook baits are crossed with the same months in every question of a fit."""
    return tuple(str(name(one, other)) for one in left for other in right)
