"""Studies of a fit: a kind of job of their own, one waiting a club."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("clubdata", "0004_match_on_its_water")]

    operations = [
        migrations.RemoveConstraint("job", "job_kind_known"),
        migrations.AlterField(
            "job",
            "kind",
            models.CharField(choices=[("import", "Import"), ("fit", "Fit"), ("study", "Study")], max_length=8),
        ),
        migrations.AddConstraint(
            "job",
            models.CheckConstraint(
                condition=models.Q(("kind__in", ["import", "fit", "study"])), name="job_kind_known"
            ),
        ),
        migrations.AddConstraint(
            "job",
            models.UniqueConstraint(
                condition=models.Q(("kind", "study"), ("state", "queued")),
                fields=("club",),
                name="job_one_study_waiting_a_club",
            ),
        ),
    ]
