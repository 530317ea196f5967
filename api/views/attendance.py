"""Who was seen to fish, how many have handed in, and what is outstanding."""

from collections.abc import Iterable
from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import Keyset, PageQuery
from api.serializers.attendance import (
    AttendanceSerializer,
    HandedInListSerializer,
    HandedInQuery,
    NotedSerializer,
    NoteSerializer,
    OutstandingQuery,
    ReminderListSerializer,
    ReminderSerializer,
    RemindersQuery,
)
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.csv_files import csv_file
from clubdata.services.attendance import (
    NOTES_ATTENDANCE,
    SEES_HANDED_IN,
    SEES_OUTSTANDING,
    Reminder,
    handed_in,
    note_attendance,
    noted_attendance,
    outstanding,
    reminders,
)

COUNTED_AGAINST = (
    "Members whom a permit, a bailiff's check, the gate book or a match's entries name. Whoever fished "
    "unseen is not among them. A return of the same member, water and day counts, 'did not fish' too; for "
    "a permit any of its month."
)
HEADS = ("member", "name", "write_to", "water", "day", "source")


class AttendanceListView(ClubView):
    """Who was seen."""

    query = {"GET": PageQuery}
    roles = {
        "GET": (NOTES_ATTENDANCE, "look into who was there"),
        "POST": (NOTES_ATTENDANCE, "note who was there"),
    }
    order = Keyset(("-fished_on", "-uid"))

    @extend_schema(operation_id="attendance_list", responses=page_of(AttendanceSerializer, "AttendancePage"))
    def get(self, request: Request, **_: Any) -> Response:
        """The latest day first."""
        return self.page_response(request, noted_attendance(self.who), self.order, AttendanceSerializer)

    @extend_schema(operation_id="attendance_note", request=NoteSerializer, responses={201: NotedSerializer})
    def post(self, request: Request, **_: Any) -> Response:
        """Note permits, checks, the gate book or entries: all of them or, with a fault in one, none."""
        serializer = NoteSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        noted = note_attendance(who=self.who, seen=serializer.to_seen(), now=self.now)
        return Response(NotedSerializer({"noted": noted}).data, status=status.HTTP_201_CREATED)


class HandedInView(ClubView):
    """How many have handed in."""

    query = {"GET": HandedInQuery}
    roles = {"GET": (SEES_HANDED_IN, "look into how many have handed in")}

    @extend_schema(operation_id="handed_in_read", responses=HandedInListSerializer)
    def get(self, _request: Request, **_: Any) -> Response:
        """By month or by match, of everyone who was seen, and what that is counted against."""
        asked = self.parameters
        found = handed_in(
            who=self.who, by=asked["by"], first=asked.get("first_day"), last=asked.get("last_day")
        )
        return Response(HandedInListSerializer({"counted_against": COUNTED_AGAINST, "results": found}).data)


class OutstandingListView(ClubView):
    """Who was seen and has not handed in."""

    query = {"GET": OutstandingQuery}
    roles = {"GET": (SEES_OUTSTANDING, "look into what is outstanding")}
    order = Keyset(("-fished_on", "-uid"))

    @extend_schema(
        operation_id="outstanding_list", responses=page_of(AttendanceSerializer, "OutstandingPage")
    )
    def get(self, request: Request, **_: Any) -> Response:
        """For the secretary alone, the latest day first."""
        asked = self.parameters
        rows = outstanding(who=self.who, first=asked.get("first_day"), last=asked.get("last_day"))
        return self.page_response(request, rows, self.order, AttendanceSerializer)


class ReminderListView(ClubView):
    """Reminders as a list to send."""

    query = {"GET": RemindersQuery}
    roles = {"GET": (SEES_OUTSTANDING, "look into what is outstanding")}

    def perform_content_negotiation(self, request: Request, force: bool = False) -> tuple[Any, str]:
        """CSV is the parameter's to say, or the Accept header's; problems are JSON."""
        if request.headers.get("Accept", "").startswith("text/csv"):
            return JSONRenderer(), JSONRenderer.media_type
        negotiated: tuple[Any, str] = super().perform_content_negotiation(request, force)
        return negotiated

    @extend_schema(
        operation_id="reminders_list",
        responses={(200, "application/json"): ReminderListSerializer, (200, "text/csv"): OpenApiTypes.STR},
    )
    def get(self, request: Request, **_: Any) -> HttpResponseBase:
        """One a member, with what is outstanding; as CSV a row for each day outstanding."""
        asked = self.parameters
        found = reminders(who=self.who, first=asked.get("first_day"), last=asked.get("last_day"))
        if asked["format"] == "csv" or request.headers.get("Accept", "").startswith("text/csv"):
            return csv_file("reminders", HEADS, _rows(found))
        return Response({"results": ReminderSerializer(found, many=True).data})


def _rows(found: Iterable[Reminder]) -> Iterable[tuple[Any, ...]]:
    for one in found:
        for seen in one.outstanding:
            whom = (one.member.number, one.member.name, one.write_to)
            yield (*whom, seen.water.name, seen.fished_on, seen.get_source_display())
