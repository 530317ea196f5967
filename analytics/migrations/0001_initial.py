import django.db.models.deletion
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('clubdata', '0002_same_club'),
    ]

    operations = [
        migrations.CreateModel(
            name='FitRun',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('revision', models.BigIntegerField()),
                ('fingerprint', models.CharField(max_length=64)),
                ('first_on', models.DateField()),
                ('last_on', models.DateField()),
                ('rows_used', models.PositiveIntegerField()),
                ('blanks', models.PositiveIntegerField()),
                ('rows_left_out', models.JSONField(default=dict)),
                ('versions', models.JSONField(default=dict)),
                ('spec', models.JSONField(default=dict)),
                ('format', models.PositiveSmallIntegerField()),
                ('power', models.FloatField(help_text='p of the variance function phi mu^p')),
                ('dispersion', models.FloatField(help_text='phi of the variance function phi mu^p')),
                ('intercept', models.FloatField()),
                ('intercept_se', models.FloatField()),
                ('edf', models.FloatField(help_text='Effective degrees of freedom')),
                ('deviance', models.FloatField()),
                ('converged', models.BooleanField()),
                ('gradient', models.FloatField(help_text='Largest score, in standard errors of its coefficient')),
                ('iterations', models.PositiveIntegerField()),
                ('seconds', models.FloatField()),
                ('deviances', models.JSONField(default=list)),
                ('reference', models.JSONField(default=dict)),
                ('dropped', models.JSONField(default=list)),
                ('evidence', models.JSONField(default=dict)),
                ('support', models.JSONField(default=dict)),
                ('check_report', models.JSONField(default=dict)),
                ('covariance', models.BinaryField()),
                ('covariance_size', models.PositiveIntegerField()),
                ('covariance_dtype', models.CharField(max_length=8)),
                ('covariance_sha256', models.CharField(max_length=64)),
                ('fitted_at', models.DateTimeField()),
                ('promoted', models.BooleanField(default=False)),
                ('promoted_at', models.DateTimeField(blank=True, null=True)),
                ('club', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clubdata.club')),
                ('job', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='fit_run', to='clubdata.job')),
            ],
            options={
                'ordering': ['-id'],
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
                ('prior_sd', models.FloatField(help_text='Natural-log scale')),
                ('edf', models.FloatField()),
                ('first_column', models.PositiveIntegerField(blank=True, null=True)),
                ('at_boundary', models.BooleanField(default=False)),
                ('club', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clubdata.club')),
                ('run', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='terms', to='analytics.fitrun')),
            ],
            options={
                'ordering': ['position'],
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
            },
        ),
        migrations.AddIndex(
            model_name='fitrun',
            index=models.Index(fields=['club', '-id'], name='fit_run_by_club'),
        ),
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=models.UniqueConstraint(fields=('club', 'id'), name='fit_run_club_id_key'),
        ),
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=models.UniqueConstraint(condition=models.Q(('promoted', True)), fields=('club',), name='fit_run_one_promoted_a_club'),
        ),
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=models.CheckConstraint(condition=models.Q(('promoted', False), ('promoted_at__isnull', False), _connector='OR'), name='fit_run_promoted_says_when'),
        ),
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=models.CheckConstraint(condition=models.Q(('power__gt', 1), ('power__lt', 2)), name='fit_run_power_of_tweedie'),
        ),
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=models.CheckConstraint(condition=models.Q(('dispersion__gt', 0), ('intercept_se__gt', 0)), name='fit_run_spread_above_zero'),
        ),
        migrations.AddConstraint(
            model_name='fitrun',
            constraint=models.CheckConstraint(condition=models.Q(('power__gt', -1e+300), ('power__lt', 1e+300), ('dispersion__gt', -1e+300), ('dispersion__lt', 1e+300), ('intercept__gt', -1e+300), ('intercept__lt', 1e+300), ('intercept_se__gt', -1e+300), ('intercept_se__lt', 1e+300), ('edf__gt', -1e+300), ('edf__lt', 1e+300), ('deviance__gt', -1e+300), ('deviance__lt', 1e+300), ('gradient__gt', -1e+300), ('gradient__lt', 1e+300), ('seconds__gt', -1e+300), ('seconds__lt', 1e+300)), name='fit_run_numbers_finite'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=models.UniqueConstraint(fields=('club', 'id'), name='fit_term_club_id_key'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=models.UniqueConstraint(fields=('run', 'name'), name='fit_term_name_once_a_run'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=models.UniqueConstraint(fields=('run', 'position'), name='fit_term_position_once_a_run'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ('factor', 'smooth'))), name='fit_term_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=models.CheckConstraint(condition=models.Q(('prior_sd__gt', 0)), name='fit_term_prior_above_zero'),
        ),
        migrations.AddConstraint(
            model_name='fitterm',
            constraint=models.CheckConstraint(condition=models.Q(('prior_sd__gt', -1e+300), ('prior_sd__lt', 1e+300), ('edf__gt', -1e+300), ('edf__lt', 1e+300)), name='fit_term_numbers_finite'),
        ),
        migrations.AddConstraint(
            model_name='fitcoefficient',
            constraint=models.UniqueConstraint(fields=('term', 'position'), name='fit_coefficient_position_once'),
        ),
        migrations.AddConstraint(
            model_name='fitcoefficient',
            constraint=models.UniqueConstraint(fields=('term', 'level'), name='fit_coefficient_level_once'),
        ),
        migrations.AddConstraint(
            model_name='fitcoefficient',
            constraint=models.CheckConstraint(condition=models.Q(('standard_error__gt', 0)), name='fit_coefficient_standard_error_above_zero'),
        ),
        migrations.AddConstraint(
            model_name='fitcoefficient',
            constraint=models.CheckConstraint(condition=models.Q(('estimate__gt', -1e+300), ('estimate__lt', 1e+300), ('standard_error__gt', -1e+300), ('standard_error__lt', 1e+300)), name='fit_coefficient_numbers_finite'),
        ),
    ]
