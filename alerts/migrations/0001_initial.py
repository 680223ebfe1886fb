
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Absence',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('first_day', models.DateField(verbose_name='from')),
                ('last_day', models.DateField(verbose_name='up to and including')),
            ],
            options={
                'ordering': ['first_day', 'pk'],
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
                ('title', models.CharField(max_length=120)),
                ('sentence', models.TextField()),
                ('limit', models.CharField(blank=True, max_length=200)),
                ('source', models.TextField(blank=True)),
                ('evidence', models.JSONField(default=list)),
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
            ],
            options={
                'ordering': ['urgency', 'opened_at', 'pk'],
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
                ('title', models.CharField(max_length=120)),
                ('sentence', models.TextField()),
                ('limit', models.CharField(blank=True, max_length=200)),
                ('source', models.TextField(blank=True)),
                ('evidence', models.JSONField(default=list)),
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
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='AlertStep',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('opened', 'Opened'), ('evidence', 'Evidence'), ('cause_gone', 'Cause gone'), ('cause_passed', 'Cause passed'), ('cause_back', 'Cause back'), ('back_again', 'Back again'), ('told', 'Message sent on'), ('returned', 'Back from being set aside'), ('seen', 'Seen'), ('note', 'Note'), ('call', 'Call'), ('assigned', 'Assigned'), ('set_aside', 'Set aside'), ('closed', 'Closed')], max_length=12)),
                ('at', models.DateTimeField()),
                ('words', models.TextField(blank=True)),
                ('outcome', models.CharField(blank=True, choices=[('spoken', 'Spoken with the patient'), ('visit', 'Visit or clinic appointment arranged'), ('physician', 'Handed to the nephrologist'), ('hospital', 'Sent to hospital or emergency care'), ('record_wrong', 'The record was wrong'), ('known', 'Known and accepted, nothing to do now'), ('other', 'Something else')], max_length=20)),
                ('until', models.DateField(blank=True, null=True)),
            ],
            options={
                'ordering': ['pk'],
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
            ],
            options={
                'ordering': ['-at', '-pk'],
            },
        ),
        migrations.CreateModel(
            name='Delivery',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('waiting_since', models.DateTimeField(blank=True, null=True)),
                ('channel', models.CharField(choices=[('email', 'E-mail'), ('push', 'Message to a browser')], max_length=5)),
                ('made_at', models.DateTimeField()),
                ('due_at', models.DateTimeField()),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('answer', models.CharField(blank=True, max_length=300)),
                ('sent_at', models.DateTimeField(blank=True, null=True)),
                ('failed_at', models.DateTimeField(blank=True, null=True)),
                ('dropped_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['-made_at', '-pk'],
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
            ],
            options={
                'ordering': ['-since', '-pk'],
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
            ],
            options={
                'ordering': ['-since', '-pk'],
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
                ('last_error', models.CharField(blank=True, max_length=300)),
                ('put_aside_at', models.DateTimeField(blank=True, null=True)),
            ],
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
            ],
            options={
                'ordering': ['added_at'],
            },
        ),
    ]
