"""What was found of a patient beside treatments and bloods as FHIR R4 Observations, under codes of our own.

A pressure at home has the codes that every blood pressure has, and a code of ours that says where it was taken.
"""

from __future__ import annotations

from typing import Any

from dosing.services.fhir.parts import LOINC, Json, category, coded, moment, own, quantity, reference, without_empty
from sessions.facts.fields import BLOOD_PRESSURE_LOINC
from sessions.facts.findings import SPECS, FindingField, FindingKind
from sessions.facts.ranges import UCUM
from sessions.models import Finding

OF_PRESSURE = {"systolic": "8480-6", "diastolic": "8462-4", "pulse": "8867-4"}
"""LOINC of the parts of a blood pressure (R4, observation-vitalsigns)."""


def finding(row: Finding) -> Json:
    """An Observation: one finding of one day, its values as parts."""
    spec, at_home = SPECS[row.kind], row.kind == FindingKind.HOME_PRESSURE
    ours = {"system": own("finding"), "code": row.kind.replace("_", "-")}
    name = str(row.get_kind_display())
    code = coded(LOINC, BLOOD_PRESSURE_LOINC, name, ours) if at_home else coded(own("finding"), ours["code"], name)
    parts = [_part(key, each, row.values[key], at_home) for key, each in spec.fields.items() if key in row.values]
    return without_empty(
        {
            "resourceType": "Observation",
            "id": f"finding-{row.pk}",
            "meta": {"lastUpdated": moment(row.entered_at)},
            "status": "final",
            "category": category("vital-signs" if at_home else "exam"),
            "code": code,
            "subject": reference("Patient", row.patient_id),
            "effectiveDateTime": row.found_on.isoformat(),
            "component": parts,
            "note": [{"text": row.words}] if row.words else [],
        }
    )


def _part(key: str, each: FindingField, value: Any, at_home: bool) -> Json:
    words = str(each.label)
    code = (
        coded(LOINC, OF_PRESSURE[key], words) if at_home else coded(own("finding-part"), key.replace("_", "-"), words)
    )
    if each.limits is None:
        chosen = coded(own(f"finding-{key}"), str(value).replace("_", "-"), each.words(value))
        return {"code": code, "valueCodeableConcept": chosen}
    unit = each.limits.unit
    return {"code": code, "valueQuantity": quantity(value, unit or "1", UCUM.get(unit) or (None if unit else "1"))}
