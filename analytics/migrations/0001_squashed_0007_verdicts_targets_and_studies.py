"""What the steps that it replaces amount to: a new database is made in one go."""

import clubdata.models.base
import django.db.models.deletion
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('analytics', '0001_initial'), ('analytics', '0002_same_club'), ('analytics', '0003_what_nobody_read'), ('analytics', '0004_runs_of_the_first_format'), ('analytics', '0005_what_reml_finds'), ('analytics', '0006_runs_without_what_was_observed'), ('analytics', '0007_verdicts_targets_and_studies')]

    initial = True

    dependencies = [
        ('clubdata', '0001_squashed_0009_people_doubts_and_weather'),
    ]

    operations = [
        migrations.CreateModel(
            name='FitRun',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('target', models.CharField(blank=True, help_text='A group of species; empty for all', max_length=30)),
                ('revision', models.BigIntegerField()),
                ('fingerprint', models.CharField(max_length=64)),
                ('first_on', models.DateField()),
                ('last_on', models.DateField()),
                ('rows_used', models.PositiveIntegerField()),
                ('blanks', models.PositiveIntegerField(help_text='Exact zeros')),
                ('bounded', models.PositiveIntegerField(help_text='Weights known only to lie between two bounds')),
                ('estimated', models.PositiveIntegerField(help_text='Weights that were estimated')),
                ('several_parts', models.PositiveIntegerField(help_text='Totals shared over several parts')),
                ('did_not_weigh', models.CharField(help_text='What unknown weights were taken for', max_length=30)),
                ('rows_left_out', models.JSONField(default=dict)),
                ('versions', models.JSONField(default=dict)),
                ('spec', models.JSONField(default=dict)),
                ('format', models.PositiveSmallIntegerField()),
                ('warm_from', models.UUIDField(blank=True, null=True)),
                ('power', models.FloatField(help_text='p of the variance function phi mu^p')),
                ('power_se', models.FloatField(blank=True, help_text='Null where the power was given', null=True)),
                ('dispersion', models.FloatField(help_text='phi of the variance function phi mu^p')),
                ('estimated_dispersion', models.FloatField(help_text='phi of weights that were estimated')),
                ('criterion', models.FloatField(help_text='Minus the restricted log-likelihood, up to a constant')),
                ('intercept', models.FloatField()),
                ('intercept_se', models.FloatField()),
                ('edf', models.FloatField(help_text='Effective degrees of freedom')),
                ('deviance', models.FloatField()),
                ('converged', models.BooleanField()),
                ('gradient', models.FloatField(help_text='The largest that was left, by any parameter')),
                ('iterations', models.PositiveIntegerField()),
                ('seconds', models.FloatField()),
                ('deviances', models.JSONField(default=list)),
                ('reference', models.JSONField(default=dict)),
                ('dropped', models.JSONField(default=list)),
                ('support', models.JSONField(default=dict)),
                ('observed', models.JSONField(default=dict)),
                ('check_report', models.JSONField(default=dict)),
                ('verdict', models.CharField(max_length=30)),
                ('verdict_reason', models.CharField(blank=True, max_length=400)),
                ('covariance', models.BinaryField()),
                ('covariance_size', models.PositiveIntegerField()),
                ('covariance_dtype', models.CharField(max_length=8)),
                ('covariance_sha256', models.CharField(max_length=64)),
                ('fitted_at', models.DateTimeField()),
                ('promoted', models.BooleanField(default=False)),
                ('promoted_at', models.DateTimeField(blank=True, null=True)),
                ('beside', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='of_targets', to='analytics.fitrun')),
                ('club', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clubdata.club')),
                ('job', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='fit_run', to='clubdata.job')),
            ],
            options={
                'ordering': ['-id'],
                'indexes': [models.Index(fields=['club', '-id'], name='fit_run_by_club')],
                'constraints': [models.UniqueConstraint(fields=('club', 'id'), name='fit_run_club_id_key'), clubdata.models.base.SameClub(field='job', name='fit_run_same_club_job', shared='club'), clubdata.models.base.SameClub(field='beside', name='fit_run_same_club_beside', shared='club'), models.UniqueConstraint(condition=models.Q(('beside__isnull', False)), fields=('beside', 'target'), name='fit_run_target_once_beside_a_run'), models.CheckConstraint(condition=models.Q(models.Q(('beside__isnull', True), ('job__isnull', False), ('target', '')), models.Q(models.Q(('target', ''), _negated=True), ('beside__isnull', False), ('job__isnull', True), ('promoted', False)), _connector='OR'), name='fit_run_of_all_or_beside_one'), models.UniqueConstraint(condition=models.Q(('promoted', True)), fields=('club',), name='fit_run_one_promoted_a_club'), models.CheckConstraint(condition=models.Q(('promoted', False), ('promoted_at__isnull', False), _connector='OR'), name='fit_run_promoted_says_when'), models.CheckConstraint(condition=models.Q(('power__gt', 1), ('power__lt', 2)), name='fit_run_power_of_tweedie'), models.CheckConstraint(condition=models.Q(('dispersion__gt', 0), ('estimated_dispersion__gt', 0), ('intercept_se__gt', 0)), name='fit_run_spread_above_zero'), models.CheckConstraint(condition=models.Q(('power_se__isnull', True), ('power_se__gt', 0), _connector='OR'), name='fit_run_power_se_above_zero'), models.CheckConstraint(condition=models.Q(('power__gt', -1e+300), ('power__lt', 1e+300), ('dispersion__gt', -1e+300), ('dispersion__lt', 1e+300), ('estimated_dispersion__gt', -1e+300), ('estimated_dispersion__lt', 1e+300), ('criterion__gt', -1e+300), ('criterion__lt', 1e+300), ('intercept__gt', -1e+300), ('intercept__lt', 1e+300), ('intercept_se__gt', -1e+300), ('intercept_se__lt', 1e+300), ('edf__gt', -1e+300), ('edf__lt', 1e+300), ('deviance__gt', -1e+300), ('deviance__lt', 1e+300), ('gradient__gt', -1e+300), ('gradient__lt', 1e+300), ('seconds__gt', -1e+300), ('seconds__lt', 1e+300)), name='fit_run_numbers_finite'), models.CheckConstraint(condition=models.Q(('power_se__gt', -1e+300), ('power_se__lt', 1e+300)), name='fit_run_power_se_finite')],
            },
        ),
        migrations.CreateModel(
            name='FitStudy',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('document', models.JSONField(default=dict)),
                ('studied_at', models.DateTimeField()),
                ('club', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clubdata.club')),
                ('run', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='study', to='analytics.fitrun')),
            ],
            options={
                'verbose_name_plural': 'fit studies',
                'constraints': [models.UniqueConstraint(fields=('club', 'id'), name='fit_study_club_id_key'), clubdata.models.base.SameClub(field='run', name='fit_study_same_club_run', shared='club')],
            },
        ),
        migrations.CreateModel(
            name='FitTerm',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('position', models.PositiveSmallIntegerField()),
                ('name', models.CharField(max_length=60)),
                ('kind', models.CharField(max_length=10)),
                ('learned', models.JSONField(default=dict)),
                ('components', models.JSONField(blank=True, default=list)),
                ('prior_sd', models.FloatField(help_text='Of one level, natural-log scale')),
                ('edf', models.FloatField()),
                ('first_column', models.PositiveIntegerField(blank=True, null=True)),
                ('club', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clubdata.club')),
                ('run', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='terms', to='analytics.fitrun')),
            ],
            options={
                'ordering': ['position'],
                'constraints': [models.UniqueConstraint(fields=('club', 'id'), name='fit_term_club_id_key'), clubdata.models.base.SameClub(field='run', name='fit_term_same_club_run', shared='club'), models.UniqueConstraint(fields=('run', 'name'), name='fit_term_name_once_a_run'), models.UniqueConstraint(fields=('run', 'position'), name='fit_term_position_once_a_run'), models.CheckConstraint(condition=models.Q(('kind__in', ('factor', 'line', 'smooth'))), name='fit_term_kind_known'), models.CheckConstraint(condition=models.Q(('prior_sd__gt', 0)), name='fit_term_prior_above_zero'), models.CheckConstraint(condition=models.Q(('prior_sd__gt', -1e+300), ('prior_sd__lt', 1e+300), ('edf__gt', -1e+300), ('edf__lt', 1e+300)), name='fit_term_numbers_finite')],
            },
        ),
        migrations.CreateModel(
            name='FitCoefficient',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveIntegerField()),
                ('level', models.CharField(max_length=80)),
                ('estimate', models.FloatField()),
                ('standard_error', models.FloatField()),
                ('club', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clubdata.club')),
                ('term', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='coefficients', to='analytics.fitterm')),
            ],
            options={
                'ordering': ['term', 'position'],
                'constraints': [clubdata.models.base.SameClub(field='term', name='fit_coefficient_same_club_term', shared='club'), models.UniqueConstraint(fields=('term', 'position'), name='fit_coefficient_position_once'), models.UniqueConstraint(fields=('term', 'level'), name='fit_coefficient_level_once'), models.CheckConstraint(condition=models.Q(('standard_error__gt', 0)), name='fit_coefficient_standard_error_above_zero'), models.CheckConstraint(condition=models.Q(('estimate__gt', -1e+300), ('estimate__lt', 1e+300), ('standard_error__gt', -1e+300), ('standard_error__lt', 1e+300)), name='fit_coefficient_numbers_finite')],
            },
        ),
    ]
