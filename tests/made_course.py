"""A course of one record with the treatment before it and its bloods, made by the product's code without a database."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

from dosing.science.course import DeliveredCourse, KidneyCollection
from dosing.services.course.reading import ReadPatient
from dosing.services.course.rows import RECORD_COLUMNS, PatientRows, ReadRow
from dosing.services.night.inputs import TWINS, WINDOW
from sessions.models import (
    AccessKind,
    Analyte,
    BloodResult,
    Patient,
    Prescription,
    Reading,
    TreatmentRecord,
    VascularAccess,
)

LISBON = ZoneInfo("Europe/Lisbon")


def course_around(
    record: TreatmentRecord,
    *,
    patient: Patient,
    prescription: Prescription | None,
    readings: Sequence[Reading] = (),
    last: TreatmentRecord | None = None,
    access_kind: str = AccessKind.FISTULA,
    urea: tuple[float | None, float | None] = (None, None),
    post_sample: str = "slow_flow",
    kidney: float | None = None,
) -> DeliveredCourse:
    """last: the treatment before; urea: before and after [mmol/L], each drawn when it should be; kidney: urea clearance
    [mL/min of plasma] of a collection that ended when the treatment began.
    """
    read = [ReadRow(each.at, each.qb_ml_min, each.qd_ml_min, each.uf_volume_l) for each in readings]
    made = VascularAccess(kind=access_kind, created_on=record.night - timedelta(days=900))
    rows = PatientRows(
        patient=patient,
        zone=LISBON,
        records_since=(last or record).night,
        records=[_columns(each, patient, prescription) for each in (last, record) if each],
        readings={record.pk: read},
        saline={},
        sites={},
        accesses=[made] if access_kind else [],
        stays=[],
        bloods=list(_bloods(record, urea, post_sample)),
        urine=[],
        prescriptions=[prescription] if prescription else [],
    )
    span = (record.started_at - WINDOW, record.started_at + TWINS)
    course, start = ReadPatient(rows, *span).course(*span), record.started_at
    if kidney is None:
        return course
    urine = KidneyCollection(began=start - timedelta(days=1), ended=start, clearance=kidney, urine_ml=900)
    return replace(course, collections=(urine,))


def _columns(record: TreatmentRecord, patient: Patient, prescription: Prescription | None) -> dict[str, object]:
    found: dict[str, object] = {name: getattr(record, name) for name in RECORD_COLUMNS}
    return found | {"prescription_id": prescription.pk if prescription else None, "patient_id": patient.pk}


def _bloods(record: TreatmentRecord, urea: tuple[float | None, float | None], way: str) -> list[BloodResult]:
    ended_at = record.ended_at or record.started_at + timedelta(hours=4)
    drawn = (record.started_at, ended_at + timedelta(minutes=2))
    return [
        BloodResult(
            treatment_id=record.pk,
            analyte=Analyte.UREA,
            value=value,
            drawn_at=at,
            timing=timing,
            post_method=way if timing == "post" else "",
        )
        for value, at, timing in zip(urea, drawn, ("pre", "post"), strict=True)
        if value is not None
    ]
