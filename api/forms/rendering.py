"""From an answer to a body in the form that was asked for."""

import importlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from django.conf import settings
from rest_framework.renderers import JSONRenderer

from api.forms.bodies import Body, body_of
from api.forms.charts.base import Chart
from api.forms.negotiation import Form, Shape
from api.forms.sheets import About, Sheet
from api.forms.vega.documents import document
from api.forms.width import Width
from clubdata.errors import Conflict, InvalidInput

# Loaded when a chart or a table is first asked for: their libraries weigh more than all the rest of the
# web process, and most processes answer in JSON only.
_DRAWING: Final = "api.forms.drawing.pictures"
_TABLES: Final = "api.forms.tables"
# The fonts that drawing finds are listed once, among our own files.
os.environ.setdefault("MPLCONFIGDIR", str(settings.VAR_DIR / "matplotlib"))
_PARQUET: Final = "api.forms.parquet"
#: What a workbook is dated by when no fit stands behind it.
_NO_FIT: Final = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Rendered:
    """An answer with its forms, each made when it is wanted. `data` is the JSON; `noun` names the file."""

    noun: str
    data: Any
    sheets: Callable[[], tuple[Sheet, ...]]
    chart: Callable[[], Chart]
    about: Callable[[], About]


def render(form: Form, answer: Rendered, *, sheet: str | None, width: Width) -> Body:
    """The answer's body in a form.

    :raises InvalidInput: there is no such sheet or chart.
    :raises Conflict: there is nothing to draw.
    """
    name = answer.noun
    match form.shape:
        case Shape.ANSWER:
            content = JSONRenderer().render(answer.data)
        case Shape.TABLES:
            content, name = _tables(form, answer, sheet)
        case Shape.CHART:
            content = _chart(form, answer.chart(), width)
    return body_of(content, content_type=form.content_type, file_name=f"{name}.{form.ending}")


def _tables(form: Form, answer: Rendered, sheet: str | None) -> tuple[bytes, str]:
    sheets = answer.sheets()
    if not sheets:
        raise Conflict("There are no tables: see the answer as JSON for why.", code="nothing_to_tabulate")
    if form.name == "xlsx":
        tables = importlib.import_module(_TABLES)
        return tables.to_workbook(sheets, answer.about(), made=_made(answer.data)), answer.noun
    one = sheets[0] if sheet is None else _named(sheets, sheet)
    if form.name == "csv":
        content = importlib.import_module(_TABLES).to_csv(one)
    else:
        content = importlib.import_module(_PARQUET).to_parquet(one)
    return content, f"{answer.noun}-{one.name}"


def _named(sheets: tuple[Sheet, ...], name: str) -> Sheet:
    for one in sheets:
        if one.name == name:
            return one
    known = ", ".join(one.name for one in sheets)
    raise InvalidInput(f"There is no such sheet; known: {known}.", field="sheet", code="no_such_sheet")


def _made(data: Any) -> datetime:
    fit = data.get("fit") or {}
    moment = fit.get("fitted_at")
    return datetime.fromisoformat(moment) if moment else _NO_FIT


def _chart(form: Form, chart: Chart, width: Width) -> bytes:
    if form.name == "vega":
        return JSONRenderer().render(document(chart, width))
    content: bytes = importlib.import_module(_DRAWING).picture(chart, form.name, width)
    return content
