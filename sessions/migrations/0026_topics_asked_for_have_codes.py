from typing import Any

from django.db import migrations

CODES = {
    "treatment at home under supervision": "supervised",
    "needling and care of the access, after an infection": "access_care",
    "care of the catheter, after an infection": "catheter_care",
    "punción y cuidado del acceso, tras una infección": "access_care",
    "cuidado del catéter, tras una infección": "catheter_care",
}
"""The words of these topics in the languages of that time, in small letters."""


def give_codes(apps: Any, schema_editor: Any) -> None:
    """Until now such a training was known by its words, in whatever language it was noted."""
    trainings = apps.get_model("treatment", "Training").objects
    for row in trainings.only("pk", "topic"):
        code = CODES.get(row.topic.strip().casefold())
        if code:
            trainings.filter(pk=row.pk).update(topic=f"⟦{code}⟧")


class Migration(migrations.Migration):
    dependencies = [("treatment", "0025_findings_beside_treatments_and_bloods")]
    operations = [migrations.RunPython(give_codes, migrations.RunPython.noop)]
