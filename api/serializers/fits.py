"""Fits of the catch model, from the request to the numbers that answers read."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from analytics.catchrate.estimates import AT_ZERO, INSIDE, UNBOUNDED
from analytics.catchrate.spec import DidNotWeigh
from analytics.catchrate.verdict import VERDICTS
from analytics.models import FitRun
from api.serializers.jobs import JobSerializer
from api.serializers.shapes import OutputSerializer
from api.serializers.validation import ValidationSerializer
from clubdata.models import Job


class FitSummarySerializer(OutputSerializer):
    """The run behind an answer; `rows_left_out` counts returns by reason, the other counts those used."""

    uid = serializers.UUIDField()
    fitted_at = serializers.DateTimeField()
    first_on = serializers.DateField()
    last_on = serializers.DateField()
    rows_used = serializers.IntegerField()
    blanks = serializers.IntegerField()
    bounded = serializers.IntegerField(help_text="Weights known only to lie between two bounds.")
    estimated = serializers.IntegerField(help_text="Weights that were estimated.")
    several_parts = serializers.IntegerField(help_text="One weight shared over several parts.")
    did_not_weigh = serializers.ChoiceField(
        choices=[choice.value for choice in DidNotWeigh],
        help_text="What the weights of anglers who did not weigh in were taken for.",
    )
    rows_left_out = serializers.DictField(child=serializers.IntegerField())
    verdict = serializers.ChoiceField(
        choices=VERDICTS, help_text="How the fit did on days that it had not seen, and by its own returns."
    )
    verdict_reason = serializers.CharField(help_text="Empty for a fit that held.")
    stale = serializers.BooleanField()


class RunSerializer(FitSummarySerializer):
    """What a fit left behind. `stale`: the club's returns have changed since."""

    stale = serializers.SerializerMethodField()  # type: ignore[assignment]
    promoted = serializers.BooleanField(help_text="Whether the club's answers come from this run.")
    revision = serializers.IntegerField()
    fingerprint = serializers.CharField(help_text="SHA-256 of the rows.")
    versions = serializers.DictField(child=serializers.CharField())
    seconds = serializers.FloatField(help_text="Of the fit alone.")
    warm_from = serializers.UUIDField(
        allow_null=True, help_text="The run that the fit began from; null when it began from nothing."
    )

    def get_stale(self, run: FitRun) -> bool:
        return bool(run.revision != run.club.revision)


class ComponentSerializer(OutputSerializer):
    """An estimated variance of a term, on the natural-log scale of weight."""

    name = serializers.CharField(help_text="What varies: 'levels', 'along the bank', 'along day_of_year'.")
    sd = serializers.FloatField()
    log_precision = serializers.FloatField(help_text="-2 log sd.")
    log_precision_se = serializers.FloatField(allow_null=True, help_text="Null at a boundary.")
    boundary = serializers.ChoiceField(
        choices=[INSIDE, AT_ZERO, UNBOUNDED],
        help_text="Whether the variance is inside, at nothing, or so wide that its prior holds nothing.",
    )


class TermSerializer(OutputSerializer):
    """A term of the model: its kind, prior, variances and effective degrees of freedom."""

    name = serializers.CharField()
    kind = serializers.ChoiceField(choices=["factor", "line", "smooth"])
    prior_sd = serializers.FloatField(help_text="Of one level, or of the curve over the returns.")
    edf = serializers.FloatField()
    components = ComponentSerializer(many=True, help_text="None where the prior was fixed.")


class DroppedSerializer(OutputSerializer):
    """A term that the club's returns cannot speak for."""

    name = serializers.CharField()
    code = serializers.CharField()
    reason = serializers.CharField()


class EffortExponentSerializer(OutputSerializer):
    """Whether catch goes with hours, as the model has it, by kind of session: then the exponent is one."""

    session_kind = serializers.CharField()
    sessions = serializers.IntegerField()
    exponent = serializers.FloatField()
    standard_error = serializers.FloatField()
    z = serializers.FloatField(help_text="The exponent's distance from one, in standard errors.")


class CheckSerializer(OutputSerializer):
    """The fit against its own returns; null where there is nothing to tell."""

    returns = serializers.IntegerField()
    exact = serializers.IntegerField(help_text="Returns of exact weight, which the figures are about.")
    blank_share_observed = serializers.FloatField(allow_null=True)
    blank_share_fitted = serializers.FloatField(allow_null=True)
    blank_share_z = serializers.FloatField(allow_null=True, help_text="The difference in standard errors.")
    pearson_dispersion = serializers.FloatField(allow_null=True)
    estimated_pearson_dispersion = serializers.FloatField(
        allow_null=True, help_text="Of weights that were estimated."
    )
    dispersion_ratio = serializers.FloatField(allow_null=True, help_text="As found over as fitted.")
    dispersion_z = serializers.FloatField(
        allow_null=True, help_text="Its distance from one, in standard errors."
    )
    deviance = serializers.FloatField(allow_null=True)
    baseline_deviance = serializers.FloatField(allow_null=True, help_text="Of each water's mean catch rate.")
    deviance_explained = serializers.FloatField(allow_null=True)
    effort_exponents = EffortExponentSerializer(many=True)


