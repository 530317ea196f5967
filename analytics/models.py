"""What a fit left behind: the run, its terms and coefficients as rows, its joint uncertainty as one column.

A run is written once, by the job that made it, and never changed; promotion alone moves. A study follows a
promoted run: what only an analyst reads, and the runs of single groups of species beside it.
"""

from django.db import models
from django.db.models import Q

from clubdata.models import Job
from clubdata.models.base import ClubQuerySet, ClubRecord, SameClub, unique_within_club

#: Beyond any number of a fit: NaN and infinity fail the comparison on PostgreSQL and SQLite alike.
_LARGEST = 1e300


def _finite(*fields: str, name: str) -> models.CheckConstraint:
    condition = Q()
    for field in fields:
        condition &= Q(**{f"{field}__gt": -_LARGEST, f"{field}__lt": _LARGEST})
    return models.CheckConstraint(condition=condition, name=name)


class FitRun(ClubRecord):
    """One fit of a club's returns that came out and passed its check.

    A run of everything caught has a `job`. A run of one group of species, `target`, stands `beside` such a
    run instead, is served with it and goes with it. `verdict` is what held the run against unseen days
    found (`analytics.trust`): only a run that it lets through is promoted. `observed` is what the returns
    say as they stand, raw (`analytics.observed`).

    `revision` is the club's, read before the rows: a return that arrives during the fit leaves the run
    stale. `fingerprint` is the SHA-256 of the rows. Weights are in grams, effort in rod-hours, `seconds`
    is the time of the iterations. `warm_from` is the public id of the run that they began from, null for
    one that began from nothing; that run may be gone. `covariance` is an `.npy` of the lower triangular
    factor F, (k, k), where FF' is the joint covariance of all terms that predict; its size, type and
    digest stand beside it. `support` counts the returns behind each choice
    (`analytics.counts.count_support`), `check_report` is what `analytics.report.report_of` makes.
    """

    job = models.OneToOneField(Job, on_delete=models.CASCADE, null=True, blank=True, related_name="fit_run")
    beside = models.ForeignKey(
        "self", on_delete=models.CASCADE, null=True, blank=True, related_name="of_targets"
    )
    target = models.CharField(max_length=30, blank=True, help_text="A group of species; empty for all")
    revision = models.BigIntegerField()
    fingerprint = models.CharField(max_length=64)
    first_on = models.DateField()
    last_on = models.DateField()
    rows_used = models.PositiveIntegerField()
    blanks = models.PositiveIntegerField(help_text="Exact zeros")
    bounded = models.PositiveIntegerField(help_text="Weights known only to lie between two bounds")
    estimated = models.PositiveIntegerField(help_text="Weights that were estimated")
    several_parts = models.PositiveIntegerField(help_text="Totals shared over several parts")
    did_not_weigh = models.CharField(max_length=30, help_text="What unknown weights were taken for")
    rows_left_out = models.JSONField(default=dict)
    versions = models.JSONField(default=dict)
    spec = models.JSONField(default=dict)
    format = models.PositiveSmallIntegerField()
    warm_from = models.UUIDField(null=True, blank=True)
    power = models.FloatField(help_text="p of the variance function phi mu^p")
    power_se = models.FloatField(null=True, blank=True, help_text="Null where the power was given")
    dispersion = models.FloatField(help_text="phi of the variance function phi mu^p")
    estimated_dispersion = models.FloatField(help_text="phi of weights that were estimated")
    criterion = models.FloatField(help_text="Minus the restricted log-likelihood, up to a constant")
    intercept = models.FloatField()
    intercept_se = models.FloatField()
    edf = models.FloatField(help_text="Effective degrees of freedom")
    deviance = models.FloatField()
    converged = models.BooleanField()
    gradient = models.FloatField(help_text="The largest that was left, by any parameter")
    iterations = models.PositiveIntegerField()
    seconds = models.FloatField()
    deviances = models.JSONField(default=list)
    reference = models.JSONField(default=dict)
    dropped = models.JSONField(default=list)
    support = models.JSONField(default=dict)
    observed = models.JSONField(default=dict)
    check_report = models.JSONField(default=dict)
    verdict = models.CharField(max_length=30)
    verdict_reason = models.CharField(max_length=400, blank=True)
    covariance = models.BinaryField()
    covariance_size = models.PositiveIntegerField()
    covariance_dtype = models.CharField(max_length=8)
    covariance_sha256 = models.CharField(max_length=64)
    fitted_at = models.DateTimeField()
    promoted = models.BooleanField(default=False)
    promoted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["club", "-id"], name="fit_run_by_club")]
        constraints = [
            unique_within_club("fit_run"),
            SameClub(field="job", name="fit_run_same_club_job"),
            SameClub(field="beside", name="fit_run_same_club_beside"),
            models.UniqueConstraint(
                fields=["beside", "target"],
                condition=Q(beside__isnull=False),
                name="fit_run_target_once_beside_a_run",
            ),
            models.CheckConstraint(
                condition=Q(target="", job__isnull=False, beside__isnull=True)
                | (~Q(target="") & Q(job__isnull=True, beside__isnull=False, promoted=False)),
                name="fit_run_of_all_or_beside_one",
            ),
            models.UniqueConstraint(
                fields=["club"], condition=Q(promoted=True), name="fit_run_one_promoted_a_club"
            ),
            models.CheckConstraint(
                condition=Q(promoted=False) | Q(promoted_at__isnull=False), name="fit_run_promoted_says_when"
            ),
            models.CheckConstraint(condition=Q(power__gt=1, power__lt=2), name="fit_run_power_of_tweedie"),
            models.CheckConstraint(
                condition=Q(dispersion__gt=0, estimated_dispersion__gt=0, intercept_se__gt=0),
                name="fit_run_spread_above_zero",
            ),
            models.CheckConstraint(
                condition=Q(power_se__isnull=True) | Q(power_se__gt=0), name="fit_run_power_se_above_zero"
            ),
            _finite(
                *("power", "dispersion", "estimated_dispersion", "criterion", "intercept", "intercept_se"),
                *("edf", "deviance", "gradient", "seconds"),
                name="fit_run_numbers_finite",
            ),
            # Apart: a null passes, as it should where the power was given.
            _finite("power_se", name="fit_run_power_se_finite"),
        ]

    def __str__(self) -> str:
        return f"fit {self.uid}"


