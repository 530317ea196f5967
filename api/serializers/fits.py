"""Fits of the catch model, from the request to the numbers that answers read."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from analytics.models import FitRun
from api.serializers.jobs import JobSerializer
from api.serializers.shapes import OutputSerializer
from clubdata.models import Job


class FitSummarySerializer(OutputSerializer):
    """The run behind an answer; `rows_left_out` counts returns by reason."""

    uid = serializers.UUIDField()
    fitted_at = serializers.DateTimeField()
    first_on = serializers.DateField()
    last_on = serializers.DateField()
    rows_used = serializers.IntegerField()
    blanks = serializers.IntegerField()
    rows_left_out = serializers.DictField(child=serializers.IntegerField())
    stale = serializers.BooleanField()


class RunSerializer(FitSummarySerializer):
    """What a fit left behind. `stale`: the club's returns have changed since."""

    stale = serializers.SerializerMethodField()  # type: ignore[assignment]
    promoted = serializers.BooleanField()
    revision = serializers.IntegerField()
    fingerprint = serializers.CharField(help_text="SHA-256 of the rows.")
    versions = serializers.DictField(child=serializers.CharField())
    seconds = serializers.FloatField(help_text="Of the iterations alone.")

    def get_stale(self, run: FitRun) -> bool:
        return bool(run.revision != run.club.revision)


class TermSerializer(OutputSerializer):
    """A term of the model: its kind, prior and effective degrees of freedom."""

    name = serializers.CharField()
    kind = serializers.CharField()
    prior_sd = serializers.FloatField()
    edf = serializers.FloatField()


class RunDetailSerializer(RunSerializer):
    """The run with the model's own figures. Levels stay inside: some of them stand for people."""

    power = serializers.FloatField()
    dispersion = serializers.FloatField()
    intercept = serializers.FloatField()
    edf = serializers.FloatField()
    deviance = serializers.FloatField()
    converged = serializers.BooleanField()
    gradient = serializers.FloatField()
    iterations = serializers.IntegerField()
    check = serializers.DictField(child=serializers.FloatField(allow_null=True), source="check_report")
    terms = TermSerializer(many=True)


class FitSerializer(JobSerializer):
    """A fit: its job, and `run` once it came out (null before, or when it is no longer kept)."""

    run = serializers.SerializerMethodField()

    @extend_schema_field(RunSerializer(allow_null=True))
    def get_run(self, job: Job) -> Any:
        run = getattr(job, "fit_run", None)
        return None if run is None else RunSerializer(run).data


class FitDetailSerializer(FitSerializer):
    """A fit with the model's own figures."""

    @extend_schema_field(RunDetailSerializer(allow_null=True))
    def get_run(self, job: Job) -> Any:
        run = getattr(job, "fit_run", None)
        return None if run is None else RunDetailSerializer(run).data
