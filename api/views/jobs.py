"""Long work: imports asked for, jobs watched."""

import uuid
from typing import Any

from django.conf import settings
from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from analytics.worker.dispatch import ring_after_commit
from api.errors import RequestTooLarge
from api.pagination import Keyset
from api.parsers import BoundedMultiPartParser
from api.serializers.jobs import JobDetailSerializer, JobQuery, JobSerializer, UploadSerializer
from api.serializers.shapes import page_of
from api.views.base import ClubView
from api.views.filters import narrowed
from clubdata.errors import NotFound
from clubdata.intake import uploads
from clubdata.models import Job, JobKind
from clubdata.services.jobs import request_job
from clubdata.services.members import IMPORTS


class SheetParser(BoundedMultiPartParser):
    """Sheets up to the setting's size."""

    largest_file_bytes = settings.UPLOAD_LIMIT_BYTES


def accepted(request: Request, job: Job) -> Response:
    """202 with the job and where to watch it; the bell rings once the job is committed."""
    ring_after_commit(job_id=job.pk)
    address = request.build_absolute_uri(f"/api/v1/clubs/{job.club.slug}/jobs/{job.uid}/")
    return Response(JobSerializer(job).data, status=status.HTTP_202_ACCEPTED, headers={"Location": address})


class ImportView(ClubView):
    """Imports of a club's own sheet."""

    parser_classes = [SheetParser]
    roles = {"POST": (IMPORTS, "import a sheet")}

    @extend_schema(
        operation_id="imports_request",
        request={"multipart/form-data": UploadSerializer},
        responses={202: JobSerializer},
    )
    def post(self, request: Request, **_: Any) -> Response:
        """Upload a sheet; a worker imports it, and the job's result is the report."""
        serializer = UploadSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        sheet: Any = serializer.validated_data["file"]
        if sheet.size > settings.UPLOAD_LIMIT_BYTES:
            raise RequestTooLarge(f"A sheet has at most {settings.UPLOAD_LIMIT_BYTES} bytes.")
        payload = {
            "path": uploads.keep(sheet.file),
            "dry_run": serializer.validated_data["dry_run"],
            "file_name": sheet.name,
        }
        with transaction.atomic():
            job = request_job(
                club=self.who.club,
                kind=JobKind.IMPORT,
                payload=payload,
                actor=self.who.account,
                now=self.now,
            )
            return accepted(request, job)


class JobListView(ClubView):
    """The club's jobs."""

    query = {"GET": JobQuery}
    roles = {"GET": (IMPORTS, "look into jobs")}
    order = Keyset(("-created_at", "-uid"))
    filters = {"kind": "kind", "state": "state"}

    @extend_schema(operation_id="jobs_list", responses=page_of(JobSerializer, "JobPage"))
    def get(self, request: Request, **_: Any) -> Response:
        """The latest first; for those who may ask for them."""
        jobs = Job.objects.visible_to(self.who.account).filter(club=self.who.club)
        rows = narrowed(jobs.defer("result", "payload"), self.filters, self.parameters)
        return self.page_response(request, rows, self.order, JobSerializer)


class JobDetailView(ClubView):
    """One job."""

    roles = {"GET": (IMPORTS, "look into jobs")}

    @extend_schema(operation_id="jobs_read", responses=JobDetailSerializer)
    def get(self, _request: Request, uid: uuid.UUID, **_: Any) -> Response:
        """State, progress, and what came of it."""
        job = Job.objects.visible_to(self.who.account).filter(club=self.who.club, uid=uid).first()
        if job is None:
            raise NotFound("There is no such job.")
        return Response(JobDetailSerializer(job).data)
