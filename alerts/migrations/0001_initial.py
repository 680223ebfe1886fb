import django.core.validators
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
        ('pghistory', '0007_auto_20250421_0444'),
        ('treatment', '0001_initial'),
    ]

    operations = [
        homedialysis.running.migrating.Together(
            operations=[
                migrations.CreateModel(
                    name='Absence',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('first_day', models.DateField(verbose_name='from')),
                        ('last_day', models.DateField(verbose_name='up to and including')),
                        ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='absences', to=settings.AUTH_USER_MODEL, verbose_name='person')),
                    ],
                    options={
                        'ordering': ['first_day', 'pk'],
                        'constraints': [models.CheckConstraint(condition=models.Q(('last_day__gte', models.F('first_day'))), name='absence_in_order')],
                    },
                ),
                migrations.CreateModel(
                    name='AbsenceEvent',
                    fields=[
                        ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                        ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                        ('pgh_label', models.TextField(help_text='The event label.')),
                        ('id', models.BigIntegerField()),
                        ('first_day', models.DateField(verbose_name='from')),
                        ('last_day', models.DateField(verbose_name='up to and including')),
                        ('person', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL, verbose_name='person')),
                        ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                        ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='alerts.absence')),
                    ],
                    options={
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='Alert',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('rule', models.CharField(max_length=40)),
                        ('cause', models.CharField(max_length=60)),
                        ('urgency', models.PositiveSmallIntegerField(choices=[(1, 'Call today'), (2, 'This week'), (3, 'At the review')])),
                        ('state', models.CharField(choices=[('open', 'open'), ('closed', 'closed')], default='open', max_length=6)),
                        ('evidence', models.JSONField(default=list)),
                        ('limit', models.JSONField(blank=True, default=dict)),
                        ('parts', models.JSONField(blank=True, default=dict)),
                        ('first_night', models.DateField()),
                        ('last_night', models.DateField()),
                        ('opened_at', models.DateTimeField()),
                        ('last_seen_at', models.DateTimeField(verbose_name='newest evidence at')),
                        ('cause_gone_at', models.DateTimeField(blank=True, null=True)),
                        ('closed_at', models.DateTimeField(blank=True, null=True)),
                        ('outcome', models.CharField(blank=True, choices=[('spoken', 'Spoken with the patient'), ('visit', 'Visit or clinic appointment arranged'), ('physician', 'Handed to the nephrologist'), ('hospital', 'Sent to hospital or emergency care'), ('record_wrong', 'The record was wrong'), ('known', 'Known and accepted, nothing to do now'), ('other', 'Something else')], max_length=20)),
                        ('set_aside_until', models.DateTimeField(blank=True, null=True)),
                        ('waits_since', models.DateTimeField(blank=True, null=True, verbose_name='waits to be looked at since')),
                        ('looked_at', models.DateTimeField(blank=True, null=True, verbose_name='first looked at by a person')),
                        ('assigned_to', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('closed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='alerts', to='treatment.patient')),
                    ],
                    options={
                        'ordering': ['urgency', 'opened_at', 'pk'],
                        'indexes': [models.Index(condition=models.Q(('state', 'open')), fields=['urgency', 'opened_at'], name='alert_open'), models.Index(fields=['patient', 'rule', '-last_night'], name='alert_of_patient'), models.Index(condition=models.Q(('state', 'closed')), fields=['-closed_at'], name='alert_closed')],
                        'constraints': [models.UniqueConstraint(condition=models.Q(('state', 'open')), fields=('patient', 'rule', 'cause'), name='alert_open_once', violation_error_message='An alert for this is open already.'), models.CheckConstraint(condition=models.Q(models.Q(('closed_at', None), ('closed_by', None), ('outcome', ''), ('state', 'open')), models.Q(('closed_at__isnull', False), ('closed_by__isnull', False), ('state', 'closed'), models.Q(('outcome', ''), _negated=True)), _connector='OR'), name='alert_closed_by_somebody'), models.CheckConstraint(condition=models.Q(('set_aside_until', None), ('state', 'open'), _connector='OR'), name='alert_set_aside_open'), models.CheckConstraint(condition=models.Q(('last_night__gte', models.F('first_night'))), name='alert_nights_in_order')],
                    },
                ),
                migrations.CreateModel(
                    name='AlertEvent',
                    fields=[
                        ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                        ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                        ('pgh_label', models.TextField(help_text='The event label.')),
                        ('id', models.BigIntegerField()),
                        ('rule', models.CharField(max_length=40)),
                        ('cause', models.CharField(max_length=60)),
                        ('urgency', models.PositiveSmallIntegerField(choices=[(1, 'Call today'), (2, 'This week'), (3, 'At the review')])),
                        ('state', models.CharField(choices=[('open', 'open'), ('closed', 'closed')], default='open', max_length=6)),
                        ('evidence', models.JSONField(default=list)),
                        ('limit', models.JSONField(blank=True, default=dict)),
                        ('parts', models.JSONField(blank=True, default=dict)),
                        ('first_night', models.DateField()),
                        ('last_night', models.DateField()),
                        ('opened_at', models.DateTimeField()),
                        ('last_seen_at', models.DateTimeField(verbose_name='newest evidence at')),
                        ('cause_gone_at', models.DateTimeField(blank=True, null=True)),
                        ('closed_at', models.DateTimeField(blank=True, null=True)),
                        ('outcome', models.CharField(blank=True, choices=[('spoken', 'Spoken with the patient'), ('visit', 'Visit or clinic appointment arranged'), ('physician', 'Handed to the nephrologist'), ('hospital', 'Sent to hospital or emergency care'), ('record_wrong', 'The record was wrong'), ('known', 'Known and accepted, nothing to do now'), ('other', 'Something else')], max_length=20)),
                        ('set_aside_until', models.DateTimeField(blank=True, null=True)),
                        ('waits_since', models.DateTimeField(blank=True, null=True, verbose_name='waits to be looked at since')),
                        ('looked_at', models.DateTimeField(blank=True, null=True, verbose_name='first looked at by a person')),
                        ('assigned_to', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL)),
                        ('closed_by', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL)),
                        ('patient', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='treatment.patient')),
                        ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                        ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='alerts.alert')),
                    ],
                    options={
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='AlertMessage',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('waiting_since', models.DateTimeField(blank=True, null=True)),
                        ('channel', models.CharField(choices=[('email', 'E-mail'), ('push', 'Message to a browser')], max_length=5)),
                        ('made_at', models.DateTimeField()),
                        ('due_at', models.DateTimeField()),
                        ('attempts', models.PositiveSmallIntegerField(default=0)),
                        ('answer', models.JSONField(default=dict)),
                        ('sent_at', models.DateTimeField(blank=True, null=True)),
                        ('failed_at', models.DateTimeField(blank=True, null=True)),
                        ('dropped_at', models.DateTimeField(blank=True, null=True)),
                        ('alert', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deliveries', to='alerts.alert')),
                        ('failure_read_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('to', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('push', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='alerts.pushaddress')),
                    ],
                    options={
                        'ordering': ['-made_at', '-pk'],
                        'indexes': [models.Index(condition=models.Q(('dropped_at', None), ('failed_at', None), ('sent_at', None)), fields=['due_at', 'id'], name='delivery_due'), models.Index(fields=['-made_at'], name='delivery_newest')],
                        'constraints': [models.UniqueConstraint(condition=models.Q(('alert__isnull', False), models.Q(('channel', 'email'), ('push__isnull', False), _connector='OR')), fields=('alert', 'waiting_since', 'to', 'channel', 'push'), name='delivery_once', nulls_distinct=False), models.CheckConstraint(condition=models.Q(models.Q(('failed_at', None), ('sent_at', None)), models.Q(('dropped_at', None), ('sent_at', None)), models.Q(('dropped_at', None), ('failed_at', None)), _connector='OR'), name='delivery_one_end')],
                    },
                ),
                migrations.CreateModel(
                    name='AlertStep',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('kind', models.CharField(choices=[('opened', 'Opened'), ('evidence', 'Evidence'), ('cause_gone', 'Cause gone'), ('cause_passed', 'Cause passed'), ('cause_back', 'Cause back'), ('back_again', 'Back again'), ('told', 'Message sent on'), ('returned', 'Back from being set aside'), ('seen', 'Seen'), ('note', 'Note'), ('call', 'Call'), ('assigned', 'Assigned'), ('set_aside', 'Set aside'), ('closed', 'Closed')], max_length=12)),
                        ('at', models.DateTimeField()),
                        ('words', models.TextField(blank=True)),
                        ('remark', models.JSONField(blank=True, default=dict)),
                        ('outcome', models.CharField(blank=True, choices=[('spoken', 'Spoken with the patient'), ('visit', 'Visit or clinic appointment arranged'), ('physician', 'Handed to the nephrologist'), ('hospital', 'Sent to hospital or emergency care'), ('record_wrong', 'The record was wrong'), ('known', 'Known and accepted, nothing to do now'), ('other', 'Something else')], max_length=20)),
                        ('until', models.DateField(blank=True, null=True)),
                        ('alert', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='alerts.alert')),
                        ('to', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('who', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('call', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='alerts.call')),
                    ],
                    options={
                        'ordering': ['pk'],
                        'indexes': [models.Index(fields=['-at'], name='alert_step_newest')],
                    },
                ),
                migrations.CreateModel(
                    name='Call',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('at', models.DateTimeField()),
                        ('result', models.CharField(choices=[('reached', 'Reached'), ('message', 'Left a message'), ('no_answer', 'No answer')], max_length=12)),
                        ('said', models.TextField(blank=True)),
                        ('plan', models.TextField(blank=True)),
                        ('next_call_at', models.DateTimeField(blank=True, null=True)),
                        ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='calls', to='treatment.patient')),
                    ],
                    options={
                        'ordering': ['-at', '-pk'],
                        'indexes': [models.Index(fields=['patient', '-at'], name='call_of_patient')],
                        'constraints': [models.CheckConstraint(condition=models.Q(('next_call_at', None), ('next_call_at__gt', models.F('at')), _connector='OR'), name='call_next_later')],
                    },
                ),
                migrations.CreateModel(
                    name='Heartbeat',
                    fields=[
                        ('part', models.CharField(max_length=10, primary_key=True, serialize=False)),
                        ('at', models.DateTimeField()),
                    ],
                ),
                migrations.CreateModel(
                    name='Limit',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('name', models.CharField(max_length=40)),
                        ('value', models.FloatField(blank=True, null=True)),
                        ('why', models.TextField()),
                        ('since', models.DateTimeField()),
                        ('until', models.DateTimeField(blank=True, null=True)),
                        ('patient', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='limits', to='treatment.patient')),
                        ('set_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-since', '-pk'],
                        'indexes': [models.Index(fields=['patient', '-since'], name='limit_of_patient')],
                        'constraints': [models.CheckConstraint(condition=models.Q(('until', None), ('until__gt', models.F('since')), _connector='OR'), name='limit_until_after_since')],
                    },
                ),
                migrations.CreateModel(
                    name='Mute',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('rule', models.CharField(max_length=40)),
                        ('since', models.DateTimeField()),
                        ('until', models.DateTimeField(blank=True, null=True)),
                        ('why', models.TextField()),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='mutes', to='treatment.patient')),
                        ('set_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-since', '-pk'],
                        'indexes': [models.Index(fields=['patient', 'rule', '-since'], name='mute_of_patient')],
                        'constraints': [models.CheckConstraint(condition=models.Q(('until', None), ('until__gt', models.F('since')), _connector='OR'), name='mute_until_after_since')],
                    },
                ),
                migrations.CreateModel(
                    name='PendingEvaluation',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('why', models.CharField(max_length=60)),
                        ('created_at', models.DateTimeField()),
                        ('due_at', models.DateTimeField()),
                        ('attempts', models.PositiveSmallIntegerField(default=0)),
                        ('loans', models.PositiveSmallIntegerField(default=0)),
                        ('last_error', models.CharField(blank=True, max_length=300)),
                        ('put_aside_at', models.DateTimeField(blank=True, null=True)),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='treatment.patient')),
                        ('record', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='treatment.treatmentrecord')),
                    ],
                    options={
                        'indexes': [models.Index(condition=models.Q(('put_aside_at', None)), fields=['due_at', 'id'], name='pending_due')],
                    },
                ),
                migrations.CreateModel(
                    name='PushAddress',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('endpoint', models.URLField(max_length=600, unique=True)),
                        ('p256dh', models.CharField(max_length=120)),
                        ('auth', models.CharField(max_length=60)),
                        ('label', models.CharField(max_length=60)),
                        ('added_at', models.DateTimeField()),
                        ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='push_addresses', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['added_at'],
                    },
                ),
                migrations.CreateModel(
                    name='RecordJudgement',
                    fields=[
                        ('record', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='judgement', serialize=False, to='treatment.treatmentrecord')),
                        ('revision', models.PositiveIntegerField()),
                        ('judged_at', models.DateTimeField()),
                        ('not_judged', models.JSONField(default=list, help_text='List of {"rule", "code", "parts"}.')),
                        ('found', models.JSONField(default=list, help_text='List of {"rule", "kind", "at", "value", "limit", …}.')),
                        ('rules', models.CharField(blank=True, max_length=20)),
                    ],
                ),
                migrations.CreateModel(
                    name='RoutineEvent',
                    fields=[
                        ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                        ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                        ('pgh_label', models.TextField(help_text='The event label.')),
                        ('id', models.BigIntegerField()),
                        ('only', models.BooleanField(default=True, editable=False)),
                        ('seen_within_minutes', models.PositiveSmallIntegerField(default=30, help_text='After that the next on the rota gets a message. 5 to 480.', validators=[django.core.validators.MinValueValidator(5), django.core.validators.MaxValueValidator(480)], verbose_name='an urgent alert is looked at within (minutes of opening hours)')),
                        ('reopen_days', models.PositiveSmallIntegerField(default=14, help_text='Later, or with 0, a new alert opens. 0 to 90.', validators=[django.core.validators.MaxValueValidator(90)], verbose_name='a closed alert goes on when the same comes back within (days)')),
                        ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                        ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='alerts.routine')),
                    ],
                    options={
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='Replay',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('why', models.TextField()),
                        ('state', models.CharField(choices=[('running', 'at work'), ('stopped', 'stopped'), ('done', 'done')], default='running', max_length=8)),
                        ('started_at', models.DateTimeField()),
                        ('ended_at', models.DateTimeField(blank=True, null=True, verbose_name='stopped or done at')),
                        ('started_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('stopped_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-started_at', '-pk'],
                        'constraints': [models.UniqueConstraint(condition=models.Q(('state', 'running')), fields=('state',), name='replay_one_at_a_time')],
                    },
                ),
                migrations.CreateModel(
                    name='ReplayChunk',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('since', models.DateTimeField()),
                        ('until', models.DateTimeField(null=True)),
                        ('due_at', models.DateTimeField()),
                        ('attempts', models.PositiveSmallIntegerField(default=0)),
                        ('records', models.PositiveIntegerField(default=0, help_text='Judged in it.')),
                        ('done_at', models.DateTimeField(null=True)),
                        ('last_error', models.CharField(blank=True, max_length=300)),
                        ('patient', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='treatment.patient')),
                        ('replay', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='chunks', to='alerts.replay')),
                    ],
                    options={
                        'ordering': ['pk'],
                        'indexes': [models.Index(condition=models.Q(('done_at', None)), fields=['replay', 'due_at', 'id'], name='chunk_open')],
                        'constraints': [models.UniqueConstraint(fields=('replay', 'patient', 'since'), name='chunk_once')],
                    },
                ),
                migrations.CreateModel(
                    name='RotaTurn',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('weekday', models.PositiveSmallIntegerField(choices=[(0, 'Monday'), (1, 'Tuesday'), (2, 'Wednesday'), (3, 'Thursday'), (4, 'Friday'), (5, 'Saturday'), (6, 'Sunday')], verbose_name='weekday')),
                        ('begins', models.TimeField(verbose_name='from')),
                        ('ends', models.TimeField(verbose_name='until')),
                        ('place', models.PositiveSmallIntegerField(default=1, validators=[django.core.validators.MinValueValidator(1)], verbose_name='place')),
                        ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='rota_turns', to=settings.AUTH_USER_MODEL, verbose_name='person')),
                    ],
                    options={
                        'ordering': ['weekday', 'place', 'begins', 'pk'],
                        'constraints': [models.CheckConstraint(condition=models.Q(('ends__gt', models.F('begins'))), name='rota_turn_in_order'), models.UniqueConstraint(fields=('person', 'weekday', 'begins'), name='rota_turn_once', violation_error_message='This person has a turn that begins then.')],
                    },
                ),
                migrations.CreateModel(
                    name='RotaTurnEvent',
                    fields=[
                        ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                        ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                        ('pgh_label', models.TextField(help_text='The event label.')),
                        ('id', models.BigIntegerField()),
                        ('weekday', models.PositiveSmallIntegerField(choices=[(0, 'Monday'), (1, 'Tuesday'), (2, 'Wednesday'), (3, 'Thursday'), (4, 'Friday'), (5, 'Saturday'), (6, 'Sunday')], verbose_name='weekday')),
                        ('begins', models.TimeField(verbose_name='from')),
                        ('ends', models.TimeField(verbose_name='until')),
                        ('place', models.PositiveSmallIntegerField(default=1, validators=[django.core.validators.MinValueValidator(1)], verbose_name='place')),
                        ('person', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL, verbose_name='person')),
                        ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                        ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='alerts.rotaturn')),
                    ],
                    options={
                        'abstract': False,
                    },
                ),
                migrations.CreateModel(
                    name='Routine',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('only', models.BooleanField(default=True, editable=False, unique=True)),
                        ('seen_within_minutes', models.PositiveSmallIntegerField(default=30, help_text='After that the next on the rota gets a message. 5 to 480.', validators=[django.core.validators.MinValueValidator(5), django.core.validators.MaxValueValidator(480)], verbose_name='an urgent alert is looked at within (minutes of opening hours)')),
                        ('reopen_days', models.PositiveSmallIntegerField(default=14, help_text='Later, or with 0, a new alert opens. 0 to 90.', validators=[django.core.validators.MaxValueValidator(90)], verbose_name='a closed alert goes on when the same comes back within (days)')),
                    ],
                    options={
                        'constraints': [models.CheckConstraint(condition=models.Q(('only', True)), name='routine_only_one')],
                    },
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='routine',
                    trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "alerts_routineevent" ("id", "only", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reopen_days", "seen_within_minutes") VALUES (NEW."id", NEW."only", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."reopen_days", NEW."seen_within_minutes"); RETURN NULL;', hash='7a2f7af37d07e58e7549744fe00a1587614f47c1', operation='INSERT', pgid='pgtrigger_insert_insert_8f4c2', table='alerts_routine', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='routine',
                    trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "alerts_routineevent" ("id", "only", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "reopen_days", "seen_within_minutes") VALUES (NEW."id", NEW."only", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."reopen_days", NEW."seen_within_minutes"); RETURN NULL;', hash='b82adb2737226d327dc35b19d9b5433aa310e6c2', operation='UPDATE', pgid='pgtrigger_update_update_3418c', table='alerts_routine', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='absence',
                    trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "alerts_absenceevent" ("first_day", "id", "last_day", "person_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id") VALUES (NEW."first_day", NEW."id", NEW."last_day", NEW."person_id", _pgh_attach_context(), NOW(), \'insert\', NEW."id"); RETURN NULL;', hash='02f7d0bfadf2d1f525a32efda727cff80c39b537', operation='INSERT', pgid='pgtrigger_insert_insert_a3180', table='alerts_absence', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='absence',
                    trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "alerts_absenceevent" ("first_day", "id", "last_day", "person_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id") VALUES (NEW."first_day", NEW."id", NEW."last_day", NEW."person_id", _pgh_attach_context(), NOW(), \'update\', NEW."id"); RETURN NULL;', hash='64f560d81a4d72728fe4e495b8de71a129977f9a', operation='UPDATE', pgid='pgtrigger_update_update_68e9f', table='alerts_absence', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='absenceevent',
                    trigger=pgtrigger.compiler.Trigger(name='append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='0810e8c4c0ebd3c6bd7cfc01220b8e6df7a65069', operation='UPDATE OR DELETE', pgid='pgtrigger_append_only_b8915', table='alerts_absenceevent', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='alert',
                    trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "alerts_alertevent" ("assigned_to_id", "cause", "cause_gone_at", "closed_at", "closed_by_id", "evidence", "first_night", "id", "last_night", "last_seen_at", "limit", "looked_at", "opened_at", "outcome", "parts", "patient_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "rule", "set_aside_until", "state", "urgency", "waits_since") VALUES (NEW."assigned_to_id", NEW."cause", NEW."cause_gone_at", NEW."closed_at", NEW."closed_by_id", NEW."evidence", NEW."first_night", NEW."id", NEW."last_night", NEW."last_seen_at", NEW."limit", NEW."looked_at", NEW."opened_at", NEW."outcome", NEW."parts", NEW."patient_id", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."rule", NEW."set_aside_until", NEW."state", NEW."urgency", NEW."waits_since"); RETURN NULL;', hash='bf39d9fd9fdc29180f185bfff09a0e6c20953e32', operation='INSERT', pgid='pgtrigger_insert_insert_607e3', table='alerts_alert', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='alert',
                    trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "alerts_alertevent" ("assigned_to_id", "cause", "cause_gone_at", "closed_at", "closed_by_id", "evidence", "first_night", "id", "last_night", "last_seen_at", "limit", "looked_at", "opened_at", "outcome", "parts", "patient_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "rule", "set_aside_until", "state", "urgency", "waits_since") VALUES (NEW."assigned_to_id", NEW."cause", NEW."cause_gone_at", NEW."closed_at", NEW."closed_by_id", NEW."evidence", NEW."first_night", NEW."id", NEW."last_night", NEW."last_seen_at", NEW."limit", NEW."looked_at", NEW."opened_at", NEW."outcome", NEW."parts", NEW."patient_id", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."rule", NEW."set_aside_until", NEW."state", NEW."urgency", NEW."waits_since"); RETURN NULL;', hash='818f4a0f3f2ca43849442a8fb5f9739054e640ce', operation='UPDATE', pgid='pgtrigger_update_update_953db', table='alerts_alert', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='alertevent',
                    trigger=pgtrigger.compiler.Trigger(name='append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='c4291561419247b4521e58e62c7f57f65465c4a7', operation='UPDATE OR DELETE', pgid='pgtrigger_append_only_2fa35', table='alerts_alertevent', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='call',
                    trigger=pgtrigger.compiler.Trigger(name='call_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='558e7ae33ea34e2961a3dde345f53a531c4dee39', operation='UPDATE OR DELETE', pgid='pgtrigger_call_append_only_c46b8', table='alerts_call', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='alertstep',
                    trigger=pgtrigger.compiler.Trigger(name='alert_step_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='6a1d38622cff8a7d3c902e07cec6d7bbb70ea370', operation='UPDATE OR DELETE', pgid='pgtrigger_alert_step_append_only_39327', table='alerts_alertstep', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='limit',
                    trigger=pgtrigger.compiler.Trigger(name='limit_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='7483ab12ba0de5ecd415dc88caf67f9717012a4d', operation='UPDATE OR DELETE', pgid='pgtrigger_limit_append_only_410ed', table='alerts_limit', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='mute',
                    trigger=pgtrigger.compiler.Trigger(name='mute_append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='b6c017ea0998a2ca0a8ce731be2d6a3c5272cc07', operation='UPDATE OR DELETE', pgid='pgtrigger_mute_append_only_2ecf9', table='alerts_mute', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='rotaturn',
                    trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "alerts_rotaturnevent" ("begins", "ends", "id", "person_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "place", "weekday") VALUES (NEW."begins", NEW."ends", NEW."id", NEW."person_id", _pgh_attach_context(), NOW(), \'insert\', NEW."id", NEW."place", NEW."weekday"); RETURN NULL;', hash='bc52e594c0d111a8fdd6f601a5df0bff16a726ff', operation='INSERT', pgid='pgtrigger_insert_insert_fc10c', table='alerts_rotaturn', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='rotaturn',
                    trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "alerts_rotaturnevent" ("begins", "ends", "id", "person_id", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "place", "weekday") VALUES (NEW."begins", NEW."ends", NEW."id", NEW."person_id", _pgh_attach_context(), NOW(), \'update\', NEW."id", NEW."place", NEW."weekday"); RETURN NULL;', hash='68169f76fefa06708235fc544fd89741f65a375d', operation='UPDATE', pgid='pgtrigger_update_update_d8322', table='alerts_rotaturn', when='AFTER')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='rotaturnevent',
                    trigger=pgtrigger.compiler.Trigger(name='append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='a68e98e4bf04f57506febeac6ae498b576ffdf0d', operation='UPDATE OR DELETE', pgid='pgtrigger_append_only_8d366', table='alerts_rotaturnevent', when='BEFORE')),
                ),
                pgtrigger.migrations.AddTrigger(
                    model_name='routineevent',
                    trigger=pgtrigger.compiler.Trigger(name='append_only', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='6cb20215cc0359d48d77ebec3f219606421d5dad', operation='UPDATE OR DELETE', pgid='pgtrigger_append_only_e08c4', table='alerts_routineevent', when='BEFORE')),
                ),
            ],
        ),
    ]
