"""A table as a Parquet file.

Columns are laid out in memory as Apache Arrow's columnar format has them, from their buffers: the library's
own way from Python values loads pandas, which the web process is spared.
"""

import io
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from api.forms.sheets import Column, Kind, Sheet

_TYPES: Final = {
    Kind.TEXT: pa.string(),
    Kind.WHOLE: pa.int64(),
    Kind.NUMBER: pa.float64(),
    Kind.FLAG: pa.bool_(),
    Kind.DAY: pa.date32(),
    Kind.MOMENT: pa.timestamp("us", tz="UTC"),
}
#: Of the kinds whose cells take the same room.
_FIXED: Final = {Kind.WHOLE: "<i8", Kind.NUMBER: "<f8", Kind.DAY: "<i4", Kind.MOMENT: "<i8"}
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_DAY_0: Final = date(1970, 1, 1).toordinal()


def to_parquet(sheet: Sheet) -> bytes:
    """One table; title, unit and description of each column stand in its field's metadata."""
    kinds = sheet.kinds()
    fields = [field_of(column, kind) for column, kind in zip(sheet.columns, kinds, strict=True)]
    arrays = [array_of([row[place] for row in sheet.rows], kind) for place, kind in enumerate(kinds)]
    buffer = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), buffer)
    return buffer.getvalue()


def field_of(column: Column, kind: Kind) -> pa.Field:
    """A column's name and type, its title, unit and description beside."""
    said = {"title": column.title, "unit": column.unit, "description": column.description}
    return pa.field(column.name, _TYPES[kind], metadata=said)


def array_of(cells: Sequence[Any], kind: Kind) -> pa.Array:
    """Cells of one kind, None where there is none."""
    known = _bits([cell is not None for cell in cells])
    if kind is Kind.TEXT:
        data = _texts(cells)
    elif kind is Kind.FLAG:
        data = [_bits([bool(cell) for cell in cells])]
    else:
        numbers = np.array([0 if cell is None else _number(cell, kind) for cell in cells], _FIXED[kind])
        data = [pa.py_buffer(numbers.tobytes())]
    return pa.Array.from_buffers(_TYPES[kind], len(cells), [known, *data])


def _bits(flags: Sequence[bool]) -> pa.Buffer:
    """A bit a flag, the first one lowest."""
    return pa.py_buffer(np.packbits(np.array(flags, bool), bitorder="little").tobytes())


def _texts(cells: Sequence[Any]) -> list[pa.Buffer]:
    """Where each text begins and ends, and the texts one after another."""
    texts = [b"" if cell is None else str(cell).encode("utf-8", "replace") for cell in cells]
    ends = np.cumsum([0, *(len(text) for text in texts)], dtype="<i4")
    return [pa.py_buffer(ends.tobytes()), pa.py_buffer(b"".join(texts))]


def _number(cell: Any, kind: Kind) -> int | float:
    match kind:
        case Kind.DAY:
            return int(cell.toordinal()) - _DAY_0
        case Kind.MOMENT:
            since: timedelta = cell - _EPOCH
            return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds
        case Kind.WHOLE:
            return int(cell)
        case _:
            return float(cell)
