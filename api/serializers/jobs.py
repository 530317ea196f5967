"""Long work as its club sees it."""

from typing import Any

from rest_framework import serializers

from api.pagination import PageQuery
from api.serializers.shapes import OutputSerializer, StrictSerializer
from clubdata.models import Job, JobKind, JobState


class ProgressSerializer(OutputSerializer):
    """How far the work is: `done` of `total` (0 while that is not known), and what is being done."""

    done = serializers.IntegerField(source="progress_done")
    total = serializers.IntegerField(source="progress_total")
    step = serializers.CharField(source="progress_step", allow_blank=True)


class JobSerializer(OutputSerializer):
    """A job: queued, running, finished, refused with a reason, or failed."""

    uid = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=JobKind.choices)
    state = serializers.ChoiceField(choices=JobState.choices)
    progress = ProgressSerializer(source="*")
    attempt = serializers.IntegerField()
    created_at = serializers.DateTimeField()
    started_at = serializers.DateTimeField(allow_null=True)
    finished_at = serializers.DateTimeField(allow_null=True)
    reason_code = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)


class JobDetailSerializer(JobSerializer):
    """A job with what came of it: an import's report, a fit's counts."""

    file_name = serializers.SerializerMethodField()
    result = serializers.DictField(child=serializers.JSONField(allow_null=True))

    def get_file_name(self, job: Job) -> str:
        """As the uploader called it; where it lies is nobody's business."""
        payload: dict[str, Any] = job.payload
        return str(payload.get("file_name", ""))


class JobQuery(PageQuery):
    """By kind and state."""

    kind = serializers.ChoiceField(choices=JobKind.choices, required=False)
    state = serializers.ChoiceField(choices=JobState.choices, required=False)


class UploadSerializer(StrictSerializer):
    """A club's sheet as CSV; with `dry_run` nothing is written and the report is the same."""

    file = serializers.FileField(allow_empty_file=False, max_length=200)
    dry_run = serializers.BooleanField(required=False, default=False)
