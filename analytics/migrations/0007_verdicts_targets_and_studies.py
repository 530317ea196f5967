"""Verdicts on runs, runs of one group of species, and studies. No defaults: the table is empty by now."""

import uuid

import django.db.models.deletion
from django.db import migrations, models

import clubdata.models.base


class Migration(migrations.Migration):
    dependencies = [("analytics", "0006_runs_without_what_was_observed"), ("clubdata", "0005_studies")]

    operations = [
        migrations.CreateModel(
            "FitStudy",
            [
                (
                    "id",
                    models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                ),
                ("uid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("document", models.JSONField(default=dict)),
                ("studied_at", models.DateTimeField()),
                (
                    "club",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="+", to="clubdata.club"
                    ),
                ),
                (
                    "run",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="study", to="analytics.fitrun"
                    ),
                ),
            ],
            options={"verbose_name_plural": "fit studies"},
        ),
        migrations.AddField(
            "fitrun",
            "beside",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="of_targets",
                to="analytics.fitrun",
            ),
        ),
        migrations.AddField("fitrun", "observed", models.JSONField(default=dict)),
        migrations.AddField(
            "fitrun",
            "target",
            models.CharField(blank=True, help_text="A group of species; empty for all", max_length=30),
        ),
        migrations.AddField("fitrun", "verdict", models.CharField(max_length=30)),
        migrations.AddField("fitrun", "verdict_reason", models.CharField(blank=True, max_length=400)),
        migrations.AlterField(
            "fitrun",
            "job",
            models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="fit_run",
                to="clubdata.job",
            ),
        ),
        migrations.AddConstraint(
            "fitrun", clubdata.models.base.SameClub(field="beside", name="fit_run_same_club_beside", shared="club")
        ),
        migrations.AddConstraint(
            "fitrun",
            models.UniqueConstraint(
                condition=models.Q(("beside__isnull", False)),
                fields=("beside", "target"),
                name="fit_run_target_once_beside_a_run",
            ),
        ),
        migrations.AddConstraint(
            "fitrun",
            models.CheckConstraint(
                condition=models.Q(
                    models.Q(("beside__isnull", True), ("job__isnull", False), ("target", "")),
                    models.Q(
                        models.Q(("target", ""), _negated=True),
                        ("beside__isnull", False),
                        ("job__isnull", True),
                        ("promoted", False),
                    ),
                    _connector="OR",
                ),
                name="fit_run_of_all_or_beside_one",
            ),
        ),
        migrations.AddConstraint(
            "fitstudy", models.UniqueConstraint(fields=("club", "id"), name="fit_study_club_id_key")
        ),
        migrations.AddConstraint(
            "fitstudy", clubdata.models.base.SameClub(field="run", name="fit_study_same_club_run", shared="club")
        ),
    ]
