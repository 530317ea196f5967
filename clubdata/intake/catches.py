"""The catch cell: what was caught of each species, 'roach 3-2-0; bream 9-0-0'. Pure; nothing is guessed."""

import json
from dataclasses import dataclass
from typing import Final

from clubdata.intake.cells import CellProblem, WeightCell, read_known
from clubdata.intake.vocabulary import Known
from clubdata.models import Outcome
from clubdata.rules.units import WeightNotUnderstood, parse_weight
from clubdata.rules.words import fold

LONGEST_CATCH: Final = 500
_EXAMPLE: Final = "roach 3-2-0; bream 9-0-0"


@dataclass(frozen=True, slots=True)
class CatchCell:
    """Pairs of a species' id and grams, in the order written; each species once."""

    lines: tuple[tuple[int, int], ...]

    def as_json(self) -> str:
        """As it is staged; empty for nothing."""
        return json.dumps(self.lines) if self.lines else ""


def read_catch(text: str, species: Known) -> CatchCell:
    """Species and weights, parted by semicolons; a weight is written as in the weight column.

    :raises CellProblem: an unknown species, one named twice, or a weight that cannot be read or is zero.
    """
    if len(text) > LONGEST_CATCH:
        raise CellProblem("catch_not_understood", f"at most {LONGEST_CATCH} characters are accepted")
    lines = tuple(_line(" ".join(item.split()), species) for item in text.split(";") if item.strip())
    if len({species_id for species_id, _ in lines}) < len(lines):
        raise CellProblem("species_twice", f"write each species once, such as {_EXAMPLE}")
    return CatchCell(lines)


def _line(item: str, species: Known) -> tuple[int, int]:
    """A species and its grams; the name is the longest beginning that the club knows, as in 'F1 2-0-0'."""
    words = item.split(" ")
    for end in range(len(words) - 1, 0, -1):
        if fold(" ".join(words[:end])) in species.ids:
            return species.ids[fold(" ".join(words[:end]))], _grams(" ".join(words[end:]))
    first_number = next((at for at, word in enumerate(words) if word[:1].isdigit()), len(words))
    name = " ".join(words[:first_number])
    if not name or fold(item) in species.ids:
        raise CellProblem(
            "catch_not_understood", f"write species and weights, parted by semicolons, such as {_EXAMPLE}"
        )
    read_known(name, species, "species")
    raise AssertionError("a known name would have been found as a beginning")


def _grams(typed: str) -> int:
    """:raises CellProblem: not a weight, or none above zero."""
    try:
        weight_g = parse_weight(fold(typed)).weight_g
    except WeightNotUnderstood as problem:
        raise CellProblem(f"catch_{problem.code}", problem.message) from None
    if not weight_g:
        raise CellProblem("catch_weight_is_zero", f"a gram or more is a weight, as in {_EXAMPLE}")
    return weight_g


def check_against(catch: CatchCell, weight: WeightCell) -> None:
    """A blank has no catch, and no weighed total is outweighed; each line was rounded to a gram of its own.

    :raises CellProblem: otherwise.
    """
    if catch.lines and weight.outcome == Outcome.BLANK:
        raise CellProblem("catch_on_blank", "a blank caught nothing; leave this cell empty")
    total_g = sum(weight_g for _, weight_g in catch.lines)
    if (
        weight.outcome == Outcome.WEIGHED
        and weight.weighing is not None
        and total_g > weight.weighing.weight_g + len(catch.lines)
    ):
        raise CellProblem(
            "catch_more_than_total",
            f"together these weigh {total_g:,} g, more than the total of {weight.weighing.weight_g:,} g",
        )
