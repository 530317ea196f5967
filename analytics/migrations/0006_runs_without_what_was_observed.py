"""Runs that were never held against unseen days and store no raw figures go: the schedule fits again."""

from django.db import migrations


def remove_runs(apps, schema_editor):
    apps.get_model("analytics", "FitRun").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("analytics", "0005_what_reml_finds")]

    operations = [migrations.RunPython(remove_runs, migrations.RunPython.noop, elidable=True)]
