"""Long work as rows (the row is the truth, the broker a doorbell), and a sheet's rows on their way in."""

from django.db import models
from django.db.models import Q

from clubdata.models.base import ClubRecord, unique_within_club
from clubdata.models.clubs import Account


class JobKind(models.TextChoices):
    IMPORT = "import"
    FIT = "fit"
    STUDY = "study"
    WEATHER = "weather"


class JobState(models.TextChoices):
    """Refused is an answer (with a reason); failed is a defect or a lost worker."""

    QUEUED = "queued"
    RUNNING = "running"
    FINISHED = "finished"
    REFUSED = "refused"
    FAILED = "failed"


ENDED = (JobState.FINISHED, JobState.REFUSED, JobState.FAILED)


class Job(ClubRecord):
    """One piece of long work.

    A worker owns it while `state` is running, `attempt` is the one it was given and `lease_until`
    lies ahead; everything it writes is conditional on that, so that a late attempt changes nothing.
    """

    kind = models.CharField(max_length=8, choices=JobKind.choices)
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.QUEUED)
    payload = models.JSONField(default=dict, blank=True)
    requested_by = models.ForeignKey(
        Account, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )
    created_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    attempt = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    progress_done = models.BigIntegerField(default=0)
    progress_total = models.BigIntegerField(default=0)
    progress_step = models.CharField(max_length=60, blank=True)
    reason_code = models.CharField(max_length=60, blank=True)
    reason = models.CharField(max_length=400, blank=True)
    result = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["state", "lease_until"], name="job_by_lease"),
            models.Index(fields=["club", "kind", "-id"], name="job_by_club"),
        ]
        constraints = [
            unique_within_club("job"),
            models.CheckConstraint(condition=Q(kind__in=JobKind.values), name="job_kind_known"),
            models.CheckConstraint(condition=Q(state__in=JobState.values), name="job_state_known"),
            models.CheckConstraint(
                condition=~Q(state=JobState.RUNNING) | Q(lease_until__isnull=False, attempt__gte=1),
                name="job_running_has_lease",
            ),
            models.CheckConstraint(
                condition=Q(state__in=ENDED, finished_at__isnull=False)
                | (~Q(state__in=ENDED) & Q(finished_at__isnull=True)),
                name="job_ended_says_when",
            ),
            # A club's fits queue up behind one another: two waiting ones would do the same work.
            models.UniqueConstraint(
                fields=["club"],
                condition=Q(kind=JobKind.FIT, state=JobState.QUEUED),
                name="job_one_fit_waiting_a_club",
            ),
            models.UniqueConstraint(
                fields=["club"],
                condition=Q(kind=JobKind.STUDY, state=JobState.QUEUED),
                name="job_one_study_waiting_a_club",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.uid}"


class StagedReturn(models.Model):
    """A row of a sheet, parsed, waiting to land with all the others of its import in one transaction.

    `uid` becomes the return's. Rows that did not parse are not here: the job's report tells of them.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="staged_returns")
    line = models.PositiveIntegerField()
    uid = models.UUIDField()
    sheet_key = models.CharField(max_length=32)
    member_id = models.BigIntegerField()
    water_id = models.BigIntegerField()
    peg_id = models.BigIntegerField()
    match_code = models.CharField(max_length=40, blank=True)
    session_kind = models.CharField(max_length=8)
    fished_on = models.DateField()
    hours = models.DecimalField(max_digits=5, decimal_places=2)
    outcome = models.CharField(max_length=14)
    weight_g = models.PositiveIntegerField(null=True)
    weight_typed = models.CharField(max_length=40, blank=True)
    weight_unit = models.CharField(max_length=8, blank=True)
    weight_step = models.DecimalField(max_digits=12, decimal_places=6, null=True)
    notes = models.CharField(max_length=1000, blank=True)
    hook_bait_id = models.BigIntegerField(null=True)
    rig_type_id = models.BigIntegerField(null=True)
    distance_m = models.DecimalField(max_digits=5, decimal_places=2, null=True)
    wind_force = models.PositiveSmallIntegerField(null=True)
    water_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    # Pairs of a species' key and grams, as JSON: one column, so that a row is staged in one write.
    catch_lines = models.TextField(blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "line"], name="staged_return_line_once"),
        ]
        indexes = [models.Index(fields=["job", "sheet_key"], name="staged_return_by_key")]
