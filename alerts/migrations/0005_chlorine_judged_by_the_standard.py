"""The unit's own limits of total chlorine move to its standard of water, by which every test is judged."""

from __future__ import annotations

from typing import Any

from django.db import migrations
from django.utils import timezone

MOST, ACTION = 0.1, 0.05


def move(apps: Any, schema_editor: Any) -> None:
    """The newest of the unit in force. Limits of single patients have no place there: water is judged as water."""
    limits, standards = apps.get_model("alerts", "Limit"), apps.get_model("treatment", "WaterStandard")
    newest = {}
    for name in ("chlorine", "chlorine_action"):
        row = limits.objects.filter(patient=None, name=name).order_by("-since", "-pk").first()
        if row is not None and row.value is not None and (row.until is None or row.until > timezone.now()):
            newest[name] = row
    if not newest:
        return
    row = next(iter(newest.values()))
    made = standards.objects.first() or standards(set_by=row.set_by, set_at=row.since)
    most = newest["chlorine"].value if "chlorine" in newest else MOST
    action = newest["chlorine_action"].value if "chlorine_action" in newest else min(ACTION, most)
    own = dict(made.figures.get("dialysis_water", {})) | {"total_chlorine": [most, min(action, most)]}
    made.figures = dict(made.figures) | {"dialysis_water": own}
    made.save()


class Migration(migrations.Migration):
    dependencies = [("alerts", "0004_looked_over"), ("treatment", "0011_examination_of_the_access")]
    operations = [migrations.RunPython(move, migrations.RunPython.noop)]
