"""Columns for estimated variances, dispersions and power. No defaults: the table is empty by now."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("analytics", "0004_runs_of_the_first_format")]

    operations = [
        migrations.AddField("fitrun", "warm_from", models.UUIDField(null=True, blank=True)),
        migrations.AddField(
            "fitrun",
            "bounded",
            models.PositiveIntegerField(help_text="Weights known only to lie between two bounds"),
        ),
        migrations.AddField(
            "fitrun", "estimated", models.PositiveIntegerField(help_text="Weights that were estimated")
        ),
        migrations.AddField(
            "fitrun",
            "several_parts",
            models.PositiveIntegerField(help_text="Totals shared over several parts"),
        ),
        migrations.AddField(
            "fitrun",
            "did_not_weigh",
            models.CharField(max_length=30, help_text="What unknown weights were taken for"),
        ),
        migrations.AddField(
            "fitrun",
            "power_se",
            models.FloatField(null=True, blank=True, help_text="Null where the power was given"),
        ),
        migrations.AddField(
            "fitrun",
            "estimated_dispersion",
            models.FloatField(help_text="phi of weights that were estimated"),
        ),
        migrations.AddField(
            "fitrun",
            "criterion",
            models.FloatField(help_text="Minus the restricted log-likelihood, up to a constant"),
        ),
        migrations.AlterField("fitrun", "blanks", models.PositiveIntegerField(help_text="Exact zeros")),
        migrations.AlterField(
            "fitrun", "gradient", models.FloatField(help_text="The largest that was left, by any parameter")
        ),
        migrations.AddField("fitterm", "components", models.JSONField(default=list, blank=True)),
        migrations.AlterField(
            "fitterm", "prior_sd", models.FloatField(help_text="Of one level, natural-log scale")
        ),
        migrations.RemoveConstraint("fitrun", "fit_run_spread_above_zero"),
        migrations.RemoveConstraint("fitrun", "fit_run_numbers_finite"),
        migrations.RemoveConstraint("fitterm", "fit_term_kind_known"),
        migrations.AddConstraint(
            "fitrun",
            models.CheckConstraint(
                condition=models.Q(
                    ("dispersion__gt", 0), ("estimated_dispersion__gt", 0), ("intercept_se__gt", 0)
                ),
                name="fit_run_spread_above_zero",
            ),
        ),
        migrations.AddConstraint(
            "fitrun",
            models.CheckConstraint(
                condition=models.Q(("power_se__isnull", True), ("power_se__gt", 0), _connector="OR"),
                name="fit_run_power_se_above_zero",
            ),
        ),
        migrations.AddConstraint(
            "fitrun",
            models.CheckConstraint(
                condition=models.Q(
                    ("power__gt", -1e300),
                    ("power__lt", 1e300),
                    ("dispersion__gt", -1e300),
                    ("dispersion__lt", 1e300),
                    ("estimated_dispersion__gt", -1e300),
                    ("estimated_dispersion__lt", 1e300),
                    ("criterion__gt", -1e300),
                    ("criterion__lt", 1e300),
                    ("intercept__gt", -1e300),
                    ("intercept__lt", 1e300),
                    ("intercept_se__gt", -1e300),
                    ("intercept_se__lt", 1e300),
                    ("edf__gt", -1e300),
                    ("edf__lt", 1e300),
                    ("deviance__gt", -1e300),
                    ("deviance__lt", 1e300),
                    ("gradient__gt", -1e300),
                    ("gradient__lt", 1e300),
                    ("seconds__gt", -1e300),
                    ("seconds__lt", 1e300),
                ),
                name="fit_run_numbers_finite",
            ),
        ),
        migrations.AddConstraint(
            "fitrun",
            models.CheckConstraint(
                condition=models.Q(("power_se__gt", -1e300), ("power_se__lt", 1e300)),
                name="fit_run_power_se_finite",
            ),
        ),
        migrations.AddConstraint(
            "fitterm",
            models.CheckConstraint(
                condition=models.Q(("kind__in", ("factor", "line", "smooth"))), name="fit_term_kind_known"
            ),
        ),
    ]
