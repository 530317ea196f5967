"""One parser a kind of cell: the text as typed in, its meaning out. Pure; nothing is guessed.

Every parser takes text without white space around it and raises `CellProblem` alone.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from difflib import SequenceMatcher
from typing import Final

from clubdata.errors import InvalidInput
from clubdata.intake.vocabulary import Known
from clubdata.intake.workbook import DATE_MARK
from clubdata.models import Outcome
from clubdata.models.returns import MOST_DISTANCE_M, MOST_HOURS
from clubdata.rules.conventions import Conventions, DateOrder, DistanceUnit
from clubdata.rules.described import has_control_characters
from clubdata.rules.units import (
    OUNCES_IN_A_POUND,
    Weighing,
    WeightNotUnderstood,
    metres_from_feet,
    parse_weight,
)
from clubdata.rules.words import fold
from clubdata.services.said_weights import without_mark

LONGEST_VALUE: Final = 200
LONGEST_NOTES: Final = 1000
LONGEST_MATCH_CODE: Final = 40
LONGEST_WEIGHT: Final = 40
EARLIEST_YEAR: Final = 1900

_MONTHS: Final = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip
_MONTH_NUMBERS: Final = {name[:length]: n for n, name in enumerate(_MONTHS, 1) for length in (3, len(name))}
_MONTH_NUMBERS_WITH_SEPT: Final = {**_MONTH_NUMBERS, "sept": 9}
_EXAMPLES: Final = {DateOrder.DAY_MONTH_YEAR: "31/12/2024", DateOrder.MONTH_DAY_YEAR: "12/31/2024"}
_YEAR_FIRST: Final = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")
_NUMBERS: Final = re.compile(r"([0-9]{1,2})([/.-])([0-9]{1,2})\2([0-9]{4})")
_NAMED_MONTH: Final = re.compile(r"([0-9]{1,2})([ /-])([a-z]+)\.?\2([0-9]{4})")
# As spreadsheets show a date that they made of '3-2' or '12-7-8'.
_DAY_AND_MONTH: Final = re.compile(
    rf"[0-9]{{1,2}}[ /-](?:{'|'.join(name[:3] for name in _MONTHS)})[a-z]*(?:[ /-][0-9]{{2}})?"
    rf"|(?:{'|'.join(name[:3] for name in _MONTHS)})[a-z]*[ /-][0-9]{{2}}"
)
_SPREADSHEETS_BEGIN: Final = 1900
_AMOUNT: Final = r"(-?[0-9]{1,9}(?:[.,][0-9]{1,2})?)"
_HOURS: Final = re.compile(rf"{_AMOUNT}\s*(?:h|hrs?|hours?)?")
_DISTANCE: Final = re.compile(rf"{_AMOUNT}\s*(m|metres?|meters?|ft|feet|foot|')?")
_WIND: Final = re.compile(r"(?:f|force|bft)?\s*([0-9]{1,3})")
_TEMPERATURE: Final = re.compile(rf"{_AMOUNT}\s*(?:°?\s*c)?")
_COLDEST_C, _WARMEST_C = Decimal(-2), Decimal(40)
_OUNCES_ALONE: Final = re.compile(r"([0-9]{1,6})\s*(?:ozs?|ounces?)")
_MAY_BE_A_WORD: Final = ("ambiguous_weight", "weight_not_understood")
_CENTIMETRE: Final = Decimal("0.01")
_TENTH: Final = Decimal("0.1")


class CellProblem(InvalidInput):
    """A cell that cannot be taken as it stands; the message says what would have been accepted."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message, code=code)


@dataclass(frozen=True, slots=True)
class WeightCell:
    """What a weight cell says: an outcome, and the weighing where a weight is known."""

    outcome: Outcome
    weighing: Weighing | None = None


def shown(text: str) -> str:
    """A typed value as it may stand in a report: cut to 200 characters, without control characters."""
    cut = text[:LONGEST_VALUE]
    return "".join("\ufffd" if has_control_characters(sign) else sign for sign in cut)