class FitTerm(ClubRecord):
    """A term of a run: its kind, what was learned of it, and the variance it was given.

    `learned` holds the term's choices with its knots or reference level; the levels are the
    coefficients' rows. `components` are its estimated variances (`analytics.catchrate.estimates.Component`),
    none where the prior was fixed. `first_column` is its place in the joint covariance, null for a term that
    is only averaged over.
    """

    run = models.ForeignKey(FitRun, on_delete=models.CASCADE, related_name="terms")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=10)
    learned = models.JSONField(default=dict)
    components = models.JSONField(default=list, blank=True)
    prior_sd = models.FloatField(help_text="Of one level, natural-log scale")
    edf = models.FloatField()
    first_column = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            unique_within_club("fit_term"),
            SameClub(field="run", name="fit_term_same_club_run"),
            models.UniqueConstraint(fields=["run", "name"], name="fit_term_name_once_a_run"),
            models.UniqueConstraint(fields=["run", "position"], name="fit_term_position_once_a_run"),
            models.CheckConstraint(
                condition=Q(kind__in=("factor", "line", "smooth")), name="fit_term_kind_known"
            ),
            models.CheckConstraint(condition=Q(prior_sd__gt=0), name="fit_term_prior_above_zero"),
            _finite("prior_sd", "edf", name="fit_term_numbers_finite"),
        ]

    def __str__(self) -> str:
        return self.name


class FitCoefficient(models.Model):
    """One level's effect, on the natural-log scale, in its order within the term.

    Levels of waters, pegs, baits, rig types, anglers and matches are their public ids, never names. The
    row has no public id of its own: there are thousands a run, and nobody asks for one.
    """

    club = models.ForeignKey("clubdata.Club", on_delete=models.CASCADE, related_name="+")
    term = models.ForeignKey(FitTerm, on_delete=models.CASCADE, related_name="coefficients")
    position = models.PositiveIntegerField()
    level = models.CharField(max_length=80)
    estimate = models.FloatField()
    standard_error = models.FloatField()

    objects = ClubQuerySet.as_manager()

    class Meta:
        ordering = ["term", "position"]
        constraints = [
            SameClub(field="term", name="fit_coefficient_same_club_term"),
            models.UniqueConstraint(fields=["term", "position"], name="fit_coefficient_position_once"),
            models.UniqueConstraint(fields=["term", "level"], name="fit_coefficient_level_once"),
            models.CheckConstraint(
                condition=Q(standard_error__gt=0), name="fit_coefficient_standard_error_above_zero"
            ),
            _finite("estimate", "standard_error", name="fit_coefficient_numbers_finite"),
        ]

    def __str__(self) -> str:
        return self.level


class FitStudy(ClubRecord):
    """What only an analyst reads of a promoted run, made by a job of its own after it.

    `document` holds the fits beside the main one, by name (`analytics.study`), as JSON values that name no
    person.
    """

    run = models.OneToOneField(FitRun, on_delete=models.CASCADE, related_name="study")
    document = models.JSONField(default=dict)
    studied_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "fit studies"
        constraints = [
            unique_within_club("fit_study"),
            SameClub(field="run", name="fit_study_same_club_run"),
        ]

    def __str__(self) -> str:
        return f"study of {self.run_id}"
