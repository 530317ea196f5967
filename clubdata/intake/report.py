"""What an import says about a sheet: its counts, its problems, the matches first seen in it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any, Final, Self

from clubdata.intake.cells import CellProblem, shown
from clubdata.models import Outcome

# A report is read by people and kept in one row: beyond this many, problems are counted but not listed.
MOST_LISTED: Final = 2_000
_LONGEST_MESSAGE: Final = 400


@dataclass(frozen=True, slots=True)
class Problem:
    """One cell that was not taken: where it is, what it says, and what would have been accepted."""

    line: int
    column: str
    value: str
    code: str
    message: str

    @classmethod
    def of(cls, line: int, column: str, typed: str, problem: CellProblem) -> Self:
        return cls(line, column, shown(typed), problem.code, problem.message[:_LONGEST_MESSAGE])


@dataclass(frozen=True, slots=True)
class NewMatch:
    """A match that this sheet is the first to name."""

    code: str
    water: str
    held_on: date


@dataclass(slots=True)
class Tally:
    """Counts of a sheet as it is read; `problems` lists the first ones only."""

    rows_read: int = 0
    landed: int = 0
    refused: int = 0
    duplicates: int = 0
    problem_count: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    problems: list[Problem] = field(default_factory=list)

    def note(self, problems: Sequence[Problem]) -> None:
        self.problem_count += len(problems)
        if room := MOST_LISTED - len(self.problems):
            self.problems.extend(problems[:room])

    def land(self, outcome: str) -> None:
        self.landed += 1
        self.outcomes[outcome] += 1

    def take_back(self, outcome: str, *, differs: bool) -> None:
        """A row that was to land but that another import landed first."""
        self.landed -= 1
        self.outcomes[outcome] -= 1
        if differs:
            self.refused += 1
        else:
            self.duplicates += 1


def write_report(
    *,
    club_slug: str,
    tally: Tally,
    created: Sequence[NewMatch],
    ignored_columns: Sequence[str],
    dry_run: bool,
) -> dict[str, Any]:
    """The report as JSON. `rows_read` is landed + refused + duplicates."""
    return {
        "dry_run": dry_run,
        "rows_read": tally.rows_read,
        "landed": tally.landed,
        "refused": tally.refused,
        "duplicates": tally.duplicates,
        "blanks": tally.outcomes[Outcome.BLANK],
        "did_not_weigh": tally.outcomes[Outcome.DID_NOT_WEIGH],
        "estimated": tally.outcomes[Outcome.ESTIMATED],
        "created_count": len(created),
        "created": [
            {"club": club_slug, "code": match.code, "water": match.water, "date": match.held_on.isoformat()}
            for match in created
        ],
        "problem_count": tally.problem_count,
        "problems": [asdict(problem) for problem in sorted(tally.problems, key=lambda one: one.line)],
        "ignored_columns": list(ignored_columns),
    }
