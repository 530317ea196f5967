"""What a water's own rules do not allow, from the club's description (JSON)."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

from clubdata.rules.described import Described
from clubdata.rules.words import fold

_LONGEST_WORD: Final = 60
_MOST_RODS: Final = 4
#: The field of a water's rules, and the kind of the club's words that it names.
WORDS: Final[Mapping[str, str]] = {
    "methods_not_allowed": "methods",
    "hook_baits_not_allowed": "hook_baits",
    "feeds_not_allowed": "feeds",
}


@dataclass(frozen=True, slots=True)
class WaterRules:
    """Names of the club's words that may not be used, how many rods, and whether it is fished by night.

    None is a rule that the club has not written down.
    """

    hook_baits_not_allowed: tuple[str, ...] = ()
    feeds_not_allowed: tuple[str, ...] = ()
    methods_not_allowed: tuple[str, ...] = ()
    most_rods: int | None = None
    night_fishing: bool | None = None

    def plain(self) -> dict[str, Any]:
        """As JSON values, every rule named."""
        return {name: list(value) if isinstance(value, tuple) else value for name, value in _items(self)}


def read_water_rules(raw: Any, place: str = "rules") -> WaterRules:
    """A water's rules from JSON; what is left out is not a rule. Raises `InvalidInput`."""
    entries = Described(raw, place).fields(optional=(*WORDS, "most_rods", "night_fishing"))
    values: dict[str, Any] = {name: _words(entries[name]) for name in WORDS if name in entries}
    if "most_rods" in entries:
        values["most_rods"] = entries["most_rods"].integer(lowest=1, highest=_MOST_RODS)
    if "night_fishing" in entries:
        values["night_fishing"] = entries["night_fishing"].truth()
    return WaterRules(**values)


def is_among(word: str, words: tuple[str, ...]) -> bool:
    """Whether a word is one of these, in whichever case."""
    return fold(word) in {fold(one) for one in words}


def _items(rules: WaterRules) -> list[tuple[str, Any]]:
    return list(asdict(rules).items())


def _words(entry: Described) -> tuple[str, ...]:
    found: dict[str, str] = {}
    for item in entry.items():
        word = item.text(most=_LONGEST_WORD)
        if fold(word) in found:
            raise item.refusal("this word is there twice")
        found[fold(word)] = word
    return tuple(found.values())
