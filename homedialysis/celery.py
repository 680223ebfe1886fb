"""The Celery application. Times in UTC and plain intervals: no daylight-saving surprises."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "homedialysis.settings")

app = Celery("homedialysis")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
