"""Keys that a `SameClub` constraint checks together with the club are checked by that alone."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('clubdata', '0010_rules_of_a_club'),
    ]

    operations = [
        migrations.AlterField(
            model_name='catchline',
            name='session',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='catch_lines', to='clubdata.return'),
        ),
        migrations.AlterField(
            model_name='catchline',
            name='species',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='clubdata.species'),
        ),
        migrations.AlterField(
            model_name='conditions',
            name='session',
            field=models.OneToOneField(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='conditions', to='clubdata.return'),
        ),
        migrations.AlterField(
            model_name='return',
            name='match',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='returns', to='clubdata.match'),
        ),
        migrations.AlterField(
            model_name='return',
            name='member',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='returns', to='clubdata.member'),
        ),
        migrations.AlterField(
            model_name='return',
            name='peg',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='returns', to='clubdata.peg'),
        ),
        migrations.AlterField(
            model_name='return',
            name='water',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='returns', to='clubdata.water'),
        ),
        migrations.AlterField(
            model_name='sessionpart',
            name='feed',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='clubdata.feed'),
        ),
        migrations.AlterField(
            model_name='sessionpart',
            name='hook_bait',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='clubdata.hookbait'),
        ),
        migrations.AlterField(
            model_name='sessionpart',
            name='method',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='clubdata.method'),
        ),
        migrations.AlterField(
            model_name='sessionpart',
            name='rig_type',
            field=models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='clubdata.rigtype'),
        ),
        migrations.AlterField(
            model_name='sessionpart',
            name='session',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='clubdata.return'),
        ),
    ]
