"""The Celery application. Times in UTC and plain intervals: no daylight-saving surprises."""

import os
from typing import Any

from celery import Celery
from celery.signals import celeryd_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "homedialysis.settings")

app = Celery("homedialysis")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@celeryd_init.connect
def a_worker_waits_within_limits(**_: Any) -> None:
    from homedialysis.running.waits import OF_WORKERS, keep_within

    keep_within(OF_WORKERS)
