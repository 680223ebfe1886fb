
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
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
            ],
            options={
                'ordering': ['-asked_at'],
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
            ],
            options={
                'ordering': ['-month'],
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
            ],
            options={
                'ordering': ['-month'],
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
            ],
            options={
                'ordering': ['due_on', 'pk'],
            },
        ),
    ]
