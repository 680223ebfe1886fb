import django.db.models.deletion
import homedialysis.running.migrating
import pgtrigger.compiler
import pgtrigger.migrations
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('accounts', '0001_initial'),
        ('treatment', '0001_initial'),
    ]

    operations = [
        homedialysis.running.migrating.Together(
            operations=[
                migrations.CreateModel(
                    name='Job',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('kind', models.CharField(choices=[('reports', 'reviews of a month as PDF'), ('export', 'everything as FHIR NDJSON')], max_length=10)),
                        ('params', models.JSONField(default=dict)),
                        ('asked_at', models.DateTimeField()),
                        ('total', models.PositiveIntegerField(default=0)),
                        ('done', models.PositiveIntegerField(default=0)),
                        ('touched_at', models.DateTimeField(null=True)),
                        ('finished_at', models.DateTimeField(null=True)),
                        ('stopped_at', models.DateTimeField(null=True)),
                        ('error', models.CharField(blank=True, max_length=300)),
                        ('result', models.CharField(blank=True, max_length=120)),
                        ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-asked_at'],
                        'indexes': [models.Index(condition=models.Q(('finished_at', None), ('stopped_at', None)), fields=['asked_at'], name='job_open')],
                    },
                ),
                migrations.CreateModel(
                    name='MonthlyReview',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('month', models.DateField()),
                        ('words', models.TextField(blank=True, verbose_name='judgement')),
                        ('for_patient', models.TextField(blank=True, verbose_name='in plain words for the patient')),
                        ('frozen', models.JSONField(default=dict)),
                        ('written_at', models.DateTimeField()),
                        ('signed_at', models.DateTimeField(blank=True, null=True)),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reviews', to='treatment.patient')),
                        ('signed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('written_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-month'],
                        'constraints': [models.UniqueConstraint(fields=('patient', 'month'), name='review_once_a_month'), models.CheckConstraint(condition=models.Q(models.Q(('signed_at', None), ('signed_by', None)), models.Q(('signed_at__isnull', False), ('signed_by__isnull', False)), _connector='OR'), name='review_signed_by_somebody')],
                    },
                ),
                migrations.CreateModel(
                    name='PatientMonth',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('month', models.DateField(help_text='Its first day.')),
                        ('numbers', models.JSONField(default=dict)),
                        ('delivered', models.JSONField(default=dict)),
                        ('science_version', models.CharField(blank=True, max_length=20)),
                        ('computed_at', models.DateTimeField()),
                        ('stale', models.BooleanField(default=True)),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='months', to='treatment.patient')),
                    ],
                    options={
                        'ordering': ['-month'],
                        'indexes': [models.Index(condition=models.Q(('stale', True)), fields=['month'], name='month_waiting')],
                        'constraints': [models.UniqueConstraint(fields=('patient', 'month'), name='month_once')],
                    },
                ),
                migrations.CreateModel(
                    name='PlanItem',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('words', models.CharField(max_length=300, verbose_name='what')),
                        ('due_on', models.DateField(verbose_name='until')),
                        ('done_at', models.DateTimeField(blank=True, null=True)),
                        ('done_words', models.CharField(blank=True, max_length=300, verbose_name='what was done')),
                        ('done_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('owner', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('review', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plan', to='dosing.monthlyreview')),
                    ],
                    options={
                        'ordering': ['due_on', 'pk'],
                        'indexes': [models.Index(condition=models.Q(('done_at', None)), fields=['due_on'], name='plan_open')],
                    },
                ),
                migrations.CreateModel(
                    name='RecordNumbers',
                    fields=[
                        ('record', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='computed', serialize=False, to='treatment.treatmentrecord')),
                        ('science_version', models.CharField(max_length=20)),
                        ('record_revision', models.PositiveIntegerField()),
                        ('computed_at', models.DateTimeField()),
                        ('numbers', models.JSONField()),
                    ],
                    options={
                        'verbose_name_plural': 'record numbers',
                        'indexes': [models.Index(fields=['science_version'], name='numbers_by_science')],
                    },
                ),
                migrations.CreateModel(
                    name='ReviewAddendum',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('words', models.TextField()),
                        ('at', models.DateTimeField()),
                        ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('review', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='addenda', to='dosing.monthlyreview')),
                    ],
                    options={
                        'ordering': ['pk'],
                    },
                ),
                migrations.CreateModel(
                    name='ReviewRange',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('number', models.CharField(max_length=40)),
                        ('low', models.FloatField(blank=True, null=True)),
                        ('high', models.FloatField(blank=True, null=True)),
                        ('default', models.BooleanField(default=False)),
                        ('why', models.TextField()),
                        ('set_at', models.DateTimeField()),
                        ('set_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-set_at', '-pk'],
                        'constraints': [models.CheckConstraint(condition=models.Q(('low', None), ('high', None), ('low__lte', models.F('high')), _connector='OR'), name='review_range_in_order', violation_error_message='The lower end must not lie above the upper one.')],
                    },
                ),
                migrations.CreateModel(
                    name='ReviewRelease',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('at', models.DateTimeField()),
                        ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('review', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='release', to='dosing.monthlyreview')),
                    ],
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='monthlyreview',
                    trigger=pgtrigger.compiler.Trigger(name='review_signed_stays', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD."signed_at" IS NOT NULL)', func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='3080cac0fb9d35da848d6441a565c6c88b9cb1c5', operation='UPDATE OR DELETE', pgid='pgtrigger_review_signed_stays_da882', table='dosing_monthlyreview', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='reviewaddendum',
                    trigger=pgtrigger.compiler.Trigger(name='addendum_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='2677b24d01d6a8f78872c82b9f0df59828b3d9d7', operation='UPDATE OR DELETE', pgid='pgtrigger_addendum_append_only_67faf', table='dosing_reviewaddendum', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='reviewrange',
                    trigger=pgtrigger.compiler.Trigger(name='review_range_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='89e9afe6c15bc9de981cddad112dc2cd34a21d94', operation='UPDATE OR DELETE', pgid='pgtrigger_review_range_append_only_0369e', table='dosing_reviewrange', when='BEFORE')),
                ),
            ],
        ),
    ]
