"""A row of cells to a return that may be staged, with everything that is wrong with its cells."""

import uuid
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, Final

from clubdata.intake import cells as parse
from clubdata.intake.catches import CatchCell, check_against, read_catch
from clubdata.intake.cells import CellProblem, WeightCell
from clubdata.intake.columns import REQUIRED_COLUMNS, Columns
from clubdata.intake.report import Problem
from clubdata.intake.staging import SheetReturn, sheet_key
from clubdata.intake.vocabulary import Known, Vocabulary, counting_order
from clubdata.models import Outcome, SessionKind
from clubdata.rules.conventions import Conventions
from clubdata.rules.words import fold

# People write the same few things over and over; the bound keeps memory flat all the same.
_REMEMBERED: Final = 4096
_SHOWN_LABEL: Final = 20

_Reader = Callable[[str], Any]


@dataclass(frozen=True, slots=True)
class Row:
    """A row as read: its problems, and the return to stage unless a required cell was bad."""

    line: int
    problems: tuple[Problem, ...]
    staged: SheetReturn | None
    weight_typed: str = ""


class RowReader:
    """Reads rows by a sheet's columns and a club's conventions and vocabulary."""

    def __init__(
        self, *, columns: Columns, conventions: Conventions, vocabulary: Vocabulary, today: date
    ) -> None:
        self._columns = columns
        self._vocabulary = vocabulary
        self._readers = _readers(conventions, vocabulary, today)
        self._read_peg = _remembered(self._find_peg)

    def read(self, line: int, cells: list[str]) -> Row:
        """Every bad cell of the row is a problem; a bad required one leaves nothing to stage."""
        problems: list[Problem] = []
        typed = self._typed(cells)
        values = {column: self._value(column, text, line, problems) for column, text in typed.items()}
        values["peg"] = self._peg(values.get("water"), typed["peg"], line, problems)
        if any(cell.strip() for cell in cells[self._columns.width :]):
            problem = CellProblem(
                "too_many_cells",
                f"a row has the header's {self._columns.width} cells; quote a cell that has a comma",
            )
            return Row(line, (Problem.of(line, "", cells[self._columns.width], problem),), None)
        if any(values[column] is None for column in REQUIRED_COLUMNS):
            return Row(line, tuple(problems), None)
        self._settle_session(values, typed, line, problems)
        self._settle_catch(values, typed, line, problems)
        return Row(line, tuple(problems), _staged(line, values, typed), typed["weight"])

    def _typed(self, cells: list[str]) -> dict[str, str]:
        return {
            column: cells[position].strip() if position < len(cells) else ""
            for column, position in self._columns.positions.items()
        }

    def _value(self, column: str, text: str, line: int, problems: list[Problem]) -> Any:
        if not text:
            if column in REQUIRED_COLUMNS:
                problems.append(self._problem(line, column, text, _missing(column)))
            return None
        reader = self._readers.get(column)
        return None if reader is None else self._taken(reader(text), line, column, text, problems)

    def _peg(self, water_id: int | None, text: str, line: int, problems: list[Problem]) -> int | None:
        # Without its water a peg means nothing; the water is a problem already.
        if not text or water_id is None:
            return None
        return self._taken(self._read_peg((water_id, text)), line, "peg", text, problems)  # type: ignore[no-any-return]

    def _taken(self, value: Any, line: int, column: str, text: str, problems: list[Problem]) -> Any:
        if isinstance(value, CellProblem):
            problems.append(self._problem(line, column, text, value))
            return None
        return value

    def _problem(self, line: int, column: str, text: str, problem: CellProblem) -> Problem:
        return Problem.of(line, self._columns.headers[column], text, problem)

    def _find_peg(self, place: tuple[int, str]) -> int:
        water_id, text = place
        found = self._vocabulary.pegs.get(water_id, {}).get(fold(text))
        if found is None:
            nearest = _nearest_pegs(text, self._vocabulary.peg_labels.get(water_id, ()))
            typed = parse.shown(text)[:_SHOWN_LABEL]
            raise CellProblem("peg_unknown", f"this water has no peg {typed}; {nearest}")
        return found

    def _settle_session(
        self, values: dict[str, Any], typed: Mapping[str, str], line: int, problems: list[Problem]
    ) -> None:
        """A session that is not (or not readably) given is a match exactly when it has a match code."""
        code = values.get("match") or ""
        kind = values.get("session") or (SessionKind.MATCH if code else SessionKind.PLEASURE)
        if code and kind == SessionKind.PLEASURE:
            problem = CellProblem(
                "match_code_on_pleasure", "a pleasure session has no match code; leave this cell empty"
            )
            problems.append(self._problem(line, "match", typed["match"], problem))
            code = ""
        values["session"], values["match"] = str(kind), code

    def _settle_catch(
        self, values: dict[str, Any], typed: Mapping[str, str], line: int, problems: list[Problem]
    ) -> None:
        """A catch that its weight contradicts is a problem, and the row lands without it."""
        if (catch := values.get("catch")) is None:
            return
        try:
            check_against(catch, values["weight"])
        except CellProblem as problem:
            problems.append(self._problem(line, "catch", typed["catch"], problem))
            values["catch"] = None


