"""The returns as a file: every one that the list would show, row by row."""

import importlib
from collections.abc import Iterator
from typing import IO, Any

from django.db.models import QuerySet
from django.http import FileResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from api.forms.negotiation import CSV, PARQUET, XLSX, Form, Shape
from api.forms.sheets import Column, Kind
from api.serializers.returns import ReturnQuery
from api.views.base import ClubView
from api.views.returns import wanted_returns
from clubdata.models import Conditions, Outcome, Return, SessionPart
from clubdata.services.members import Membership
from clubdata.services.returns import sees_in_full, with_children

ARCHIVE = Form("archive", "application/zip", Shape.TABLES, "zip")
EXPORTS = {form.name: form for form in (CSV, XLSX, PARQUET, ARCHIVE)}
_RETURNS_AT_ONCE = 500
# Loaded with the first file that is asked for, as the tables of answers are.
_STREAMS = "api.forms.streams"
_ARCHIVES = "api.forms.archive"

COLUMNS = (
    Column("uid", "Return", kind=Kind.TEXT),
    Column("version", "Version", kind=Kind.WHOLE),
    Column("fished_on", "Day", kind=Kind.DAY),
    Column("started_at", "Begun", kind=Kind.TEXT),
    Column("water", "Water", kind=Kind.TEXT),
    Column("peg", "Peg", kind=Kind.TEXT),
    Column("member", "Member", kind=Kind.TEXT),
    Column("session_kind", "Session", kind=Kind.TEXT),
    Column("match", "Match", kind=Kind.TEXT),
    Column("hours", "Hours", "h", kind=Kind.NUMBER),
    Column("rods", "Rods", kind=Kind.WHOLE),
    Column("roved", "Roved", kind=Kind.FLAG),
    Column("guest", "Guest", kind=Kind.FLAG),
    Column("outcome", "Outcome", kind=Kind.TEXT),
    Column("weight_g", "Weight", "g", "Of the session; on its first part alone.", Kind.WHOLE),
    Column("weight_typed", "Weight as typed", kind=Kind.TEXT),
    Column("fish_count", "Fish", kind=Kind.WHOLE),
    Column("part", "Part", "", "A session of several parts has a row for each.", Kind.WHOLE),
    Column("method", "Method", kind=Kind.TEXT),
    Column("hook_bait", "Hook bait", kind=Kind.TEXT),
    Column("feed", "Feed", kind=Kind.TEXT),
    Column("rig_type", "Rig type", kind=Kind.TEXT),
    Column("distance_m", "Distance", "m", kind=Kind.NUMBER),
    Column("part_hours", "Hours of the part", "h", kind=Kind.NUMBER),
    Column("part_weight_g", "Weight of the part", "g", kind=Kind.WHOLE),
    Column("water_temperature_c", "Water temperature", "°C", kind=Kind.NUMBER),
    Column("wind_force", "Wind", "Beaufort", kind=Kind.WHOLE),
    Column("filled", "Filled in", "", "Weather that nobody typed: what, and whose.", Kind.TEXT),
    Column("source", "Source", kind=Kind.TEXT),
    Column("entered_at", "Entered", kind=Kind.MOMENT),
    Column("notes", "Notes", "", "Empty where they are not yours to read.", Kind.TEXT),
)


class ExportQuery(ReturnQuery):
    """What narrows the list narrows the file; a file has no pages."""

    format = serializers.ChoiceField(choices=list(EXPORTS), default=CSV.name)

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]
        paged = {"cursor", "page_size"}
        return {name: field for name, field in super().get_fields().items() if name not in paged}


