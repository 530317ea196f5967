"""Fits of the first format go: nothing reads them any more.

They are derived from the returns, and the schedule fits every club that is left without one. Apart from
the columns that follow: a table cannot change in the transaction that took rows out of it.
"""

from django.db import migrations

FIRST_FORMAT = 1


def remove_runs(apps, _schema_editor):
    apps.get_model("analytics", "FitRun").objects.filter(format=FIRST_FORMAT).delete()


class Migration(migrations.Migration):

    dependencies = [("analytics", "0003_what_nobody_read")]

    operations = [migrations.RunPython(remove_runs, migrations.RunPython.noop)]
