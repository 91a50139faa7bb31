# First tables.

import django.contrib.postgres.fields
import django.db.models.deletion
import shared.ids
import shared.tenancy.constraints
import shared.tenancy.models
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('jobs', '0001_initial'),
        ('shared', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='Crew',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('skills', django.contrib.postgres.fields.ArrayField(base_field=models.CharField(choices=[('water', 'water'), ('prep', 'prep'), ('plaster', 'plaster')], max_length=12), size=None)),
                ('people', models.PositiveSmallIntegerField(default=2)),
                ('branch', models.CharField(default='main', help_text='Crews serve the sites of their branch.', max_length=40)),
                ('latitude', models.FloatField()),
                ('longitude', models.FloatField()),
                ('active', models.BooleanField(default=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('lead', shared.tenancy.models.TenantForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='crews', to='shared.membership')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Absence',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('first_day', models.DateField()),
                ('last_day', models.DateField()),
                ('reason', models.CharField(blank=True, max_length=120)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('crew', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='absences', to='scheduling.crew')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Plan',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('state', models.CharField(choices=[('proposed', 'proposed'), ('issued', 'issued'), ('past', 'past')], default='proposed', max_length=12)),
                ('branch', models.CharField(default='main', max_length=40)),
                ('version', models.PositiveIntegerField()),
                ('base_version', models.PositiveIntegerField(default=0, help_text='The issued version it was made from.')),
                ('first_day', models.DateField(help_text='Day 0 of the slots.')),
                ('problem', models.JSONField()),
                ('answer', models.JSONField()),
                ('objective', models.BigIntegerField()),
                ('bound', models.BigIntegerField(null=True)),
                ('greedy', models.BigIntegerField(null=True)),
                ('why', models.CharField(blank=True, max_length=160)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('issued_at', models.DateTimeField(null=True)),
                ('issued_by', models.CharField(blank=True, max_length=120)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='PlanRun',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('running', 'running'), ('done', 'done'), ('cancelled', 'stopped early'), ('failed', 'failed')], default='waiting', max_length=12)),
                ('branch', models.CharField(default='main', max_length=40)),
                ('asked_by', models.CharField(max_length=120)),
                ('asked_at', models.DateTimeField(auto_now_add=True)),
                ('why', models.CharField(blank=True, max_length=160)),
                ('seconds', models.PositiveSmallIntegerField(default=20)),
                ('seed', models.PositiveIntegerField(default=1)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('claimed_at', models.DateTimeField(null=True)),
                ('beat_at', models.DateTimeField(null=True)),
                ('cancel_asked', models.BooleanField(default=False)),
                ('progress', models.JSONField(default=dict)),
                ('problem_text', models.TextField(blank=True, help_text='What went wrong, in words.')),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('plan', shared.tenancy.models.TenantForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='runs', to='scheduling.plan')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Shift',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('weekday', models.PositiveSmallIntegerField()),
                ('from_min', models.PositiveSmallIntegerField()),
                ('to_min', models.PositiveSmallIntegerField()),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('crew', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='shifts', to='scheduling.crew')),
            ],
            options={
                'ordering': ['weekday', 'from_min'],
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='Stint',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('stage', models.CharField(choices=[('drain_setup', 'drain: set up pump'), ('drain_pull', 'drain: pull pump'), ('prep', 'chip and prep'), ('bond', 'bond coat'), ('bond_again', 'second bond coat'), ('plaster', 'apply and trowel'), ('fill_start', 'start the fill'), ('fill_end', 'end of the fill'), ('start_up', 'start-up visit')], max_length=16)),
                ('key', models.CharField(max_length=24)),
                ('state', models.CharField(choices=[('proposed', 'proposed'), ('issued', 'issued'), ('begun', 'begun'), ('done', 'done'), ('dropped', 'dropped')], default='issued', max_length=12)),
                ('starts', models.DateTimeField()),
                ('ends', models.DateTimeField()),
                ('kept', models.BooleanField(default=False, help_text='Keep this day: the planner may not move it.')),
                ('begun_at', models.DateTimeField(null=True)),
                ('done_at', models.DateTimeField(null=True)),
                ('hours_worked', models.FloatField(null=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('crew', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='stints', to='scheduling.crew')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.PROTECT, related_name='stints', to='jobs.job')),
                ('plan', shared.tenancy.models.TenantForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stints', to='scheduling.plan')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
            },
        ),
        migrations.CreateModel(
            name='CalendarEntry',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('key', models.CharField(help_text='fill, prep, plaster ... of the job', max_length=40)),
                ('uid', models.CharField(max_length=80, unique=True)),
                ('sequence', models.PositiveIntegerField(default=0)),
                ('fingerprint', models.CharField(max_length=64)),
                ('crew_id', models.UUIDField(null=True)),
                ('starts', models.DateTimeField(null=True)),
                ('ends', models.DateTimeField(null=True)),
                ('day', models.DateField(help_text='All-day entries: the fill day.', null=True)),
                ('facts', models.JSONField(default=dict)),
                ('confirmed', models.BooleanField(default=False)),
                ('created_at', models.DateTimeField()),
                ('changed_at', models.DateTimeField()),
                ('cancelled_at', models.DateTimeField(null=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('job', shared.tenancy.models.TenantForeignKey(db_constraint=False, on_delete=django.db.models.deletion.CASCADE, related_name='calendar_entries', to='jobs.job')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'indexes': [models.Index(fields=['contractor', 'crew_id'], name='scheduling_entry_crew')],
                'constraints': [models.UniqueConstraint(fields=('contractor', 'job', 'key'), name='scheduling_entry_once'), models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_calendarentry_own'), shared.tenancy.constraints.RowsOfContractor(name='scheduling_calendarentry_rows'), shared.tenancy.constraints.SameContractor(field='job', name='scheduling_calendarentry_job_same')],
            },
        ),
        migrations.AddConstraint(
            model_name='crew',
            constraint=models.UniqueConstraint(fields=('contractor', 'name'), name='scheduling_crew_name'),
        ),
        migrations.AddConstraint(
            model_name='crew',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_crew_own'),
        ),
        migrations.AddConstraint(
            model_name='crew',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='scheduling_crew_rows'),
        ),
        migrations.AddConstraint(
            model_name='crew',
            constraint=shared.tenancy.constraints.SameContractor(field='lead', name='scheduling_crew_lead_same'),
        ),
        migrations.AddIndex(
            model_name='absence',
            index=models.Index(fields=['contractor', 'crew', 'first_day'], name='scheduling_absence_days'),
        ),
        migrations.AddConstraint(
            model_name='absence',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_absence_own'),
        ),
        migrations.AddConstraint(
            model_name='absence',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='scheduling_absence_rows'),
        ),
        migrations.AddConstraint(
            model_name='absence',
            constraint=shared.tenancy.constraints.SameContractor(field='crew', name='scheduling_absence_crew_same'),
        ),
        migrations.AddConstraint(
            model_name='plan',
            constraint=models.UniqueConstraint(fields=('contractor', 'version'), name='scheduling_plan_version'),
        ),
        migrations.AddConstraint(
            model_name='plan',
            constraint=models.UniqueConstraint(condition=models.Q(('state', 'issued')), fields=('contractor', 'branch'), name='scheduling_plan_one_issued'),
        ),
        migrations.AddConstraint(
            model_name='plan',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_plan_own'),
        ),
        migrations.AddConstraint(
            model_name='plan',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='scheduling_plan_rows'),
        ),
        migrations.AddIndex(
            model_name='planrun',
            index=models.Index(fields=['contractor', 'state', 'asked_at'], name='scheduling_run_state'),
        ),
        migrations.AddConstraint(
            model_name='planrun',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_planrun_own'),
        ),
        migrations.AddConstraint(
            model_name='planrun',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='scheduling_planrun_rows'),
        ),
        migrations.AddConstraint(
            model_name='planrun',
            constraint=shared.tenancy.constraints.SameContractor(field='plan', name='scheduling_planrun_plan_same'),
        ),
        migrations.AddConstraint(
            model_name='shift',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_shift_own'),
        ),
        migrations.AddConstraint(
            model_name='shift',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='scheduling_shift_rows'),
        ),
        migrations.AddConstraint(
            model_name='shift',
            constraint=shared.tenancy.constraints.SameContractor(field='crew', name='scheduling_shift_crew_same'),
        ),
        migrations.AddIndex(
            model_name='stint',
            index=models.Index(fields=['contractor', 'starts'], name='scheduling_stint_starts'),
        ),
        migrations.AddIndex(
            model_name='stint',
            index=models.Index(fields=['contractor', 'job'], name='scheduling_stint_job'),
        ),
        migrations.AddIndex(
            model_name='stint',
            index=models.Index(fields=['contractor', 'crew', 'starts'], name='scheduling_stint_crew'),
        ),
        migrations.AddConstraint(
            model_name='stint',
            constraint=models.UniqueConstraint(condition=models.Q(('state__in', ['dropped', 'proposed']), _negated=True), fields=('contractor', 'job', 'key'), name='scheduling_stint_once'),
        ),
        migrations.AddConstraint(
            model_name='stint',
            constraint=models.UniqueConstraint(fields=('contractor', 'id'), name='scheduling_stint_own'),
        ),
        migrations.AddConstraint(
            model_name='stint',
            constraint=shared.tenancy.constraints.RowsOfContractor(name='scheduling_stint_rows'),
        ),
        migrations.AddConstraint(
            model_name='stint',
            constraint=shared.tenancy.constraints.SameContractor(field='plan', name='scheduling_stint_plan_same'),
        ),
        migrations.AddConstraint(
            model_name='stint',
            constraint=shared.tenancy.constraints.SameContractor(field='job', name='scheduling_stint_job_same'),
        ),
        migrations.AddConstraint(
            model_name='stint',
            constraint=shared.tenancy.constraints.SameContractor(field='crew', name='scheduling_stint_crew_same'),
        ),
    ]
