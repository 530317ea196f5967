"""Reading a whole sheet: what lands, what is refused, what stands recorded already. Writes nothing."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from itertools import islice
from pathlib import Path
from typing import Final

from clubdata.intake.cells import CellProblem
from clubdata.intake.columns import Columns, find_columns
from clubdata.intake.ledger import Ledger, Said
from clubdata.intake.report import NewMatch, Problem, Tally
from clubdata.intake.rows import Row, RowReader
from clubdata.intake.sheet import Sheet, open_sheet
from clubdata.intake.staging import SheetReturn
from clubdata.intake.vocabulary import load_vocabulary
from clubdata.intake.workbook import WorkbookSheet
from clubdata.models import Club, Match, Outcome, Return, Water
from clubdata.rules.conventions import read_conventions
from clubdata.rules.units import format_pounds_ounces

ROWS_AT_ONCE: Final = 1_000


@dataclass(frozen=True, slots=True)
class Chunk:
    """The rows to land out of the next thousand, and the last line that was read."""

    rows: Sequence[SheetReturn]
    line: int


@dataclass(slots=True)
class Examination:
    """One pass over one club's sheet. Iterate `chunks()` to its end, then read `tally` and `created()`."""

    club: Club
    sheet: Sheet | WorkbookSheet
    columns: Columns
    reader: RowReader
    ledger: Ledger
    tally: Tally = field(default_factory=Tally)

    def chunks(self) -> Iterator[Chunk]:
        rows = self.sheet.rows()
        while some := list(islice(rows, ROWS_AT_ONCE)):
            read = [self.reader.read(line, cells) for line, cells in some]
            recorded = self._recorded([row.staged.sheet_key for row in read if row.staged])
            landing = [row.staged for row in read if self._lands(row, recorded) and row.staged]
            yield Chunk(landing, some[-1][0])

    def created(self) -> list[NewMatch]:
        names = dict(Water.objects.filter(club=self.club).values_list("pk", "name"))
        return [NewMatch(code, names[water_id], day) for code, water_id, day in self.ledger.new_matches()]

    def refuse_differing(self, line: int, typed: str, said: Said, recorded: Said) -> None:
        """Note a row whose session is recorded otherwise; `typed` is its weight."""
        same_weight = (said.outcome, said.weight_g) == (recorded.outcome, recorded.weight_g)
        column, value = ("hours", _plain(said.hours)) if same_weight else ("weight", typed)
        self.tally.note([self._problem(line, column, value, _differs(recorded))])

    def _recorded(self, keys: Sequence[str]) -> dict[str, Said]:
        # A removed one is known too: its row in a sheet does not bring it back.
        found = Return.with_removed.filter(club=self.club, sheet_key__in=keys)
        rows = found.values_list("sheet_key", "outcome", "weight_g", "hours")
        return {key: Said(*said) for key, *said in rows}

    def _lands(self, row: Row, recorded: dict[str, Said]) -> bool:
        self.tally.rows_read += 1
        self.tally.note(row.problems)
        staged = row.staged
        if staged is None:
            self.tally.refused += 1
            return False
        said = Said(staged.outcome, staged.weight_g, staged.hours)
        earlier = recorded.get(staged.sheet_key) or self.ledger.seen(staged.sheet_key)
        if earlier is None:
            self.ledger.remember(staged.sheet_key, said)
            self._settle_match(staged)
            self.tally.land(staged.outcome)
            return True
        if earlier == said:
            self.tally.duplicates += 1
        else:
            self.tally.refused += 1
            self.refuse_differing(row.line, row.weight_typed, said, earlier)
        return False

    def _settle_match(self, staged: SheetReturn) -> None:
        """Give the row its match under the code's first spelling; none if the code means another day."""
        if not staged.match_code:
            return
        typed = staged.match_code
        code, water_id, day = self.ledger.match(typed, staged.water_id, staged.fished_on)
        if (water_id, day) == (staged.water_id, staged.fished_on):
            staged.match_code = code
            return
        staged.match_code = ""
        problem = CellProblem(
            "match_conflict",
            f"this code stands for a match on {day.isoformat()}"
            f"{'' if water_id == staged.water_id else ' on another water'}; a code is one day on one water",
        )
        self.tally.note([self._problem(staged.line, "match", typed, problem)])

    def _problem(self, line: int, column: str, typed: str, problem: CellProblem) -> Problem:
        return Problem.of(line, self.columns.headers[column], typed, problem)


def _plain(hours: Decimal | None) -> str:
    return "" if hours is None else f"{hours.normalize():f}"


def _differs(recorded: Said) -> CellProblem:
    said = str(Outcome(recorded.outcome).label)
    if recorded.weight_g:
        said = f"{said} {recorded.weight_g} g ({format_pounds_ounces(recorded.weight_g)})"
    if recorded.hours is not None:
        said = f"{said} in {_plain(recorded.hours)} h"
    return CellProblem(
        "differs",
        f"this session is recorded as {said}; a sheet changes nothing that is recorded: "
        "ask the secretary which is right",
    )


def begin(*, club: Club, path: Path, ledger: Ledger, today: date) -> Examination:
    """Open a sheet and match its columns. Raises `SheetRefused` or, for bad conventions, `InvalidInput`."""
    conventions = read_conventions(club.conventions)
    sheet = open_sheet(path)
    columns = find_columns(sheet.header, conventions.headers)
    reader = RowReader(
        columns=columns, conventions=conventions, vocabulary=load_vocabulary(club), today=today
    )
    return Examination(club=club, sheet=sheet, columns=columns, reader=reader, ledger=ledger)


def open_ledger(club: Club) -> Ledger:
    """A ledger that knows the club's recorded matches."""
    known = Match.objects.filter(club=club).values_list("code", "water_id", "held_on")
    return Ledger(known.iterator())
