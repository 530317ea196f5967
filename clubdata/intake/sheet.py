"""A club's file, CSV or workbook, as rows of text, streamed: memory does not grow with its length."""

import codecs
import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from clubdata.intake.columns import SheetRefused
from clubdata.intake.workbook import WorkbookSheet, is_workbook, open_workbook

_BLOCK_BYTES: Final = 1 << 16
_DELIMITERS: Final = (",", ";")
_UTF_16_MARKS: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A readable file: how it is written, its header row, and how many lines of text it has."""

    path: Path
    encoding: str
    delimiter: str
    header: tuple[str, ...]
    line_count: int

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Line number as a spreadsheet shows it (the header is 1) and cells of each row with any text.

        Raises `SheetRefused` where a cell is too long or what follows is not CSV.
        """
        reader = _records(self.path, self.encoding, self.delimiter)
        next(reader)
        for line, cells in reader:
            if any(cell and not cell.isspace() for cell in cells):
                yield line, cells


def open_sheet(path: Path) -> Sheet | WorkbookSheet:
    """A workbook's first sheet, or a text file: its encoding (UTF-8, else Windows-1252) and delimiter found.

    Raises `SheetRefused` for a file that is missing, empty or not text.
    """
    try:
        if is_workbook(path):
            return open_workbook(path)
        encoding, line_count = _encoding(path)
    except OSError:
        raise SheetRefused("There is no such file to read.", code="no_such_file") from None
    # The header names no numbers, so the delimiter that splits it more is the file's own.
    header, delimiter = max(
        ((_header(path, encoding, delimiter), delimiter) for delimiter in _DELIMITERS),
        key=lambda candidate: len(candidate[0]),
    )
    return Sheet(path, encoding, delimiter, header, line_count)


def _encoding(path: Path) -> tuple[str, int]:
    decoders = {name: codecs.getincrementaldecoder(name)() for name in ("utf-8-sig", "cp1252")}
    lines = 0
    with path.open("rb") as file:
        for block in iter(lambda: file.read(_BLOCK_BYTES), b""):
            if (lines == 0 and block.startswith(_UTF_16_MARKS)) or b"\0" in block:
                raise SheetRefused(
                    "This is not a text file: save the sheet as CSV in UTF-8.", code="not_text"
                )
            lines += block.count(b"\n")
            for name in list(decoders):
                if not _decodes(decoders[name], block):
                    del decoders[name]
    if "utf-8-sig" in decoders and not _decodes(decoders["utf-8-sig"], b"", final=True):
        del decoders["utf-8-sig"]
    if not decoders:
        raise SheetRefused(
            "The file is neither UTF-8 nor Windows-1252: save the sheet as CSV in UTF-8.", code="not_text"
        )
    return next(iter(decoders)), lines


def _decodes(decoder: codecs.IncrementalDecoder, block: bytes, *, final: bool = False) -> bool:
    try:
        decoder.decode(block, final)
    except UnicodeDecodeError:
        return False
    return True


def _header(path: Path, encoding: str, delimiter: str) -> tuple[str, ...]:
    for _, cells in _records(path, encoding, delimiter):
        return tuple(cells)
    raise SheetRefused("The file is empty.", code="empty_sheet")


def _records(path: Path, encoding: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Records counted as a spreadsheet counts its rows: a quoted line break does not begin a new one."""
    with path.open(encoding=encoding, newline="") as file:
        line = 0
        try:
            for line, cells in enumerate(csv.reader(file, delimiter=delimiter), 1):
                yield line, cells
        except csv.Error as error:
            raise _refusal(error, line) from None


def _refusal(error: csv.Error, line: int) -> SheetRefused:
    # The module has one kind of error for everything; its words alone tell them apart.
    if "field limit" in str(error):
        return SheetRefused(
            f"After line {line} a cell is longer than {csv.field_size_limit():,} characters: shorten it, or "
            "look for a quotation mark that nothing closes.",
            code="cell_too_long",
        )
    return SheetRefused(
        f"After line {line} the file cannot be read as CSV: save the sheet again as CSV in UTF-8.",
        code="not_csv",
    )
