"""Files of returns, Parquet or CSV, into the frame that the fit takes.

All columns of a file (`COLUMNS`) but `date` and `hours`, and for a fit `weight_g`, may be absent, which
means not recorded. A cell that cannot be read is an error that names the column and the first such row,
and never repeats the cell: it may hold a name.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from analytics.catchrate.basis import FloatArray, IntArray
from analytics.catchrate.features import wind_class
from analytics.catchrate.returns import AT_LEAST_OUTCOMES, USED_OUTCOMES
from analytics.catchrate.spec import UNKNOWN

#: Column of a file to column of the frame.
WORDS = {"water": "water", "angler": "angler", "bait": "hook_bait", "rig": "rig_type"}
NUMBERS = {
    "peg_order": "peg_order",
    "temp_c": "water_temperature_c",
    "distance_m": "distance_m",
    "hours": "hours",
    "weight_g": "weight_g",
    "bound_g": "bound_g",
}
COLUMNS = (
    *("date", "water", "peg", "peg_order", "angler", "bait", "rig", "wind", "temp_c", "distance_m"),
    *("hours", "is_match", "matchday", "weight_g", "outcome", "bound_g", "session"),
)
#: Read as they are written in a CSV file, so that peg 007 stays what it is.
AS_WRITTEN = ("date", "water", "peg", "angler", "bait", "rig", "wind", "matchday", "outcome", "session")

#: What no number may be below, by column; a temperature may.
NOT_NEGATIVE = ("distance_m", "hours", "weight_g", "bound_g")
STRONGEST_WIND = 12

OUTCOMES = (*USED_OUTCOMES, *AT_LEAST_OUTCOMES, "did_not_weigh", "did_not_fish")
YES_OR_NO = {
    **dict.fromkeys(("true", "1", "yes", "match"), True),
    **dict.fromkeys(("false", "0", "no", "pleasure"), False),
}

#: One column as the file gives it, of any type.
Column: TypeAlias = "pd.Series[Any]"


class FileProblem(Exception):
    """A file cannot be used; the message says which column and row, for whoever wrote the file."""


@dataclass(frozen=True, slots=True, eq=False)
class ReturnsFile:
    """A file's rows as a frame (`fit.fit_catch`), with what of it was not used.

    `home_waters` gives the water of every peg whose name stands on one water only; any other peg is named
    'water/peg'. `absent` are columns that a file may have and this one has not, `ignored` those that mean
    nothing here.
    """

    frame: pd.DataFrame
    home_waters: Mapping[str, str]
    absent: tuple[str, ...]
    ignored: tuple[str, ...]


def read_returns(
    path: Path, home_waters: Mapping[str, str] | None = None, *, to_fit: bool = True
) -> ReturnsFile:
    """The rows of a Parquet or CSV file, in order. `home_waters` are those of an earlier fit, if any.

    :raises FileProblem: no such file or no such format, a column missing, a cell that cannot be read.
    """
    columns, ignored = _columns(path)
    needed = ("date", "hours", "weight_g") if to_fit else ("date", "hours")
    for name in needed:
        if name not in columns:
            raise FileProblem(f"{name}: the file has no such column")
    rows = len(columns["date"])
    absent = tuple(name for name in COLUMNS if name not in columns)
    frame: dict[str, Any] = {"fished_on": _dates(columns.pop("date"))}
    for name, target in WORDS.items():
        frame[target] = _words(columns.pop(name)) if name in columns else _nothing(rows)
    for name, target in NUMBERS.items():
        if name in columns:
            frame[target] = _numbers(columns.pop(name), name)
        elif name != "bound_g":
            frame[target] = np.full(rows, np.nan)
    frame["wind_force"] = _wind(columns.pop("wind")) if "wind" in columns else np.full(rows, np.nan)
    peg = _words(columns.pop("peg")) if "peg" in columns else _nothing(rows)
    homes = _home_waters(frame["water"], peg) if home_waters is None else home_waters
    frame["peg"] = _named_pegs(frame["water"], peg, homes)
    match_day = _words(columns.pop("matchday")) if "matchday" in columns else _nothing(rows)
    frame["is_match"] = _matches(columns.pop("is_match", None), match_day)
    codes = np.where(frame["is_match"], match_day.codes, -1)
    frame["match_day"] = pd.Categorical.from_codes(codes, match_day.categories)
    table = pd.DataFrame(frame)
    if to_fit:
        _with_outcomes(table, columns.pop("session", None), columns.pop("outcome", None))
    return ReturnsFile(table, homes, absent, ignored)


def _columns(path: Path) -> tuple[dict[str, Column], tuple[str, ...]]:
    """The known columns as the file gives them, and the names of the others."""
    readers: dict[str, Callable[[Path], tuple[dict[str, Column], tuple[str, ...]]]] = {
        ".parquet": _parquet,
        ".csv": _csv,
    }
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise FileProblem("the file's name must end in .parquet or .csv")
    try:
        return reader(path)
    except FileNotFoundError:
        raise FileProblem("there is no such file") from None
    except (OSError, pa.ArrowInvalid, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError):
        raise FileProblem(f"the file cannot be read as {path.suffix.lower()[1:]}") from None


def _parquet(path: Path) -> tuple[dict[str, Column], tuple[str, ...]]:
    with pq.ParquetFile(path) as file:
        schema = file.schema_arrow
        known = [name for name in COLUMNS if name in schema.names]
        texts = [name for name in known if pa.types.is_string(schema.field(name).type)]
    table = pq.read_table(path, columns=known, read_dictionary=texts)
    columns = {
        name: table.column(name).to_pandas(date_as_object=False, integer_object_nulls=True) for name in known
    }
    return columns, tuple(name for name in schema.names if name not in COLUMNS)


def _csv(path: Path) -> tuple[dict[str, Column], tuple[str, ...]]:
    header = [str(name) for name in pd.read_csv(path, nrows=0, encoding="utf-8-sig").columns]
    known = [name for name in COLUMNS if name in header]
    as_written: Any = dict.fromkeys((name for name in known if name in AS_WRITTEN), "str")
    table = pd.read_csv(path, usecols=known, dtype=as_written, low_memory=False, encoding="utf-8-sig")
    return {name: table[name] for name in known}, tuple(name for name in header if name not in COLUMNS)


def _refuse(name: str, bad: Any, expected: str) -> None:
    """An error at the first row where `bad`; rows count from 1, a header not among them."""
    rows = np.flatnonzero(np.asarray(bad))
    if len(rows):
        more = f" (and {len(rows) - 1:,} more)" if len(rows) > 1 else ""
        raise FileProblem(f"{name}, row {rows[0] + 1:,}{more}: {expected}")


def _distinct(column: Column) -> tuple[IntArray, list[Any]]:
    """Codes (n,), -1 where missing, into the distinct cells."""
    codes, cells = pd.factorize(column)
    return codes, list(cells)


def _text(cell: Any) -> str:
    """A cell as a word: 7, 7.0, '7' and '7.0' are one, as are a day and its midnight."""
    if isinstance(cell, pd.Timestamp) and cell == cell.normalize():
        return cell.date().isoformat()
    text = str(cell).strip()
    # What spreadsheets and data frames make of whole numbers beside missing ones.
    return text[:-2] if text.endswith(".0") and text[:-2].isdecimal() else text


def _words(column: Column) -> pd.Categorical:
    """A column as a categorical of sorted words; an empty word is missing."""
    codes, cells = _distinct(column)
    return _labelled(codes, [_text(cell) for cell in cells])


def _labelled(codes: IntArray, names: Sequence[str]) -> pd.Categorical:
    """Codes into names, which may repeat, as a categorical of the sorted names; '' and -1 are missing."""
    levels = sorted(set(names) - {""})
    index = {"": -1} | {level: place for place, level in enumerate(levels)}
    places = np.array([*(index[name] for name in names), -1], dtype=np.int64)
    return _categorical(places[codes], levels)


def _categorical(codes: IntArray, levels: Sequence[str]) -> pd.Categorical:
    return pd.Categorical.from_codes(codes, pd.Index(list(levels), dtype="str"))


def _nothing(rows: int) -> pd.Categorical:
    return _categorical(np.full(rows, -1), [])


def _numbers(column: Column, name: str) -> FloatArray:
    """A column as floats, NaN where missing."""
    numbers = pd.to_numeric(column.astype(object) if column.dtype == "category" else column, errors="coerce")
    values = numbers.to_numpy(np.float64, na_value=np.nan)
    _refuse(name, (np.isnan(values) & column.notna().to_numpy()) | np.isinf(values), "not a number")
    if name in NOT_NEGATIVE:
        _refuse(name, values < 0, "below zero")
    return values


def _dates(column: Column) -> pd.DatetimeIndex:
    codes, cells = _distinct(column)
    _refuse("date", codes < 0, "missing, and every return needs its date")
    if isinstance(column.dtype, pd.DatetimeTZDtype):
        cells = [cell.tz_localize(None) for cell in cells]
    days = pd.to_datetime(
        pd.Series([_text(cell) for cell in cells], dtype="str"), errors="coerce", format="ISO8601"
    )
    _refuse("date", days.isna().to_numpy()[codes], "not a date; write it as 2024-05-31")
    return pd.DatetimeIndex(days.dt.normalize().to_numpy()[codes])


def _wind(column: Column) -> pd.Categorical | FloatArray:
    """Beaufort forces as floats; if any cell is a word, the classes, those of forces among them included."""
    codes, cells = _distinct(column)
    words = [_text(cell) for cell in cells]
    forces = pd.to_numeric(pd.Series(words, dtype=object), errors="coerce").to_numpy(np.float64)
    beyond = (forces < 0) | (forces > STRONGEST_WIND)
    _refuse("wind", np.append(beyond, False)[codes], f"not a Beaufort force from 0 to {STRONGEST_WIND}")
    if all(word == "" for word, force in zip(words, forces, strict=True) if np.isnan(force)):
        return np.append(forces, np.nan)[codes]
    classes = [
        (word or UNKNOWN) if np.isnan(force) else wind_class(float(force))
        for word, force in zip(words, forces, strict=True)
    ]
    levels = sorted({*classes, UNKNOWN})
    places = np.array([levels.index(name) for name in [*classes, UNKNOWN]])
    return _categorical(places[codes], levels)


def _home_waters(water: pd.Categorical, peg: pd.Categorical) -> dict[str, str]:
    """The water of each peg whose name stands on one water only."""
    known = (water.codes >= 0) & (peg.codes >= 0)
    pairs = np.unique(np.stack([peg.codes[known], water.codes[known]]).astype(np.int64), axis=1)
    single = np.flatnonzero(np.bincount(pairs[0], minlength=len(peg.categories))[pairs[0]] == 1)
    return {peg.categories[pairs[0, i]]: water.categories[pairs[1, i]] for i in single}


def _named_pegs(water: pd.Categorical, peg: pd.Categorical, homes: Mapping[str, str]) -> pd.Categorical:
    """Pegs told apart by their water, where one name stands on several."""
    known = np.flatnonzero(peg.codes >= 0)
    waters = len(water.categories) + 1
    pairs = peg.codes[known].astype(np.int64) * waters + water.codes[known] + 1
    met, places = np.unique(pairs, return_inverse=True)
    codes = np.full(len(peg), -1, dtype=np.int64)
    codes[known] = places
    names = []
    for name_code, water_code in zip(met // waters, met % waters - 1, strict=True):
        name = peg.categories[name_code]
        here = None if water_code < 0 else water.categories[water_code]
        names.append(name if here is None or homes.get(name) == here else f"{here}/{name}")
    return _labelled(codes, names)


def _matches(column: "Column | None", match_day: pd.Categorical) -> NDArray[np.bool_]:
    """Whether each row is of a match; where the file does not say, whether it names a match day."""
    named: NDArray[np.bool_] = match_day.codes >= 0
    if column is None:
        return named
    codes, cells = _distinct(column)
    said = [YES_OR_NO.get(_text(cell).lower()) for cell in cells]
    unread = np.array(
        [*(one is None and _text(cell) != "" for one, cell in zip(said, cells, strict=True)), False]
    )
    _refuse("is_match", unread[codes], "neither true nor false")
    answered = np.array([*(one is not None for one in said), False])[codes]
    return np.where(answered, np.array([*(bool(one) for one in said), False])[codes], named)


def _with_outcomes(frame: pd.DataFrame, session: "Column | None", outcome: "Column | None") -> None:
    """Add `session`, spread each session's total over its rows, and add `outcome`, derived where absent."""
    said = _nothing(len(frame)) if outcome is None else _words(outcome)
    strange = np.array([level not in OUTCOMES for level in said.categories] + [False])
    _refuse("outcome", strange[said.codes], "not one of " + ", ".join(OUTCOMES))
    words = pd.Series(said.astype(object), frame.index)
    if session is not None:
        codes = _words(session).codes.astype(np.int64)
        codes[codes < 0] = codes.max(initial=-1) + 1 + np.arange(np.sum(codes < 0))
        frame["session"] = codes
        total = frame.groupby(codes)["weight_g"].transform("first")
        differs = frame["weight_g"].notna() & (frame["weight_g"] != total)
        _refuse(
            "weight_g", differs, "not the same as in an earlier row of its session; give the session's total"
        )
        frame["weight_g"] = total
        words = words.groupby(codes).transform("first")
    weight = frame["weight_g"].to_numpy()
    derived = np.select([np.isnan(weight), weight == 0], ["did_not_weigh", "blank"], "weighed")
    outcomes = np.where(words.isna(), derived, words)
    _refuse("outcome", (outcomes == "blank") & (weight > 0), "blank, and yet there is a weight")
    frame["outcome"] = pd.Categorical(outcomes)