def read_date(text: str, order: DateOrder, today: date) -> date:
    """'2019-01-01', '01-Jan-2019', or '01/01/2019' in the club's order; not after `today`."""
    day = _as_date(fold(text).removeprefix(DATE_MARK), order)
    if day is None or day.year < EARLIEST_YEAR:
        raise CellProblem(
            "date_not_understood",
            f"write a day of the calendar, its year in full: {_EXAMPLES[order]} ({order.value}), "
            "2024-12-31 or 31-Dec-2024",
        )
    if day > today:
        raise CellProblem(
            "date_in_future", f"a session has happened: a date up to {today.isoformat()} is accepted"
        )
    return day


def _as_date(folded: str, order: DateOrder) -> date | None:
    if found := _YEAR_FIRST.fullmatch(folded):
        year, month, day = found[1], int(found[2]), int(found[3])
    elif found := _NUMBERS.fullmatch(folded):
        day, month, year = int(found[1]), int(found[3]), found[4]
        if order == DateOrder.MONTH_DAY_YEAR:
            day, month = month, day
    elif found := _NAMED_MONTH.fullmatch(folded):
        day, month, year = int(found[1]), _MONTH_NUMBERS_WITH_SEPT.get(found[3], 0), found[4]
    else:
        return None
    try:
        return date(int(year), month, day)
    except ValueError:
        return None


def _decimal(written: str) -> Decimal:
    return +Decimal(written.replace(",", "."))  # the plus turns -0 into 0


def read_hours(text: str) -> Decimal:
    """'5', '4.5', '5hrs': more than 0 and at most 48, in steps of a hundredth."""
    found = _HOURS.fullmatch(fold(text))
    if found is None:
        raise CellProblem(
            "hours_not_understood", "write the hours fished as a number, such as 5, 4.5 or 5hrs"
        )
    hours = _decimal(found[1])
    if not 0 < hours <= MOST_HOURS:
        raise CellProblem("hours_out_of_range", f"more than 0 and at most {MOST_HOURS} hours are accepted")
    return hours


def read_distance(text: str, unit: DistanceUnit) -> Decimal:
    """Metres to the centimetre from '38ft', '10.5m' or a number in the club's `unit`; 0 to 150 m."""
    found = _DISTANCE.fullmatch(fold(text))
    if found is None:
        raise CellProblem("distance_not_understood", "write metres or feet, such as 10.5m or 38ft")
    feet = found[2][0] in "f'" if found[2] else unit == DistanceUnit.FOOT
    amount = _decimal(found[1])
    distance_m = metres_from_feet(amount) if feet else amount
    if not 0 <= distance_m <= MOST_DISTANCE_M:
        raise CellProblem(
            "distance_out_of_range", f"0 to {MOST_DISTANCE_M} m (492 ft) from the bank are accepted"
        )
    return distance_m.quantize(_CENTIMETRE)


def read_wind(text: str, words: Mapping[str, int]) -> int:
    """Beaufort force from '6', 'F6', 'force 6' or one of the club's words."""
    folded = fold(text)
    if folded in words:
        return words[folded]
    found = _WIND.fullmatch(folded)
    if found is None or int(found[1]) > 12:
        raise CellProblem(
            "wind_not_understood",
            f"write a Beaufort force from 0 to 12, such as 4 or F4{_or_one_of(words)}",
        )
    return int(found[1])


def read_water_temperature(text: str) -> Decimal:
    """Degrees Celsius, -2 to 40, rounded to a tenth (a half to the even one)."""
    found = _TEMPERATURE.fullmatch(fold(text))
    if found is None:
        raise CellProblem("temperature_not_understood", "write degrees Celsius, such as 12 or 12.5")
    celsius = _decimal(found[1])
    if not _COLDEST_C <= celsius <= _WARMEST_C:
        raise CellProblem(
            "temperature_out_of_range", f"{_COLDEST_C} to {_WARMEST_C} degrees Celsius are accepted"
        )
    return celsius.quantize(_TENTH)


def read_session(text: str, words: Mapping[str, str]) -> str:
    """'match' or 'pleasure' from one of the club's words."""
    kind = words.get(fold(text))
    if kind is None:
        raise CellProblem("session_not_understood", f"write one of {', '.join(words)}")
    return kind


