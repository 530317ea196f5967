"""A counter of changes to a club's waters, pegs, hazards and words, beside that of its returns."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("clubdata", "0005_studies")]

    operations = [
        migrations.AddField(
            "club",
            "places_revision",
            models.BigIntegerField(
                default=0,
                help_text="Grows with every change of a water, peg, hazard or word, which answers show.",
            ),
        ),
    ]
