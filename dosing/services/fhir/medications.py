"""What a patient takes between treatments as FHIR R4 MedicationStatement (https://hl7.org/fhir/R4/medicationstatement.html).

The code is of the ATC classification, under the address that HL7 gives it (from memory). Where only the group of a kind
is known, the code is that of the group.
"""

from __future__ import annotations

from datetime import date

from dosing.services.fhir.parts import UCUM, Json, coded, moment, own, reference, without_empty
from sessions.facts import medicines
from sessions.models import Medication

ATC = "http://www.whocc.no/atc"


def medication(row: Medication, today: date) -> Json:
    """A MedicationStatement: one medicine in one dose, from a day on."""
    return without_empty(
        {
            "resourceType": "MedicationStatement",
            "id": f"medication-{row.pk}",
            "meta": {"lastUpdated": moment(row.entered_at)},
            "status": _status(row, today),
            "statusReason": [{"text": row.ended_because}] if row.ended_because else [],
            "medicationCodeableConcept": _what(row),
            "subject": reference("Patient", row.patient_id),
            "effectivePeriod": without_empty(
                {"start": row.from_on.isoformat(), "end": row.until_on.isoformat() if row.until_on else None}
            ),
            "dateAsserted": moment(row.entered_at),
            "reasonCode": [coded(own("medication-kind"), row.kind.replace("_", "-"), row.get_kind_display())],
            "note": [{"text": row.why}] if row.why else [],
            "dosage": _dosage(row),
        }
    )


def _status(row: Medication, today: date) -> str:
    """R4, MedicationStatementStatusCodes; one that was changed for another dose was stopped as well."""
    if row.from_on > today:
        return "intended"
    return "stopped" if row.until_on and row.until_on < today else "active"


def _what(row: Medication) -> Json:
    return coded(ATC, row.code, row.name) if row.code else {"text": row.name}


def _dosage(row: Medication) -> list[Json]:
    if row.amount is None:
        return [{"text": row.words}] if row.words else []
    unit = medicines.DoseUnit(row.unit)
    dose = {"value": row.amount, "unit": str(unit.label)}
    if unit in medicines.UCUM:
        dose |= {"system": UCUM, "code": medicines.UCUM[unit]}
    made = {
        "text": row.dose,
        "timing": _timing(row),
        "asNeededBoolean": True if row.times is None else None,
        "patientInstruction": row.words,
        "doseAndRate": [{"doseQuantity": dose}],
    }
    return [without_empty(made)]


def _timing(row: Medication) -> Json | None:
    """How often, where it is a whole number of times: R4 has no other."""
    if row.times is None or row.times != int(row.times):
        return None
    unit = medicines.UCUM_PERIOD[medicines.DosePeriod(row.period)]
    return {"repeat": {"frequency": int(row.times), "period": 1, "periodUnit": unit}}
