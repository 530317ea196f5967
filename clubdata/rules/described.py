"""Reading a described thing (JSON); what is wrong is named by its place: `waters[1].pegs[3].depth_cm`."""

import unicodedata
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from clubdata.errors import InvalidInput

_MOST_ITEMS: Final = 20_000


def has_control_characters(text: str) -> bool:
    """Characters that no spreadsheet shows and some databases refuse; a line break is none."""
    return any(unicodedata.category(sign) == "Cc" and sign not in "\n\r\t" for sign in text)


@dataclass(frozen=True, slots=True)
class Described:
    """A value and its place in the description. Every reader raises `InvalidInput` (`bad_description`)."""

    value: Any
    place: str = ""

    def refusal(self, wanted: str) -> InvalidInput:
        return InvalidInput(
            f"{self.place or 'the description'}: {wanted}", field=self.place, code="bad_description"
        )

    def fields(
        self, *, required: Collection[str] = (), optional: Collection[str] = ()
    ) -> "dict[str, Described]":
        """An object's entries by name; a null counts as left out, an unknown name is refused."""
        entries = self._object()
        for name in entries:
            if name not in required and name not in optional:
                known = ", ".join([*required, *optional])
                raise self._inside(name).refusal(f"is not known here; known are {known}")
        for name in required:
            if entries.get(name) is None:
                raise self._inside(name).refusal("is missing")
        return {name: self._inside(name) for name, value in entries.items() if value is not None}

    def mapping(self) -> "dict[str, Described]":
        """An object whose names are the writer's own."""
        return {name: self._inside(name) for name in self._object()}

    def items(self) -> "list[Described]":
        if not isinstance(self.value, list) or len(self.value) > _MOST_ITEMS:
            raise self.refusal(f"a list of at most {_MOST_ITEMS} is wanted")
        return [Described(value, f"{self.place}[{index}]") for index, value in enumerate(self.value)]

    def text(self, *, most: int, blank: bool = False) -> str:
        """Text without white space around it, of at most `most` characters."""
        if not isinstance(self.value, str):
            raise self.refusal("text is wanted")
        text = self.value.strip()
        if not text and not blank:
            raise self.refusal("text is wanted, not an empty cell")
        if len(text) > most or has_control_characters(text):
            raise self.refusal(f"at most {most} printable characters are wanted")
        return text

    def one_of(self, choices: Collection[str]) -> str:
        if not isinstance(self.value, str) or self.value not in choices:
            raise self.refusal(f"one of {', '.join(choices)} is wanted")
        return self.value

    def integer(self, *, lowest: int, highest: int) -> int:
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            raise self.refusal("a whole number is wanted")
        if not lowest <= self.value <= highest:
            raise self.refusal(f"a whole number from {lowest} to {highest} is wanted")
        return self.value

    def number(self, *, lowest: int, highest: int, places: int) -> Decimal:
        """A number rounded to `places` decimals, a half to the even one."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.refusal("a number is wanted")
        # A comparison with NaN is false, so that it is refused too.
        if not lowest <= self.value <= highest:
            raise self.refusal(f"a number from {lowest} to {highest} is wanted")
        return round(Decimal(str(self.value)), places)

    def truth(self) -> bool:
        if not isinstance(self.value, bool):
            raise self.refusal("true or false is wanted")
        return self.value

    def day(self) -> date:
        try:
            return date.fromisoformat(self.text(most=10))
        except ValueError:
            raise self.refusal("a date such as 2024-11-04 is wanted") from None

    def _object(self) -> dict[str, Any]:
        if not isinstance(self.value, dict) or len(self.value) > _MOST_ITEMS:
            raise self.refusal("an object with named entries is wanted")
        return self.value

    def _inside(self, name: str) -> "Described":
        return Described(self._object().get(name), f"{self.place}.{name}" if self.place else name)
