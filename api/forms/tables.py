"""Tables as CSV (RFC 4180) and as a workbook (ISO/IEC 29500).

A text never becomes a spreadsheet's formula: a workbook stores it as a string, and in CSV a text that
begins as a formula could gets an apostrophe before it (OWASP, CSV Injection). Numbers stay numbers.
"""

import csv
import io
from collections.abc import Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from numbers import Integral, Real
from typing import Any, Final

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from api.forms.plain import plain
from api.forms.sheets import About, Column, Sheet

#: What may open a formula, or be skipped before one.
_OPENS_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
#: A workbook's limits: of a sheet's name, and of a column's width as we set it, in characters.
_LONGEST_NAME = 31
_WIDEST = 60
_NOT_IN_A_NAME = str.maketrans(dict.fromkeys("[]:*?/\\", " "))


def to_csv(sheet: Sheet) -> bytes:
    """One table under its columns' names, UTF-8."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow([column.name for column in sheet.columns])
    writer.writerows([csv_cell(cell) for cell in row] for row in sheet.rows)
    return text.getvalue().encode()


def csv_cell(cell: Any) -> Any:
    """A cell as CSV has it: no text of it opens a formula."""
    match cell:
        case None:
            return ""
        case bool():
            return "true" if cell else "false"
        case datetime() | date():
            return cell.isoformat()
        case Integral():
            return int(cell)
        case Real() | Decimal():
            return repr(float(cell))
        case _:
            text = plain(str(cell))
            return f"'{text}" if text.startswith(_OPENS_FORMULA) else text


def to_workbook(sheets: Sequence[Sheet], about: About, *, made: datetime) -> bytes:
    """A sheet that says what this is, then one a table. `made` is when the fit behind it was."""
    book = Workbook(write_only=True)
    book.properties.creator = "clubdata"
    book.properties.title = plain(about.title)
    book.properties.created = book.properties.modified = made.astimezone(UTC).replace(tzinfo=None)
    _write_about(book, about)
    for sheet in sheets:
        _write_sheet(book, sheet)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _write_about(book: Workbook, about: About) -> None:
    page = book.create_sheet("about")
    page.column_dimensions["A"].width = 24
    page.column_dimensions["B"].width = 100
    page.append([workbook_cell(page, about.title, bold=True)])
    for name, value in about.lines:
        page.append([workbook_cell(page, name, bold=True), workbook_cell(page, value, wrap=True)])


def _write_sheet(book: Workbook, sheet: Sheet) -> None:
    page = book.create_sheet(plain(sheet.name).translate(_NOT_IN_A_NAME)[:_LONGEST_NAME])
    page.freeze_panes = "A2"
    heads = [head_of(one) for one in sheet.columns]
    for place, head in enumerate(heads):
        longest = max([len(head), *(_shown_width(row[place]) for row in sheet.rows)])
        page.column_dimensions[get_column_letter(place + 1)].width = min(longest + 2, _WIDEST)
    page.append([workbook_cell(page, head, bold=True) for head in heads])
    for row in sheet.rows:
        page.append([workbook_cell(page, cell) for cell in row])


def head_of(column: Column) -> str:
    """A column's title with its unit."""
    return f"{column.title} ({column.unit})" if column.unit else column.title


def _shown_width(cell: Any) -> int:
    return 10 if isinstance(cell, float) else len(str(cell))


def workbook_cell(page: Any, value: Any, *, bold: bool = False, wrap: bool = False) -> Any:
    """A cell whose text is a string whatever it begins with; a moment in UTC, for a workbook has no zones."""
    if isinstance(value, datetime) and value.tzinfo is not None:
        value = value.astimezone(UTC).replace(tzinfo=None)
    cell = WriteOnlyCell(page, value=plain(value) if isinstance(value, str) else value)
    if isinstance(value, str):
        cell.data_type = "s"
    if bold:
        cell.font = Font(bold=True)
    if wrap:
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    return cell
