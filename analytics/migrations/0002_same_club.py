"""The composite keys, once every unique pair that they refer to exists."""

from django.db import migrations

import clubdata.models.base


class Migration(migrations.Migration):

    dependencies = [("analytics", "0001_initial")]

    operations = [
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=clubdata.models.base.SameClub(field='job', name='fit_run_same_club_job', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=clubdata.models.base.SameClub(field='run', name='fit_term_same_club_run', shared='club'),
        ),
        migrations.AddConstraint(
            model_name='fitcoefficient',
            constraint=clubdata.models.base.SameClub(field='term', name='fit_coefficient_same_club_term', shared='club'),
        ),
    ]
