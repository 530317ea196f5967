"""The widths that charts are drawn for."""

from enum import StrEnum


class Width(StrEnum):
    """A phone's screen held upright, or a page."""

    PHONE = "phone"
    PRINT = "print"

    @property
    def pixels(self) -> int:
        """In CSS pixels of 1/96 inch: 390, or the 170 mm between the margins of an A4 page."""
        return 390 if self is Width.PHONE else 643
