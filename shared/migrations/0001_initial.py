# First tables.

import django.db.models.deletion
import shared.ids
import shared.models.contractor
import shared.tenancy.constraints
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Person',
            fields=[
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('email', models.EmailField(max_length=254, unique=True)),
                ('name', models.CharField(max_length=120)),
                ('language', models.CharField(default='en', max_length=8)),
                ('is_active', models.BooleanField(default=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Contractor',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('slug', models.SlugField(unique=True)),
                ('name', models.CharField(max_length=120)),
                ('zone', models.CharField(default='America/New_York', max_length=64, validators=[shared.models.contractor.known_zone])),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
        ),
        migrations.CreateModel(
            name='AuditEntry',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('at', models.DateTimeField()),
                ('who', models.CharField(max_length=160)),
                ('what', models.CharField(max_length=64)),
                ('subject', models.CharField(max_length=64)),
                ('subject_id', models.UUIDField(null=True)),
                ('before', models.JSONField(null=True)),
                ('after', models.JSONField(null=True)),
                ('origin', models.CharField(blank=True, max_length=64)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'indexes': [models.Index(fields=['contractor', 'subject_id', 'at'], name='shared_audit_subject')],
                'constraints': [models.UniqueConstraint(fields=('contractor', 'id'), name='shared_auditentry_own'), shared.tenancy.constraints.RowsOfContractor(name='shared_auditentry_rows')],
            },
        ),
        migrations.CreateModel(
            name='AccessToken',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('feed', 'calendar link'), ('link', 'private link'), ('api', 'API token'), ('invitation', 'invitation')], max_length=12)),
                ('purpose', models.CharField(max_length=32)),
                ('subject_id', models.UUIDField(help_text='The job, crew or member it is for; none for the firm.', null=True)),
                ('note', models.JSONField(default=dict)),
                ('generation', models.PositiveIntegerField(default=1)),
                ('token_hash', models.CharField(max_length=64, unique=True)),
                ('made_by', models.CharField(blank=True, max_length=120)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('expires_at', models.DateTimeField(null=True)),
                ('revoked_at', models.DateTimeField(null=True)),
                ('last_used_at', models.DateTimeField(null=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'indexes': [models.Index(fields=['contractor', 'purpose', 'subject_id'], name='shared_token_subject')],
                'constraints': [models.UniqueConstraint(fields=('contractor', 'id'), name='shared_accesstoken_own'), shared.tenancy.constraints.RowsOfContractor(name='shared_accesstoken_rows')],
            },
        ),
        migrations.CreateModel(
            name='Firm',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('units', models.CharField(choices=[('us', 'US units'), ('metric', 'metric units')], default='us', max_length=8)),
                ('contact_name', models.CharField(blank=True, max_length=120)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('pumps', models.PositiveSmallIntegerField(default=2)),
                ('rigs', models.PositiveSmallIntegerField(default=1)),
                ('limits', models.JSONField(blank=True, default=dict, help_text='Own weather limits by name; absent: the default.')),
                ('rates', models.JSONField(blank=True, default=dict, help_text='Own production rates by name; absent: the default.')),
                ('weights', models.JSONField(blank=True, default=dict, help_text='Planner weights by name; absent: the default.')),
                ('likelihoods', models.JSONField(blank=True, default=dict, help_text='Own likelihoods of the survey.')),
                ('words', models.JSONField(blank=True, default=dict, help_text="The firm's own sentences, by place.")),
                ('weather_source', models.CharField(default='archive', max_length=24)),
                ('demo_shift', models.BooleanField(default=False, help_text='Demonstration: dates are mapped to the typical year.')),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'constraints': [models.UniqueConstraint(fields=('contractor',), name='shared_firm_once'), models.UniqueConstraint(fields=('contractor', 'id'), name='shared_firm_own'), shared.tenancy.constraints.RowsOfContractor(name='shared_firm_rows')],
            },
        ),
        migrations.CreateModel(
            name='Membership',
            fields=[
                ('id', models.UUIDField(default=shared.ids.uuid7, editable=False, primary_key=True, serialize=False)),
                ('role', models.CharField(choices=[('office', 'office'), ('crew_lead', 'crew lead'), ('manager', 'manager')], max_length=12)),
                ('active', models.BooleanField(default=True)),
                ('joined_at', models.DateTimeField(auto_now_add=True)),
                ('contractor', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shared.contractor')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'abstract': False,
                'base_manager_name': 'objects',
                'default_manager_name': 'objects',
                'constraints': [models.UniqueConstraint(fields=('contractor', 'person'), name='shared_membership_once'), models.UniqueConstraint(fields=('contractor', 'id'), name='shared_membership_own'), shared.tenancy.constraints.RowsOfContractor(name='shared_membership_rows')],
            },
        ),
    ]
