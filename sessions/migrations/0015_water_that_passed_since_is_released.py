"""What was over its limit before releases were asked for, and has passed since, is not held back by the upgrade."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.db import migrations
from django.utils import timezone

WORDS = "Before the release of water was signed."


def take_over(apps: Any, schema_editor: Any) -> None:
    """One row a home, without a person: nobody is said to have released what nobody was asked about.

    What is over its limit by its newest result holds the home back all the same.
    """
    tests: defaultdict[Any, list[str]] = defaultdict(list)
    for patient_id, key in apps.get_model("treatment", "WaterTest").objects.values_list("patient_id", "pk"):
        tests[patient_id].append(str(key))
    releases, now = apps.get_model("treatment", "WaterRelease"), timezone.now()
    releases.objects.bulk_create(
        releases(patient_id=patient_id, tests=keys, released_at=now, words=WORDS) for patient_id, keys in tests.items()
    )


class Migration(migrations.Migration):
    dependencies = [("treatment", "0014_water_is_released_and_cautions_are_kept")]
    operations = [migrations.RunPython(take_over, migrations.RunPython.noop)]
