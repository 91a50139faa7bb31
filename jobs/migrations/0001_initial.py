# First tables.

import django.db.models.deletion
import shared.ids
import shared.models.contractor
import shared.tenancy.constraints
import shared.tenancy.models
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='PoolOwner',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=120)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('language', models.CharField(choices=[('en', 'English'), ('es', 'Español')], default='en', max_length=8)),
                ('wants_notices', models.BooleanField(default=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Site',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('label', models.CharField(max_length=120)),
                ('address', models.CharField(blank=True, max_length=240)),
                ('branch', models.CharField(default='main', help_text='The branch whose crews work here.', max_length=40)),
                ('latitude', models.FloatField()),
                ('longitude', models.FloatField()),
                ('zone', models.CharField(max_length=64, validators=[shared.models.contractor.known_zone])),
                ('archive', models.CharField(blank=True, help_text='Bundled weather file; empty: a forecast source', max_length=40)),
                ('quiet_until_min', models.PositiveSmallIntegerField(default=420, help_text='Quiet until this minute of the day.')),
                ('quiet_from_min', models.PositiveSmallIntegerField(default=1140, help_text='Quiet from this minute of the day.')),
                ('hose_flow_l_min', models.FloatField(default=40.0, help_text='Measured with a bucket, or from the pressure.')),
                ('hose_flow_measured', models.BooleanField(default=False)),
                ('hoses', models.PositiveSmallIntegerField(default=1)),
                ('discharge_limit_l_min', models.FloatField(default=150.0)),
                ('high_groundwater', models.BooleanField(default=False)),
                ('notes', models.TextField(blank=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Pool',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('shape', models.CharField(choices=[('rectangle', 'rectangle'), ('circle', 'circle'), ('ellipse', 'ellipse'), ('stadium', 'stadium (straight sides, round ends)'), ('outline', 'outline, point by point')], default='rectangle', max_length=12)),
                ('length_m', models.FloatField(null=True)),
                ('width_m', models.FloatField(null=True)),
                ('points_m', models.JSONField(blank=True, default=list, help_text='[[x, y], ...] of an outline')),
                ('profile', models.JSONField(default=list, help_text='[[distance_m, depth_m], ...] along the axis')),
                ('axis_deg', models.FloatField(default=0.0)),
                ('tile_band_m', models.FloatField(default=0.3)),
                ('cove_radius_m', models.FloatField(default=0.0)),
                ('steps', models.JSONField(blank=True, default=list, help_text='[[width_m, rise_m, tread_m, count], ...]')),
                ('benches', models.JSONField(blank=True, default=list, help_text='[[length_m, depth_m, height_m], ...]')),
                ('fittings_m2', models.FloatField(default=0.0)),
                ('built_year', models.PositiveSmallIntegerField(null=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('site', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='pools', to='jobs.site')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('number', models.PositiveIntegerField()),
                ('state', models.CharField(choices=[('surveyed', 'surveyed'), ('scope_agreed', 'scope agreed'), ('date_promised', 'date promised'), ('under_way', 'under way'), ('filling', 'filling'), ('first_month', 'first month'), ('finished', 'finished'), ('called_off', 'called off')], default='surveyed', max_length=16)),
                ('finish', models.CharField(choices=[('white', 'white plaster'), ('mid', 'mid-grey plaster'), ('grey', 'grey plaster'), ('dark', 'dark plaster'), ('pebble', 'exposed aggregate')], default='white', max_length=12)),
                ('start_up_method', models.CharField(choices=[('traditional', 'traditional'), ('high_alkalinity', 'high alkalinity'), ('acid', 'acid (contested; needs a signature)')], default='traditional', max_length=16)),
                ('weight', models.PositiveSmallIntegerField(default=1, help_text='How much a late day counts, 1 to 9.')),
                ('earliest_date', models.DateField(help_text='No work before this day.', null=True)),
                ('promised_date', models.DateField(help_text='The fill day told to the pool owner.', null=True)),
                ('promised_at', models.DateTimeField(null=True)),
                ('promised_band', models.JSONField(help_text='The band as it stood when the date was promised.', null=True)),
                ('filled_on', models.DateField(null=True)),
                ('someone_home', models.BooleanField(help_text="The pool owner's answer for the fill day.", null=True)),
                ('notes', models.TextField(blank=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('version', models.PositiveIntegerField(default=1)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('pool', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='jobs.pool')),
                ('pool_owner', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='jobs.poolowner')),
                ('site', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='jobs.site')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='SiteLog',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('client_id', models.UUIDField(default=uuid.uuid4)),
                ('stint_id', models.UUIDField(null=True)),
                ('kind', models.CharField(choices=[('begun', 'begun'), ('done', 'done'), ('different', 'found different'), ('laid', 'section laid'), ('pass', 'trowel pass done'), ('reading', 'material temperature'), ('level', 'water level'), ('hose', 'hose moved or stopped'), ('brushed', 'brushed'), ('groundwater', 'groundwater record'), ('note', 'note')], max_length=12)),
                ('at', models.DateTimeField(help_text="When it happened, by the phone's clock.")),
                ('taken_at', models.DateTimeField(auto_now_add=True)),
                ('by', models.CharField(max_length=120)),
                ('data', models.JSONField(default=dict)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='logs', to='jobs.job')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Survey',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('taken_at', models.DateTimeField()),
                ('taken_by', models.CharField(max_length=120)),
                ('dry', models.BooleanField(default=False)),
                ('notes', models.TextField(blank=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('pool', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='surveys', to='jobs.pool')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Scope',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=24)),
                ('strip_share', models.FloatField(help_text='Share of the surface taken to the shell, 0 to 1.')),
                ('coats_off', models.PositiveSmallIntegerField(default=1)),
                ('painted', models.BooleanField(default=False)),
                ('repairs_h', models.FloatField(default=0.0)),
                ('decided', models.JSONField(default=dict, help_text='What decided it, what would change it, the other outcomes.')),
                ('provisional', models.BooleanField(default=True)),
                ('overruled', models.CharField(blank=True, help_text='Why the office chose another scope.', max_length=240)),
                ('agreed_at', models.DateTimeField()),
                ('agreed_by', models.CharField(max_length=120)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='scopes', to='jobs.job')),
                ('survey', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='scopes', to='jobs.survey')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Observation',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=40)),
                ('value', models.JSONField()),
                ('made_at', models.DateTimeField()),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('survey', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='observations', to='jobs.survey')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='WaterTest',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('client_id', models.UUIDField(default=uuid.uuid4)),
                ('at', models.DateTimeField()),
                ('by', models.CharField(max_length=120)),
                ('temp_c', models.FloatField()),
                ('ph', models.FloatField()),
                ('calcium_hardness_mg_l', models.FloatField()),
                ('total_alkalinity_mg_l', models.FloatField()),
                ('tds_mg_l', models.FloatField()),
                ('cyanuric_acid_mg_l', models.FloatField(default=0.0)),
                ('free_chlorine_mg_l', models.FloatField(null=True)),
                ('index', models.FloatField(null=True)),
                ('doubted', models.CharField(blank=True, help_text='Why the test is to be repeated.', max_length=240)),
                ('advice', models.JSONField(default=dict)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='water_tests', to='jobs.job')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='WeatherCell',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('source', models.CharField(help_text='archive:<file>:<shift in days>, nws or open-meteo', max_length=60)),
                ('latitude', models.DecimalField(decimal_places=2, max_digits=5)),
                ('longitude', models.DecimalField(decimal_places=2, max_digits=6)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('source', 'latitude', 'longitude'), name='jobs_weathercell_once')],
            },
        ),
        migrations.CreateModel(
            name='WeatherHours',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(default='forecast', max_length=12)),
                ('issued_at', models.DateTimeField()),
                ('fetched_at', models.DateTimeField()),
                ('starts', models.DateTimeField()),
                ('count', models.PositiveIntegerField()),
                ('arrays', models.BinaryField(help_text='numpy archive of float32 arrays, one a quantity')),
                ('fingerprint', models.CharField(max_length=64)),
                ('cell', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='hours', to='jobs.weathercell')),
            ],
        ),
        migrations.CreateModel(
            name='ExpectedDates',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('fingerprint', models.CharField(help_text='Of every input; equal inputs are not computed twice.', max_length=64)),
                ('computed_at', models.DateTimeField()),
                ('weather_issued_at', models.DateTimeField()),
                ('weather_source', models.CharField(max_length=80)),
                ('first_day', models.DateField(help_text='Day 0 of the rows.')),
                ('rows', models.JSONField(help_text='Planner rows: bond_days, plaster_days, fill_days, lengths in slots.')),
                ('verdicts', models.JSONField(default=list, help_text='Per day: can plaster, doubtful, cannot; with the reason.')),
                ('band', models.JSONField(help_text='p10 p50 p80 p90 as dates, chance of each day, share later.', null=True)),
                ('seed', models.PositiveBigIntegerField(default=0)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='expected', to='jobs.job')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'constraints': [models.UniqueConstraint(fields=('contractor', 'job'), name='jobs_expected_once'), models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_expecteddates_own'), shared.tenancy.constraints.RowsOfContractor(name='jobs_expecteddates_rows'), shared.tenancy.constraints.SameContractor(field='job', name='jobs_expecteddates_job_same')],
            },
        ),
        migrations.CreateModel(
            name='BandPoint',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('at', models.DateTimeField()),
                ('p50', models.DateField(null=True)),
                ('p80', models.DateField(null=True)),
                ('p90', models.DateField(null=True)),
                ('why', models.CharField(blank=True, max_length=160)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='band_points', to='jobs.job')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'indexes': [models.Index(fields=['contractor', 'job', 'at'], name='jobs_bandpoint_at')],
                'constraints': [models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_bandpoint_own'), shared.tenancy.constraints.RowsOfContractor(name='jobs_bandpoint_rows'), shared.tenancy.constraints.SameContractor(field='job', name='jobs_bandpoint_job_same')],
            },
        ),
        migrations.CreateModel(
            name='Addition',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('client_id', models.UUIDField(default=uuid.uuid4)),
                ('at', models.DateTimeField()),
                ('by', models.CharField(max_length=120)),
                ('substance', models.CharField(max_length=24)),
                ('amount_kg', models.FloatField(null=True)),
                ('amount_l', models.FloatField(null=True)),
                ('predicted', models.JSONField(default=dict)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='additions', to='jobs.job')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'indexes': [models.Index(fields=['contractor', 'job', 'at'], name='jobs_addition_at')],
                'constraints': [models.UniqueConstraint(fields=('contractor', 'client_id'), name='jobs_addition_once'), models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_addition_own'), shared.tenancy.constraints.RowsOfContractor(name='jobs_addition_rows'), shared.tenancy.constraints.SameContractor(field='job', name='jobs_addition_job_same')],
            },
        ),
        migrations.AddConstraint(
            model_name='poolowner',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_poolowner_own'),
        ),
        migrations.AddConstraint(
            model_name='poolowner',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_poolowner_rows'),
        ),
        migrations.AddConstraint(
            model_name='site',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_site_own'),
        ),
        migrations.AddConstraint(
            model_name='site',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_site_rows'),
        ),
        migrations.AddConstraint(
            model_name='pool',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_pool_own'),
        ),
        migrations.AddConstraint(
            model_name='pool',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_pool_rows'),
        ),
        migrations.AddConstraint(
            model_name='pool',
            constraint=shared.tenancy.constraints.SameContractor(field='site', name='jobs_pool_site_same'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(fields=['contractor', 'state'], name='jobs_job_state'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.UniqueConstraint(fields=('contractor', 'number'), name='jobs_job_number'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_job_own'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_job_rows'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=shared.tenancy.constraints.SameContractor(field='site', name='jobs_job_site_same'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=shared.tenancy.constraints.SameContractor(field='pool', name='jobs_job_pool_same'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=shared.tenancy.constraints.SameContractor(field='pool_owner', name='jobs_job_pool_owner_same'),
        ),
        migrations.AddIndex(
            model_name='sitelog',
            index=models.Index(fields=['contractor', 'job', 'at'], name='jobs_sitelog_at'),
        ),
        migrations.AddConstraint(
            model_name='sitelog',
            constraint=models.UniqueConstraint(fields=('contractor', 'client_id'), name='jobs_sitelog_once'),
        ),
        migrations.AddConstraint(
            model_name='sitelog',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_sitelog_own'),
        ),
        migrations.AddConstraint(
            model_name='sitelog',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_sitelog_rows'),
        ),
        migrations.AddConstraint(
            model_name='sitelog',
            constraint=shared.tenancy.constraints.SameContractor(field='job', name='jobs_sitelog_job_same'),
        ),
        migrations.AddIndex(
            model_name='survey',
            index=models.Index(fields=['contractor', 'pool', '-taken_at'], name='jobs_survey_latest'),
        ),
        migrations.AddConstraint(
            model_name='survey',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_survey_own'),
        ),
        migrations.AddConstraint(
            model_name='survey',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_survey_rows'),
        ),
        migrations.AddConstraint(
            model_name='survey',
            constraint=shared.tenancy.constraints.SameContractor(field='pool', name='jobs_survey_pool_same'),
        ),
        migrations.AddIndex(
            model_name='scope',
            index=models.Index(fields=['contractor', 'job', '-agreed_at'], name='jobs_scope_latest'),
        ),
        migrations.AddConstraint(
            model_name='scope',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_scope_own'),
        ),
        migrations.AddConstraint(
            model_name='scope',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_scope_rows'),
        ),
        migrations.AddConstraint(
            model_name='scope',
            constraint=shared.tenancy.constraints.SameContractor(field='job', name='jobs_scope_job_same'),
        ),
        migrations.AddConstraint(
            model_name='scope',
            constraint=shared.tenancy.constraints.SameContractor(field='survey', name='jobs_scope_survey_same'),
        ),
        migrations.AddConstraint(
            model_name='observation',
            constraint=models.UniqueConstraint(fields=('contractor', 'survey', 'name'), name='jobs_observation_once'),
        ),
        migrations.AddConstraint(
            model_name='observation',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_observation_own'),
        ),
        migrations.AddConstraint(
            model_name='observation',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_observation_rows'),
        ),
        migrations.AddConstraint(
            model_name='observation',
            constraint=shared.tenancy.constraints.SameContractor(field='survey', name='jobs_observation_survey_same'),
        ),
        migrations.AddIndex(
            model_name='watertest',
            index=models.Index(fields=['contractor', 'job', 'at'], name='jobs_watertest_at'),
        ),
        migrations.AddConstraint(
            model_name='watertest',
            constraint=models.UniqueConstraint(fields=('contractor', 'client_id'), name='jobs_watertest_once'),
        ),
        migrations.AddConstraint(
            model_name='watertest',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='jobs_watertest_own'),
        ),
        migrations.AddConstraint(
            model_name='watertest',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='jobs_watertest_rows'),
        ),
        migrations.AddConstraint(
            model_name='watertest',
            constraint=shared.tenancy.constraints.SameContractor(field='job', name='jobs_watertest_job_same'),
        ),
        migrations.AddIndex(
            model_name='weatherhours',
            index=models.Index(fields=['cell', 'kind', '-issued_at'], name='jobs_weatherhours_latest'),
        ),
        migrations.AddConstraint(
            model_name='weatherhours',
            constraint=models.UniqueConstraint(fields=('cell', 'kind', 'issued_at'), name='jobs_weatherhours_once'),
        ),
    ]
