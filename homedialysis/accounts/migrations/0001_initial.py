import django.db.models.deletion
import django.utils.timezone
import homedialysis.accounts.models
import homedialysis.running.migrating
import pgtrigger.compiler
import pgtrigger.migrations
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
        ('pghistory', '0007_auto_20250421_0444'),
    ]

    operations = [
        homedialysis.running.migrating.Together(
            operations=[
                migrations.CreateModel(
                    name='UnitEvent',
                    fields=[
                        ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                        ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                        ('pgh_label', models.TextField(help_text='The event label.')),
                        ('id', models.BigIntegerField()),
                        ('only', models.BooleanField(default=True, editable=False)),
                        ('name', models.CharField(max_length=120, verbose_name='name')),
                        ('time_zone', models.CharField(default='UTC', max_length=60, validators=[homedialysis.accounts.models.known_time_zone], verbose_name='time zone')),
                        ('unit_system', models.CharField(choices=[('si', 'SI (mmol/L, g/L)'), ('us', 'US conventional (mg/dL, g/dL)')], default='si', max_length=2, verbose_name='unit system')),
                        ('emergency_number', models.CharField(max_length=30, verbose_name='ambulance number')),
                        ('on_call_number', models.CharField(max_length=30, verbose_name="unit's on-call number")),
                        ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                        ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='accounts.unit')),
                    ],
                    options={
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='UserEvent',
                    fields=[
                        ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                        ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                        ('pgh_label', models.TextField(help_text='The event label.')),
                        ('id', models.BigIntegerField()),
                        ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                        ('email', models.EmailField(max_length=254, verbose_name='e-mail address')),
                        ('name', models.CharField(max_length=120, verbose_name='name')),
                        ('role', models.CharField(choices=[('patient', 'patient'), ('care_partner', 'care partner'), ('nurse', 'nurse'), ('nephrologist', 'nephrologist'), ('technologist', 'technologist'), ('administrator', 'administrator')], max_length=20)),
                        ('language', models.CharField(blank=True, help_text='Empty: as the browser asks.', max_length=20)),
                        ('is_active', models.BooleanField(default=True)),
                        ('date_joined', models.DateTimeField(default=django.utils.timezone.now)),
                        ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                        ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='User',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('password', models.CharField(max_length=128, verbose_name='password')),
                        ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                        ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                        ('email', models.EmailField(max_length=254, unique=True, verbose_name='e-mail address')),
                        ('name', models.CharField(max_length=120, verbose_name='name')),
                        ('role', models.CharField(choices=[('patient', 'patient'), ('care_partner', 'care partner'), ('nurse', 'nurse'), ('nephrologist', 'nephrologist'), ('technologist', 'technologist'), ('administrator', 'administrator')], max_length=20)),
                        ('language', models.CharField(blank=True, help_text='Empty: as the browser asks.', max_length=20)),
                        ('is_active', models.BooleanField(default=True)),
                        ('date_joined', models.DateTimeField(default=django.utils.timezone.now)),
                        ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                        ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
                    ],
                    options={
                        'ordering': ['name'],
                    },
                ),
                migrations.CreateModel(
                    name='BedsideDevice',
                    fields=[
                        ('id', models.UUIDField(primary_key=True, serialize=False)),
                        ('name', models.CharField(max_length=80)),
                        ('first_contact', models.DateTimeField()),
                        ('last_contact', models.DateTimeField()),
                        ('session_key', models.CharField(blank=True, max_length=40)),
                        ('revoked_at', models.DateTimeField(blank=True, null=True)),
                        ('revoked_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='bedside_devices', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-last_contact'],
                    },
                ),
                migrations.CreateModel(
                    name='DeviceToken',
                    fields=[
                        ('digest', models.CharField(max_length=128, primary_key=True, serialize=False)),
                        ('token_key', models.CharField(db_index=True, max_length=25)),
                        ('created', models.DateTimeField(auto_now_add=True)),
                        ('expiry', models.DateTimeField(blank=True, null=True)),
                        ('public_id', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                        ('name', models.CharField(default='', max_length=80, verbose_name='device')),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='auth_token_set', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-created'],
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='Invitation',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('digest', models.CharField(max_length=64, unique=True)),
                        ('created_at', models.DateTimeField()),
                        ('expires_at', models.DateTimeField()),
                        ('used_at', models.DateTimeField(blank=True, null=True)),
                        ('invited_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='invitations', to=settings.AUTH_USER_MODEL)),
                    ],
                ),
                migrations.CreateModel(
                    name='ReadLog',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('patient_id', models.UUIDField(db_index=True)),
                        ('path', models.CharField(max_length=200)),
                        ('at', models.DateTimeField(default=django.utils.timezone.now)),
                        ('user', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                ),
                migrations.CreateModel(
                    name='Unit',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('only', models.BooleanField(default=True, editable=False, unique=True)),
                        ('name', models.CharField(max_length=120, verbose_name='name')),
                        ('time_zone', models.CharField(default='UTC', max_length=60, validators=[homedialysis.accounts.models.known_time_zone], verbose_name='time zone')),
                        ('unit_system', models.CharField(choices=[('si', 'SI (mmol/L, g/L)'), ('us', 'US conventional (mg/dL, g/dL)')], default='si', max_length=2, verbose_name='unit system')),
                        ('emergency_number', models.CharField(max_length=30, verbose_name='ambulance number')),
                        ('on_call_number', models.CharField(max_length=30, verbose_name="unit's on-call number")),
                    ],
                    options={
                        'constraints': [models.CheckConstraint(condition=models.Q(('only', True)), name='unit_only_one')],
                    },
                ),
                migrations.CreateModel(
                    name='OpeningHours',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('weekday', models.PositiveSmallIntegerField(choices=[(0, 'Monday'), (1, 'Tuesday'), (2, 'Wednesday'), (3, 'Thursday'), (4, 'Friday'), (5, 'Saturday'), (6, 'Sunday')], verbose_name='weekday')),
                        ('opens', models.TimeField()),
                        ('closes', models.TimeField()),
                        ('unit', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='opening_hours', to='accounts.unit')),
                    ],
                    options={
                        'ordering': ['weekday', 'opens'],
                        'constraints': [models.CheckConstraint(condition=models.Q(('closes__gt', models.F('opens'))), name='opening_hours_in_order'), models.UniqueConstraint(fields=('unit', 'weekday'), name='opening_hours_once_a_day')],
                    },
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='unit',
                    trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "accounts_unitevent" ("emergency_number", "id", "name", "on_call_number", "only", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "time_zone", "unit_system") VALUES (NEW."emergency_number", NEW."id", NEW."name", NEW."on_call_number", NEW."only", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."time_zone", NEW."unit_system"); RETURN NULL;', hash='09813d3dc9427790832f9d3b55995d02eea5f547', operation='INSERT', pgid='pgtrigger_insert_insert_8ba9e', table='accounts_unit', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='unit',
                    trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "accounts_unitevent" ("emergency_number", "id", "name", "on_call_number", "only", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "time_zone", "unit_system") VALUES (NEW."emergency_number", NEW."id", NEW."name", NEW."on_call_number", NEW."only", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."time_zone", NEW."unit_system"); RETURN NULL;', hash='cc1b66055f2b2373d1b745c53193745ca0efa606', operation='UPDATE', pgid='pgtrigger_update_update_9885a', table='accounts_unit', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='user',
                    trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "accounts_userevent" ("date_joined", "email", "id", "is_active", "is_superuser", "language", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "role") VALUES (NEW."date_joined", NEW."email", NEW."id", NEW."is_active", NEW."is_superuser", NEW."language", NEW."name", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."role"); RETURN NULL;', hash='8b804ce06c56839630c7848f75a9bee8d91c8814', operation='INSERT', pgid='pgtrigger_insert_insert_3867c', table='accounts_user', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='user',
                    trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD."date_joined" IS DISTINCT FROM (NEW."date_joined") OR OLD."email" IS DISTINCT FROM (NEW."email") OR OLD."id" IS DISTINCT FROM (NEW."id") OR OLD."is_active" IS DISTINCT FROM (NEW."is_active") OR OLD."is_superuser" IS DISTINCT FROM (NEW."is_superuser") OR OLD."language" IS DISTINCT FROM (NEW."language") OR OLD."name" IS DISTINCT FROM (NEW."name") OR OLD."role" IS DISTINCT FROM (NEW."role"))', func='INSERT INTO "accounts_userevent" ("date_joined", "email", "id", "is_active", "is_superuser", "language", "name", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "role") VALUES (NEW."date_joined", NEW."email", NEW."id", NEW."is_active", NEW."is_superuser", NEW."language", NEW."name", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."role"); RETURN NULL;', hash='9d9edcdc6a17ad3a452592ee66349cf3a23ad1aa', operation='UPDATE', pgid='pgtrigger_update_update_0e890', table='accounts_user', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='readlog',
                    trigger=pgtrigger.compiler.Trigger(name='read_log_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='9464511abfd22d0a2cb2c13e85704ff691c9ab21', operation='UPDATE OR DELETE', pgid='pgtrigger_read_log_append_only_5a8b4', table='accounts_readlog', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='unitevent',
                    trigger=pgtrigger.compiler.Trigger(name='append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='83f3e89dea885acccb35b158e1d19fdbbc30075d', operation='UPDATE OR DELETE', pgid='pgtrigger_append_only_f5bbe', table='accounts_unitevent', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='userevent',
                    trigger=pgtrigger.compiler.Trigger(name='append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='9e9498e73f6fbdf2642fb33fa14189f1ad2382c8', operation='UPDATE OR DELETE', pgid='pgtrigger_append_only_45b21', table='accounts_userevent', when='BEFORE')),
                ),
            ],
        ),
    ]
