"""How a club's people write things down: the words and headers of its sheets, from its own description."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

from clubdata.rules.described import Described
from clubdata.rules.words import fold

DEFAULT_HEADERS: Final[Mapping[str, str]] = {
    "date": "Date",
    "water": "Water",
    "peg": "Peg",
    "member": "Member",
    "session": "Session",
    "match": "Match",
    "hours": "Hours",
    "hook_bait": "Hook bait",
    "distance": "Distance",
    "rig_type": "Rig type",
    "wind": "Wind",
    "water_temperature": "Water temperature",
    "weight": "Weight",
    "catch": "Catch",
    "notes": "Notes",
}
#: That a 4×14 takes about 0.4 g is common practice, no source; the others are from memory, unverified.
USUAL_FLOAT_LOADS_G: Final[Mapping[str, float]] = {
    "4x10": 0.1,
    "4x12": 0.2,
    "4x14": 0.4,
    "4x16": 0.5,
    "4x18": 0.75,
    "4x20": 1.0,
}
_STRONGEST_WIND: Final = 12
_SESSION_KINDS: Final = ("match", "pleasure")
_WEIGHT_WORDS: Final = ("blank", "did_not_weigh", "estimated")
_LONGEST_WORD: Final = 40


class DateOrder(StrEnum):
    """What 03/04/2024 means; a date that begins with its year or names its month needs no order."""

    DAY_MONTH_YEAR = "day-month-year"
    MONTH_DAY_YEAR = "month-day-year"


class DistanceUnit(StrEnum):
    """The unit of a distance that is written without one."""

    METRE = "m"
    FOOT = "ft"


@dataclass(frozen=True, slots=True)
class Conventions:
    """Folded words to what they mean, and each column's header as the club writes it.

    `estimate_marks` stand before or after a weight ('abt 7lb', '9lb est'), the longest first, so that
    a mark never hides behind its own beginning. `float_loads_g` are the codes of pole floats and what those
    that the club's people use take: makers differ twofold.
    """

    date_order: DateOrder = DateOrder.DAY_MONTH_YEAR
    distance_unit: DistanceUnit = DistanceUnit.METRE
    session_words: Mapping[str, str] = field(default_factory=lambda: {kind: kind for kind in _SESSION_KINDS})
    wind_words: Mapping[str, int] = field(default_factory=dict)
    blank_words: tuple[str, ...] = ("blank",)
    did_not_weigh_words: tuple[str, ...] = ("dnw", "did not weigh")
    estimate_marks: tuple[str, ...] = ()
    headers: Mapping[str, str] = field(default_factory=lambda: dict(DEFAULT_HEADERS))
    float_loads_g: Mapping[str, float] = field(default_factory=lambda: dict(USUAL_FLOAT_LOADS_G))


def read_conventions(raw: Any, place: str = "conventions") -> Conventions:
    """A club's conventions from JSON; what is left out has the default above. Raises `InvalidInput`."""
    known = {
        "date_order": _date_order,
        "distance_unit": _distance_unit,
        "session_words": _session_words,
        "wind_words": _wind_words,
        "weight_words": _weight_words,
        "headers": _headers,
        "float_loads_g": _float_loads,
    }
    values: dict[str, Any] = {}
    for name, entry in Described(raw, place).fields(optional=tuple(known)).items():
        values.update(known[name](entry))
    return Conventions(**values)


def _date_order(entry: Described) -> dict[str, Any]:
    return {"date_order": DateOrder(entry.one_of(tuple(DateOrder)))}


def _distance_unit(entry: Described) -> dict[str, Any]:
    return {"distance_unit": DistanceUnit(entry.one_of(tuple(DistanceUnit)))}


def _session_words(entry: Described) -> dict[str, Any]:
    meanings: dict[str, str] = {}
    for kind, words in entry.fields(optional=_SESSION_KINDS).items():
        _add_words(meanings, words, kind)
    return {"session_words": meanings}


def _wind_words(entry: Described) -> dict[str, Any]:
    forces: dict[str, int] = {}
    for word, force in entry.mapping().items():
        folded = fold(word)
        if not folded or len(folded) > _LONGEST_WORD:
            raise force.refusal(f"a word of 1 to {_LONGEST_WORD} characters is wanted")
        if folded in forces:
            raise force.refusal("this word is there twice")
        forces[folded] = force.integer(lowest=0, highest=_STRONGEST_WIND)
    return {"wind_words": forces}


def _weight_words(entry: Described) -> dict[str, Any]:
    meanings: dict[str, str] = {}
    for kind, words in entry.fields(optional=_WEIGHT_WORDS).items():
        _add_words(meanings, words, kind)
    grouped = {kind: [word for word, meant in meanings.items() if meant == kind] for kind in _WEIGHT_WORDS}
    return {
        "blank_words": tuple(grouped["blank"]),
        "did_not_weigh_words": tuple(grouped["did_not_weigh"]),
        "estimate_marks": tuple(sorted(grouped["estimated"], key=len, reverse=True)),
    }


def _add_words(meanings: dict[str, str], words: Described, meaning: str) -> None:
    for word in words.items():
        folded = fold(word.text(most=_LONGEST_WORD))
        if meanings.setdefault(folded, meaning) != meaning:
            raise word.refusal(f"this word already means {meanings[folded].replace('_', ' ')}")


def _float_loads(entry: Described) -> dict[str, Any]:
    loads = dict(USUAL_FLOAT_LOADS_G)
    for code, load in entry.mapping().items():
        folded = float_code(code)
        if not folded or len(folded) > _LONGEST_WORD:
            raise load.refusal(f"a code of 1 to {_LONGEST_WORD} characters is wanted")
        loads[folded] = float(load.number(lowest=0, highest=20, places=3))
        if not loads[folded]:
            raise load.refusal("a load above 0 g is wanted")
    return {"float_loads_g": loads}


def float_code(code: str) -> str:
    """A pole float's code folded: 4×14 and 4 x 14 are one."""
    return fold(code).replace("×", "x").replace(" ", "")


def _headers(entry: Described) -> dict[str, Any]:
    headers = dict(DEFAULT_HEADERS)
    owners: dict[str, str] = {}
    for column, header in entry.fields(optional=tuple(DEFAULT_HEADERS)).items():
        headers[column] = header.text(most=60)
        if owners.setdefault(fold(headers[column]), column) != column:
            raise header.refusal(f"this header already stands for {owners[fold(headers[column])]}")
    if owners.get(fold(headers["catch"]), "catch") != "catch":
        # A club that heads another column so, its weights perhaps, has no such column.
        del headers["catch"]
    return {"headers": headers}