def _nearest_pegs(text: str, labels: Sequence[str]) -> str:
    """The labels before and after `text` in counting order."""
    if not labels:
        return "it has no pegs yet"
    place = bisect_left(labels, counting_order(text), key=counting_order)
    around = labels[max(place - 1, 0) : place + 1]
    return f"the nearest label{'s are' if len(around) > 1 else ' is'} {', '.join(around)}"


def _missing(column: str) -> CellProblem:
    return CellProblem(f"{column}_missing", "this cell is required; a row without it does not land")


def _remembered(read: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """`read`, its last answers kept; a problem is returned instead of raised so that it is kept too."""

    @lru_cache(maxsize=_REMEMBERED)
    def answer(text: Any) -> Any:
        try:
            return read(text)
        except CellProblem as problem:
            return problem

    return answer


def _readers(conventions: Conventions, vocabulary: Vocabulary, today: date) -> dict[str, _Reader]:
    readers: dict[str, _Reader] = {
        "date": lambda text: parse.read_date(text, conventions.date_order, today),
        "water": lambda text: parse.read_known(text, vocabulary.waters, "water"),
        "member": lambda text: _read_member(text, vocabulary.members),
        "session": lambda text: parse.read_session(text, conventions.session_words),
        "match": parse.read_match_code,
        "hours": parse.read_hours,
        "hook_bait": lambda text: parse.read_known(text, vocabulary.hook_baits, "hook_bait"),
        "distance": lambda text: parse.read_distance(text, conventions.distance_unit),
        "rig_type": lambda text: parse.read_known(text, vocabulary.rig_types, "rig_type"),
        "wind": lambda text: parse.read_wind(text, conventions.wind_words),
        "water_temperature": parse.read_water_temperature,
        "weight": lambda text: parse.read_weight(text, conventions),
        "catch": lambda text: read_catch(text, vocabulary.species),
        "notes": parse.read_notes,
    }
    return {column: _remembered(reader) for column, reader in readers.items()}


def _read_member(text: str, members: Known) -> int:
    found = members.ids.get(fold(text))
    if found is None:
        # The nearest number would be another person's: only the way of writing is shown.
        example = next((f", such as {number}" for number in members.names.values()), "")
        raise CellProblem(
            "member_unknown", f"no member has this number; write it as on the club's books{example}"
        )
    return found


def _staged(line: int, values: Mapping[str, Any], typed: Mapping[str, str]) -> SheetReturn:
    weight: WeightCell = values["weight"]
    weighing = weight.weighing
    catch: CatchCell | None = values.get("catch")
    nothing_caught = 0 if weight.outcome == Outcome.BLANK else None
    return SheetReturn(
        line=line,
        uid=uuid.uuid4(),
        sheet_key=sheet_key(
            day=values["date"],
            water_id=values["water"],
            peg_id=values["peg"],
            member_id=values["member"],
            session_kind=values["session"],
            match_code=values["match"],
        ),
        member_id=values["member"],
        water_id=values["water"],
        peg_id=values["peg"],
        match_code=values["match"],
        session_kind=values["session"],
        fished_on=values["date"],
        hours=values["hours"],
        outcome=str(weight.outcome),
        weight_g=weighing.weight_g if weighing else nothing_caught,
        weight_typed=typed["weight"][: parse.LONGEST_WEIGHT],
        weight_unit=str(weighing.unit) if weighing else "",
        weight_step=weighing.step if weighing else None,
        notes=values.get("notes") or "",
        hook_bait_id=values.get("hook_bait"),
        rig_type_id=values.get("rig_type"),
        distance_m=values.get("distance"),
        wind_force=values.get("wind"),
        water_temperature_c=values.get("water_temperature"),
        catch_lines=catch.as_json() if catch else "",
    )
