"""Our rows as FHIR R4 resources (dictionaries ready for JSON).

Codes: LOINC as listed in `dosing.science.bloods` with how far each was seen; SNOMED CT 302497006, haemodialysis
(from memory). Circuit pressures, flows and fluid have no LOINC that was verified: they go under codes of our own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dosing.science.bloods import ANALYTES, BEDSIDE_CODES
from dosing.services.fhir.parts import (
    INTERPRETATION,
    LOINC,
    SNOMED,
    Json,
    category,
    coded,
    moment,
    own,
    quantity,
    reference,
    without_empty,
)
from dosing.services.importing.units import OF_SCIENCE
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.treatments import ComputedNight
from dosing.services.numbers.number import Number
from sessions.facts import plausible
from sessions.models import BloodResult, Machine, Patient, RecordSource, RecordState, SampleTiming, TreatmentRecord

NAME_IN_SCIENCE = {analyte.value: name for name, analyte in OF_SCIENCE.items()}
FLAGS = frozenset({"L", "H", "LL", "HH", "N", "A", "AA"})
TIMING_NOTES = {
    SampleTiming.PRE: "Drawn before a treatment.",
    SampleTiming.POST: "Drawn after a treatment.",
    SampleTiming.APART: "Not drawn with a treatment.",
}
FACTS = {
    "pre_weight_kg": "weight_before",
    "post_weight_kg": "weight_after",
    "pre_pulse": "pulse",
    "post_pulse": "pulse",
    "pre_temperature_c": "temperature",
    "post_temperature_c": "temperature",
}
PRESSURES = {
    "pre": ("systolic_sitting", "diastolic_sitting"),
    "post": ("systolic_sitting", "diastolic_sitting"),
    "pre_standing": ("systolic_standing", "diastolic_standing"),
    "post_standing": ("systolic_standing", "diastolic_standing"),
}


def patient(person: Patient) -> Json:
    """A Patient."""
    telecom = [{"system": "phone", "value": person.phone}] if person.phone else []
    return without_empty(
        {
            "resourceType": "Patient",
            "id": str(person.pk),
            "identifier": [{"system": own("hospital-number"), "value": person.hospital_number}],
            "active": person.left_on is None,
            "name": [{"text": person.name}],
            "telecom": telecom,
            "gender": person.sex,
            "birthDate": person.birth_date.isoformat(),
        }
    )


def device(machine: Machine) -> Json:
    """A Device: the machine at home."""
    return without_empty(
        {
            "resourceType": "Device",
            "id": str(machine.pk),
            "status": "active" if machine.until is None else "inactive",
            "serialNumber": machine.serial,
            "deviceName": [{"name": machine.name, "type": "model-name"}],
            "type": coded(own("machine-kind"), machine.kind, machine.get_kind_display()),
            "patient": reference("Patient", machine.patient_id),
        }
    )


def procedure(record: TreatmentRecord) -> Json:
    """A Procedure: one treatment."""
    finished = record.state == RecordState.FINISHED
    return without_empty(
        {
            "resourceType": "Procedure",
            "id": str(record.pk),
            "meta": {"versionId": str(record.revision), "lastUpdated": moment(record.received_at)},
            "status": "completed" if finished else "in-progress",
            "code": coded(SNOMED, "302497006", "Haemodialysis at home"),
            "subject": reference("Patient", record.patient_id),
            "performedPeriod": without_empty({"start": moment(record.started_at), "end": moment(record.ended_at)}),
            "note": [{"text": "Entered from paper."}] if record.source == RecordSource.PAPER else [],
        }
    )


def blood(result: BloodResult) -> Json:
    """An Observation: one blood result in its canonical unit."""
    unit = next(iter(ANALYTES[NAME_IN_SCIENCE[result.analyte]].units.values()))
    flag = [{"coding": [{"system": INTERPRETATION, "code": result.flag}]}] if result.flag in FLAGS else []
    return _observation(
        {
            "id": f"blood-{result.pk}",
            "category": category("laboratory"),
            "code": coded(LOINC, result.analyte, result.get_analyte_display()),
            "subject": reference("Patient", result.patient_id),
            "effectiveDateTime": moment(result.drawn_at),
            "issued": moment(result.entered_at),
            "valueQuantity": quantity(result.value, unit.ucum, unit.ucum),
            "interpretation": flag,
            "note": [{"text": TIMING_NOTES[SampleTiming(result.timing)]}],
            # The range is the laboratory's, in its own unit, which may not be that of the value.
            "referenceRange": [{"text": f"{result.reference} {result.unit_sent}".strip()}] if result.reference else [],
            "partOf": [reference("Procedure", result.treatment_id)] if result.treatment_id else [],
        }
    )


def observations(night: ComputedNight) -> Iterator[Json]:
    """The Observations of one treatment: weights, pressures, and what was computed."""
    record = night.record
    yield from _measured(record)
    for number in NIGHT_NUMBERS.values():
        value = night.value(number.key)
        if value is not None:
            yield _computed(record, number, value)


def _measured(record: TreatmentRecord) -> Iterator[Json]:
    for name, code in FACTS.items():
        value = getattr(record, name)
        if value is not None:
            loinc, ucum, _ = BEDSIDE_CODES[code]
            words = plausible.TREATMENT[name].label
            yield _of_treatment(record, name, coded(LOINC, loinc, str(words))) | {
                "valueQuantity": quantity(value, ucum, ucum)
            }
    for when, codes in PRESSURES.items():
        parts = [
            {"code": coded(LOINC, BEDSIDE_CODES[code][0], end), "valueQuantity": quantity(value, "mmHg", "mm[Hg]")}
            for code, end in zip(codes, ("systolic", "diastolic"), strict=True)
            if (value := getattr(record, f"{when}_{end}")) is not None
        ]
        if parts:
            words = f"Blood pressure, {when.replace('_', ', ')}"
            panel = coded(LOINC, BEDSIDE_CODES["blood_pressure"][0], words)
            yield _of_treatment(record, f"{when}-pressure", panel) | {"component": parts}


def _of_treatment(record: TreatmentRecord, name: str, code: Json, kind: str = "vital-signs") -> Json:
    after = name.startswith("post") or kind != "vital-signs"
    return _observation(
        {
            "id": f"{record.pk}-{name}".replace("_", "-")[:64],
            "category": category(kind),
            "code": code,
            "subject": reference("Patient", record.patient_id),
            "partOf": [reference("Procedure", record.pk)],
            "effectiveDateTime": moment(record.ended_at if after and record.ended_at else record.started_at),
        }
    )


def _computed(record: TreatmentRecord, number: Number[Any], value: float) -> Json:
    """A computed number under its LOINC code where it has one, else under a code of our own."""
    system, key = (LOINC, number.loinc) if number.loinc else (own("number"), number.key)
    shown = quantity(number.as_read(value), "%" if number.percent else number.unit, number.ucum)
    return _of_treatment(record, number.key, coded(system, key, number.name), "procedure") | {"valueQuantity": shown}


def _observation(fields: dict[str, Any]) -> Json:
    return without_empty({"resourceType": "Observation", "status": "final"} | fields)
