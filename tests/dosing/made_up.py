"""Facts of one made-up night without a database, whole unless a test leaves something out."""

from __future__ import annotations

import uuid
from datetime import date, datetime, timedelta
from typing import Any

from dosing.science.reasons import reason_of
from dosing.services.night.inputs import NightFacts
from sessions.models import Patient, Prescription, Reading, TreatmentRecord
from tests.factories import A_NIGHT, DialyserFactory, PrescriptionFactory
from tests.made_course import course_around


def reading(minute: float, **numbers: Any) -> Reading:
    return Reading(at=A_NIGHT + timedelta(minutes=minute), **numbers)


def night(minutes: float | None = 240, start: datetime = A_NIGHT, **columns: Any) -> TreatmentRecord:
    """72.6 kg down to 71.2 kg in four hours; 2.9 L taken off, 0.3 L and 0.25 L given."""
    usual = {
        "pre_weight_kg": 72.6,
        "post_weight_kg": 71.2,
        "uf_removed_l": 2.9,
        "rinse_back_l": 0.3,
        "intake_l": 0.25,
        "pre_systolic": 140,
        "pre_diastolic": 80,
        "post_systolic": 120,
        "post_diastolic": 70,
        "blood_processed_l": 71.5,
    }
    ended_at = None if minutes is None else start + timedelta(minutes=minutes)
    return TreatmentRecord(
        pk=uuid.uuid4(), started_at=start, ended_at=ended_at, night=start.date(), **(usual | columns)
    )


PATIENT = Patient(sex="male", birth_date=date(1970, 5, 17), height_cm=175, joined_on=date(2020, 1, 1))


def ordered(**changes: Any) -> Prescription:
    """240 min three times a week by number, to 70 kg."""
    usual: dict[str, Any] = {"pk": 1, "patient": PATIENT, "dialyser": DialyserFactory.build(), "signed_by": None}
    made: Prescription = PrescriptionFactory.build(**(usual | {"weekdays": []} | changes))
    return made


WHOLE: dict[str, Any] = {
    "readings": [
        reading(5, qb_ml_min=150, venous_mmhg=70, arterial_mmhg=-60, systolic=138, diastolic=82),
        reading(60, qb_ml_min=300, venous_mmhg=130, arterial_mmhg=-140, systolic=96, diastolic=60),
        reading(120, qb_ml_min=300, venous_mmhg=140, arterial_mmhg=-150, systolic=112, diastolic=64),
        reading(180, qb_ml_min=310, venous_mmhg=135, arterial_mmhg=-145),
    ],
    "prescription": ordered(),
    "last_record": night(start=A_NIGHT - timedelta(days=2), post_weight_kg=70.0),
    "access_kind": "fistula",
    "urea_pre": 25,
    "urea_post": 8,
    "post_sample": "slow_flow",
    "longest_bleeding": 7,
}


def facts(record: TreatmentRecord | None = None, **changes: Any) -> NightFacts:
    """A man of 55 years, 175 cm, prescribed 240 min three times a week to 70 kg; treated two days ago to 70 kg."""
    given = WHOLE | changes
    record = record or night()
    course = course_around(
        record,
        patient=PATIENT,
        prescription=given["prescription"],
        readings=given["readings"],
        last=given["last_record"],
        access_kind=given["access_kind"],
        urea=(given["urea_pre"], given["urea_post"]),
        post_sample=given["post_sample"],
        kidney=given.get("kidney"),
    )
    return NightFacts(
        record=record,
        patient=PATIENT,
        prescription=given["prescription"],
        readings=given["readings"],
        events=given.get("events", []),
        course=course,
        longest_bleeding=given["longest_bleeding"],
    )


def english(stored: Any) -> str:
    """A stored reason in English; "" for none."""
    return str(reason_of(stored)) if stored else ""
