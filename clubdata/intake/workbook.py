"""A spreadsheet workbook (.xlsx) as rows of text, streamed, within bounds; what it computes is not run.

A cell that holds a date is given as `the date 2008-07-12`, whatever its column: only the date column takes
that. A spreadsheet makes dates of weights such as 12-7-8 and 3-2 without asking, and what was typed is gone.
Entities are the parser's to refuse: expat 2.4.1 and later bounds their growth.
"""

import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from clubdata.intake.columns import SheetRefused

DATE_MARK: Final = "the date "
_ZIP_MARK: Final = b"PK\x03\x04"
# The container of older and of locked workbooks.
_COMPOUND_MARK: Final = b"\xd0\xcf\x11\xe0"
_LARGEST_BYTES: Final = 400 * 1024 * 1024
_MOST_COLUMNS: Final = 200
_LONGEST_CELL: Final = 131_072
# All that a damaged or hostile file makes the reader raise.
_BROKEN: Final = (
    zipfile.BadZipFile, zlib.error, InvalidFileException, ParseError,
    KeyError, ValueError, TypeError, IndexError, AttributeError, EOFError, OSError, NotImplementedError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WorkbookSheet:
    """The first sheet of a workbook: its header row, and about how many lines it has."""

    path: Path
    header: tuple[str, ...]
    line_count: int

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Line number as the spreadsheet shows it (the header is 1) and cells of each row with any text.

        Raises `SheetRefused` where the file is broken further on.
        """
        for line, cells in _lines(self.path):
            if line > 1 and any(cells):
                yield line, cells


def is_workbook(path: Path) -> bool:
    """Whether the file is a workbook, by its first bytes. Raises `SheetRefused` for an old or locked one."""
    with path.open("rb") as file:
        start = file.read(4)
    if start == _COMPOUND_MARK:
        raise SheetRefused(
            "This workbook is of an old kind or locked by a password: save it as .xlsx without, or as CSV.",
            code="workbook_locked",
        )
    return start == _ZIP_MARK


def open_workbook(path: Path) -> WorkbookSheet:
    """The first sheet. Raises `SheetRefused` for a file that is broken, empty or far too large inside."""
    try:
        with zipfile.ZipFile(path) as parts:
            inside = sum(part.file_size for part in parts.infolist())
    except _BROKEN:
        raise _broken() from None
    if inside > _LARGEST_BYTES:
        raise SheetRefused("This workbook is too large once unpacked.", code="workbook_too_large")
    lines = _lines(path)
    first = next(lines, None)
    if first is None or first[0] != 1 or not any(first[1]):
        raise SheetRefused(
            "The first row of the first sheet is empty: it takes the headers.", code="empty_sheet"
        )
    return WorkbookSheet(path, tuple(first[1]), sum(1 for _ in lines) + 1)


def _lines(path: Path) -> Iterator[tuple[int, list[str]]]:
    try:
        # By its content, not by its name.
        with path.open("rb") as file:
            book = load_workbook(file, read_only=True, data_only=True)
            sheet: Any = book.worksheets[0]
            # What a file says of its own extent may be anything.
            sheet.reset_dimensions()
            for line, values in enumerate(sheet.iter_rows(values_only=True), 1):
                yield line, _cells(values, line)
    except SheetRefused:
        raise
    except _BROKEN:
        raise _broken() from None


def _cells(values: tuple[Any, ...], line: int) -> list[str]:
    texts = [_text(value) for value in values]
    while texts and not texts[-1]:
        texts.pop()
    if len(texts) > _MOST_COLUMNS or any(len(text) > _LONGEST_CELL for text in texts):
        raise SheetRefused(
            f"Line {line} has more than {_MOST_COLUMNS} columns, or a cell that is far too long.",
            code="cell_too_long",
        )
    return texts


def _text(value: Any) -> str:
    """A cell as it would have been typed."""
    match value:
        case None:
            return ""
        case datetime() | date():
            return f"{DATE_MARK}{value:%Y-%m-%d}"
        case time():
            return value.isoformat(timespec="minutes")
        case float():
            return _number(value)
        case _:
            return str(value).strip()


def _number(value: float) -> str:
    """Without the noise of binary fractions: a spreadsheet shows 15 digits."""
    return f"{Decimal(f'{value:.15g}').normalize():f}"


def _broken() -> SheetRefused:
    return SheetRefused(
        "This workbook cannot be read: save it again as .xlsx, or as CSV.", code="not_a_workbook"
    )
