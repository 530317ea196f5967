"""Tables of any length: written row by row, so that memory does not grow with them."""

import csv
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import IO, Any, Final

import pyarrow as pa
import pyarrow.parquet as pq
from openpyxl import Workbook

from api.forms.parquet import array_of, field_of
from api.forms.sheets import Column, Kind
from api.forms.tables import csv_cell, head_of, workbook_cell

Row = tuple[Any, ...]
_ROWS_AT_ONCE: Final = 2_000


class _Line:
    """What the CSV writer writes to: it gives back the line."""

    def write(self, text: str) -> str:
        return text


def csv_lines(columns: Sequence[Column], rows: Iterable[Row]) -> Iterator[bytes]:
    """RFC 4180 in UTF-8, some thousand rows at a time; no text of it opens a formula."""
    writer = csv.writer(_Line())
    yield writer.writerow([column.name for column in columns]).encode()
    rest = iter(rows)
    while some := list(islice(rest, _ROWS_AT_ONCE)):
        yield "".join(writer.writerow([csv_cell(cell) for cell in row]) for row in some).encode()


def workbook_file(name: str, columns: Sequence[Column], rows: Iterable[Row]) -> IO[bytes]:
    """A workbook of one sheet in a file that goes when it is closed; its reading begins at the start."""
    book = Workbook(write_only=True)
    page = book.create_sheet(name)
    page.freeze_panes = "A2"
    page.append([workbook_cell(page, head_of(column), bold=True) for column in columns])
    for row in rows:
        page.append([workbook_cell(page, cell) for cell in row])
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
    book.save(file)
    file.seek(0)
    return file


def parquet_file(columns: Sequence[Column], rows: Iterable[Row]) -> IO[bytes]:
    """A Parquet file in row groups, as `workbook_file`. Every column must say its kind."""
    schema = pa.schema([field_of(column, column.kind or Kind.TEXT) for column in columns])
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
    rest = iter(rows)
    with pq.ParquetWriter(file, schema) as writer:
        while some := list(islice(rest, _ROWS_AT_ONCE)):
            arrays = [
                array_of([row[place] for row in some], column.kind or Kind.TEXT)
                for place, column in enumerate(columns)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
    file.seek(0)
    return file