class FlatnessSerializer(OutputSerializer):
    """Mean residuals in bins of one covariate; numbers are null where nothing was judged."""

    covariate = serializers.CharField()
    verdict = serializers.ChoiceField(choices=["flat", "not flat", "not judged"])
    bins = serializers.IntegerField()
    chi_square = serializers.FloatField(allow_null=True)
    p_value = serializers.FloatField(allow_null=True)
    largest_mean = serializers.FloatField(allow_null=True)
    largest_mean_se = serializers.FloatField(allow_null=True)
    largest_bin = serializers.CharField(allow_null=True)


class MonthOfBlanksSerializer(OutputSerializer):
    """Blanks of one calendar month as found and as fitted."""

    month = serializers.IntegerField(help_text="1 to 12.")
    returns = serializers.IntegerField()
    observed = serializers.FloatField()
    fitted = serializers.FloatField()
    standard_error = serializers.FloatField(help_text="Of the share, under the fit.")


class InfluenceSerializer(OutputSerializer):
    """A return that pulls hard, and what one step of the fit without it would move."""

    uid = serializers.UUIDField(help_text="The return's public id.")
    weight_g = serializers.FloatField()
    expected_g = serializers.FloatField()
    score = serializers.FloatField(help_text="Derivative of its log-likelihood by log mean.")
    residual = serializers.FloatField(help_text="Pearson's.")
    leverage = serializers.FloatField()
    cooks_distance = serializers.FloatField()
    club_move = serializers.FloatField(
        help_text="What it does to the club's mean log expectation, in standard errors."
    )
    peg = serializers.CharField(allow_null=True, help_text="The code of the peg that it moves most.")
    peg_move = serializers.FloatField(allow_null=True, help_text="In standard errors of that peg's effect.")


class WallSerializer(OutputSerializer):
    """An estimate that nothing but a bound or a prior holds; levels that stand for people are left empty."""

    term = serializers.CharField()
    level = serializers.CharField()
    estimate = serializers.FloatField()


class DiagnosisSerializer(OutputSerializer):
    """Randomised quantile residuals, the returns that pull hardest, estimates at a wall."""

    residuals = serializers.IntegerField(help_text="Returns that gave one: those of exact weight.")
    residual_mean = serializers.FloatField(allow_null=True)
    residual_sd = serializers.FloatField(allow_null=True)
    flatness = FlatnessSerializer(many=True)
    influential = InfluenceSerializer(
        many=True, allow_null=True, help_text="For the club's analyst alone: null for others."
    )
    walls = WallSerializer(many=True)
    blanks_by_month = MonthOfBlanksSerializer(many=True)


class RunDetailSerializer(RunSerializer):
    """The run with the model's own figures. No level is shown that stands for a person."""

    power = serializers.FloatField()
    power_se = serializers.FloatField(allow_null=True, help_text="Null where the power was given.")
    dispersion = serializers.FloatField()
    estimated_dispersion = serializers.FloatField(help_text="Of weights that were estimated.")
    intercept = serializers.FloatField()
    edf = serializers.FloatField()
    deviance = serializers.FloatField()
    criterion = serializers.FloatField(help_text="Minus the restricted log-likelihood, up to a constant.")
    converged = serializers.BooleanField()
    gradient = serializers.FloatField()
    iterations = serializers.IntegerField()
    check = CheckSerializer(source="check_report.check")
    diagnosis = DiagnosisSerializer(source="check_report.diagnosis")
    validation = serializers.SerializerMethodField()
    terms = TermSerializer(many=True)
    dropped = DroppedSerializer(many=True)

    @extend_schema_field(ValidationSerializer(allow_null=True))
    def get_validation(self, run: FitRun) -> Any:
        """None where there was nothing to hold the fit against: the verdict says why."""
        found = run.check_report["validation"]
        return ValidationSerializer(found).data if "scores" in found else None

    def to_representation(self, run: FitRun) -> Any:
        shown = super().to_representation(run)
        if not self.context.get("names_returns"):
            shown["diagnosis"]["influential"] = None
        return shown


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
        return None if run is None else RunDetailSerializer(run, context=self.context).data
