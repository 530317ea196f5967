"""Small tables as CSV files."""

import importlib
import io
import json
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase

from api.forms.sheets import Column, Sheet

# Loaded with the first file that is asked for, as the tables of answers are.
_TABLES = "api.forms.tables"


Rows = Iterable[tuple[Any, ...]]


def csv_file(name: str, heads: Sequence[str], rows: Rows) -> HttpResponseBase:
    """A table to keep, personal: no cell of it can start a formula, no cache keeps it."""
    return _to_keep(_csv(name, heads, rows), f"{name}.csv", "text/csv; charset=utf-8")


def zipped_tables(name: str, tables: Mapping[str, tuple[Sequence[str], Rows]]) -> HttpResponseBase:
    """Tables to keep, a CSV file each, in one zip file; what is nested is JSON in its cell."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as folder:
        for table, (heads, rows) in tables.items():
            folder.writestr(f"{table}.csv", _csv(table, heads, (tuple(map(_flat, row)) for row in rows)))
    return _to_keep(packed.getvalue(), f"{name}.zip", "application/zip")


def _csv(name: str, heads: Sequence[str], rows: Rows) -> bytes:
    sheet = Sheet(name, tuple(Column(head, head) for head in heads), tuple(rows))
    body: bytes = importlib.import_module(_TABLES).to_csv(sheet)
    return body


def _flat(value: Any) -> Any:
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False)
    return value if value is None or isinstance(value, int | float | Decimal | date) else str(value)


def _to_keep(body: bytes, name: str, media_type: str) -> HttpResponseBase:
    return HttpResponse(
        body,
        content_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"},
    )
