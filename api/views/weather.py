"""A club's own weather station: its readings handed in, and read."""

from typing import Any

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.worker.dispatch import ring_after_commit
from api.pagination import Keyset, PageQuery
from api.parsers import BoundedMultiPartParser
from api.serializers.shapes import page_of
from api.serializers.weather import (
    KeptReadingsSerializer,
    ReadingsFileSerializer,
    WeatherReadingSerializer,
)
from api.views.base import ClubView
from clubdata.intake import uploads
from clubdata.intake.weather import read_station
from clubdata.services.weather import KEEPS_READINGS, keep_readings, kept_readings
from clubdata.services.weather_jobs import request_weather


class StationParser(BoundedMultiPartParser):
    """A year of a station's hours, and room."""

    largest_file_bytes = 2 * 1024 * 1024


class WeatherReadingListView(ClubView):
    """The readings of the club's weather stations."""

    parser_classes = [StationParser]
    query = {"GET": PageQuery}
    roles = {
        "GET": (KEEPS_READINGS, "look into weather readings"),
        "POST": (KEEPS_READINGS, "keep weather readings"),
    }
    order = Keyset(("-read_at", "-uid"))

    @extend_schema(
        operation_id="weather_readings_list", responses=page_of(WeatherReadingSerializer, "ReadingPage")
    )
    def get(self, request: Request, **_: Any) -> Response:
        """The latest first."""
        return self.page_response(request, kept_readings(self.who), self.order, WeatherReadingSerializer)

    @extend_schema(
        operation_id="weather_readings_keep",
        request={"multipart/form-data": ReadingsFileSerializer},
        responses={201: KeptReadingsSerializer},
    )
    def post(self, request: Request, **_: Any) -> Response:
        """A station's file: all of it, or with a fault in a line none. A job then fills what nobody typed."""
        serializer = ReadingsFileSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        path = uploads.path_of(uploads.keep(serializer.validated_data["file"].file))
        try:
            readings = read_station(path=path, club=self.who.club, now=self.now)
        finally:
            path.unlink(missing_ok=True)
        with transaction.atomic():
            kept = keep_readings(
                who=self.who, station=serializer.validated_data["station"], readings=readings
            )
            if readings:
                since = min(one.read_at for one in readings)
                job = request_weather(club=self.who.club, since=since, now=self.now)
                ring_after_commit(job_id=job.pk)
        shown = KeptReadingsSerializer({"read": len(readings), "kept": kept})
        return Response(shown.data, status=status.HTTP_201_CREATED)
