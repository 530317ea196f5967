"""Small tables as CSV files."""

import importlib
from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse
from django.http.response import HttpResponseBase

from api.forms.sheets import Column, Sheet

# Loaded with the first file that is asked for, as the tables of answers are.
_TABLES = "api.forms.tables"


def csv_file(name: str, heads: Sequence[str], rows: Iterable[tuple[Any, ...]]) -> HttpResponseBase:
    """A table to keep, personal: no cell of it can start a formula, no cache keeps it."""
    sheet = Sheet(name, tuple(Column(head, head) for head in heads), tuple(rows))
    body: bytes = importlib.import_module(_TABLES).to_csv(sheet)
    return HttpResponse(
        body,
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{name}.csv"',
            "Cache-Control": "no-store",
        },
    )