def read_match_code(text: str) -> str:
    """A match code as typed, with single spaces."""
    code = " ".join(text.split())
    if len(code) > LONGEST_MATCH_CODE or has_control_characters(code):
        raise CellProblem(
            "match_code_not_understood", f"a code of at most {LONGEST_MATCH_CODE} characters is accepted"
        )
    return code


def read_notes(text: str) -> str:
    """Free text of at most 1,000 characters."""
    if len(text) > LONGEST_NOTES or has_control_characters(text):
        raise CellProblem("notes_too_long", f"at most {LONGEST_NOTES} printable characters are accepted")
    return text


def read_weight(text: str, conventions: Conventions) -> WeightCell:
    """A weight, an estimate, or one of the club's words for a blank or for not having weighed.

    A zero with its unit ('0oz', '0-0') is a blank, since something was read off the scales; a bare 0 is
    one only where the club says so.
    """
    folded = fold(text)
    if _is_a_date(folded):
        raise CellProblem(
            "weight_became_date",
            "a spreadsheet has made a date of what was typed, as it does with 12-7-8 and 3-2: format the "
            "column as text and type the weight again, such as 12lb 7oz 8dr",
        )
    if folded in conventions.blank_words:
        return WeightCell(Outcome.BLANK)
    if folded in conventions.did_not_weigh_words:
        return WeightCell(Outcome.DID_NOT_WEIGH)
    if len(text) > LONGEST_WEIGHT:
        raise CellProblem("weight_not_understood", f"at most {LONGEST_WEIGHT} characters are accepted")
    bare = without_mark(folded, conventions)
    try:
        weighing = parse_weight(folded if bare is None else _ounces_carried(bare))
    except WeightNotUnderstood as problem:
        words = _weight_words(conventions) if problem.code in _MAY_BE_A_WORD else ""
        raise CellProblem(problem.code, problem.message + words) from None
    if weighing.weight_g:
        return WeightCell(Outcome.WEIGHED if bare is None else Outcome.ESTIMATED, weighing)
    if bare is not None or any(digit in folded for digit in "123456789"):
        raise CellProblem("weight_is_zero", f"a gram or more is a weight{_weight_words(conventions)}")
    return WeightCell(Outcome.BLANK)


def _is_a_date(folded: str) -> bool:
    """Whether a spreadsheet's date stands there: never a weight, whatever was typed before."""
    if folded.startswith(DATE_MARK) or _DAY_AND_MONTH.fullmatch(folded) or _NAMED_MONTH.fullmatch(folded):
        return True
    numbers, year_first = _NUMBERS.fullmatch(folded), _YEAR_FIRST.fullmatch(folded)
    # Spreadsheets know no day before 1900: '1000-0-0' is a thousand pounds.
    is_year = year_first is not None and int(year_first[1]) >= _SPREADSHEETS_BEGIN
    return is_year or (numbers is not None and numbers[2] != "-")


def _ounces_carried(estimate: str) -> str:
    """'16oz' as '1lb 0oz': a guess in ounces alone means what it says, though no scale shows sixteen."""
    found = _OUNCES_ALONE.fullmatch(estimate)
    return estimate if found is None else "{}lb {}oz".format(*divmod(int(found[1]), OUNCES_IN_A_POUND))


def _weight_words(conventions: Conventions) -> str:
    return (
        f"; for a blank: {', '.join(conventions.blank_words) or 'no word is set'}"
        f"; not weighed: {', '.join(conventions.did_not_weigh_words) or 'no word is set'}"
    )


def _or_one_of(words: Mapping[str, int]) -> str:
    return f", or one of {', '.join(words)}" if words else ""


def read_known(text: str, known: Known, kind: str) -> int:
    """The id of one of the club's own words. A miss names the nearest, as the club writes it."""
    folded = fold(text)
    found = known.ids.get(folded)
    if found is None:
        plain = kind.replace("_", " ")
        raise CellProblem(f"{kind}_unknown", f"this club has no such {plain}; {_nearest(folded, known)}")
    return found


def _nearest(folded: str, known: Known) -> str:
    if not known.ids:
        return "none is known yet"
    cut = folded[:60]
    nearest = max(known.ids, key=lambda word: SequenceMatcher(None, word, cut).ratio())
    return f"the nearest known is '{known.names[known.ids[nearest]]}'"