class ExportView(ClubView):
    """Returns as a file."""

    query = {"GET": ExportQuery}

    def perform_content_negotiation(self, _request: Request, force: bool = False) -> tuple[Any, str]:  # noqa: ARG002
        """Problems are JSON; the file's own form is the parameter's to say."""
        return JSONRenderer(), JSONRenderer.media_type

    @extend_schema(
        operation_id="returns_export",
        responses={
            (200, CSV.media_type): OpenApiTypes.STR,
            (200, XLSX.media_type): OpenApiTypes.BINARY,
            (200, PARQUET.media_type): OpenApiTypes.BINARY,
            (200, ARCHIVE.media_type): OpenApiTypes.BINARY,
        },
    )
    def get(self, _request: Request, **_: Any) -> HttpResponseBase:
        """A row a part of each return, in grams and as typed; no cell of it can start a formula.

        `archive` is a Darwin Core archive, to be shared: sessions as events with their effort, blanks among
        them, catches as occurrences, and nobody's name.
        """
        form = EXPORTS[self.parameters["format"]]
        wanted = wanted_returns(self.who, self.parameters)
        named = {
            "Content-Disposition": f'attachment; filename="returns.{form.ending}"',
            "Cache-Control": "no-store",
        }
        if form is CSV:
            lines = importlib.import_module(_STREAMS).csv_lines(COLUMNS, exported_rows(self.who, wanted))
            return StreamingHttpResponse(lines, content_type=form.content_type, headers=named)
        return FileResponse(self._file(form, wanted), content_type=form.content_type, headers=named)

    def _file(self, form: Form, wanted: QuerySet[Return]) -> IO[bytes]:
        file: IO[bytes]
        if form is ARCHIVE:
            fished = wanted.exclude(outcome=Outcome.DID_NOT_FISH)
            club, on = self.who.club, self.now.date()
            archives = importlib.import_module(_ARCHIVES)
            file = archives.archive_file(lambda: _in_order(fished), title=club.name, on=on)
            return file
        rows, streams = exported_rows(self.who, wanted), importlib.import_module(_STREAMS)
        if form is XLSX:
            file = streams.workbook_file("returns", COLUMNS, rows)
        else:
            file = streams.parquet_file(COLUMNS, rows)
        return file


def _in_order(returns: QuerySet[Return]) -> Iterator[Return]:
    """The latest day first, with their children, read some hundred at a time."""
    return with_children(returns).order_by("-fished_on", "-uid").iterator(chunk_size=_RETURNS_AT_ONCE)


def exported_rows(who: Membership, returns: QuerySet[Return]) -> Iterator[tuple[Any, ...]]:
    """A row a part."""
    for session in _in_order(returns):
        parts: list[SessionPart | None] = [*session.parts.all()] or [None]
        notes = session.notes if sees_in_full(who, session) else None
        for number, part in enumerate(parts, 1):
            yield _row(session, number, part, notes)


def _row(session: Return, number: int, part: SessionPart | None, notes: str | None) -> tuple[Any, ...]:
    day = getattr(session, "conditions", None)
    first = number == 1
    return (
        str(session.uid),
        session.version,
        session.fished_on,
        None if session.started_at is None else session.started_at.isoformat("minutes"),
        session.water.name,
        None if session.peg is None else session.peg.label,
        session.member.number,
        session.session_kind,
        None if session.match is None else session.match.code,
        _float(session.hours),
        session.rods,
        session.roved,
        session.guest,
        session.outcome,
        session.weight_g if first else None,
        session.weight_typed if first else None,
        session.fish_count if first else None,
        number,
        *(_name(part, word) for word in ("method", "hook_bait", "feed", "rig_type")),
        None if part is None else _float(part.distance_m),
        None if part is None else _float(part.hours),
        None if part is None else part.weight_g,
        None if day is None else _float(day.water_temperature_c),
        None if day is None else day.wind_force,
        _filled(day),
        session.source,
        session.entered_at,
        notes,
    )


def _filled(day: Conditions | None) -> str:
    return f"{' '.join(day.filled)}: {day.filled_from}" if day is not None and day.filled else ""


def _name(part: SessionPart | None, word: str) -> str | None:
    entry = getattr(part, word, None)
    return None if entry is None else str(entry.name)


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
