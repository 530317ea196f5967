"""Columns that were never set, or that the counts behind each choice hold as well."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [("analytics", "0002_same_club")]

    operations = [
        migrations.RemoveField(model_name="fitterm", name="at_boundary"),
        migrations.RemoveField(model_name="fitrun", name="evidence"),
    ]
