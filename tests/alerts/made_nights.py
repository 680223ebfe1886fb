"""Histories made in memory, without a database: what a rule looks at is plain objects."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from alerts.limits.book import LimitBook
from alerts.rules.base import History, JudgedNight, Point, ReadingRow, Surroundings
from dosing.services.night.computing import numbers_of
from dosing.services.night.inputs import NightFacts
from sessions.models import (
    Analyte,
    AnsweredCheck,
    BloodResult,
    Dialyser,
    Event,
    LeftOut,
    Patient,
    Prescription,
    Reading,
    SiteUsed,
    TreatmentRecord,
)
from tests.factories import A_NIGHT, DialyserFactory, PatientFactory, PrescriptionFactory
from tests.made_course import course_around

DAY = timedelta(days=1)
LISBON = ZoneInfo("Europe/Lisbon")
PATIENT: Patient = PatientFactory.build(account=None, joined_on=date(2025, 1, 1))
DIALYSER: Dialyser = DialyserFactory.build()
USUAL = {
    "pre_weight_kg": 72.0,
    "post_weight_kg": 70.0,
    "pre_systolic": 140.0,
    "pre_diastolic": 80.0,
    "post_systolic": 128.0,
    "post_diastolic": 74.0,
    "post_standing_systolic": 120.0,
    "post_standing_diastolic": 70.0,
    "pre_temperature_c": 36.5,
    "uf_removed_l": 2.3,
    "blood_processed_l": 71.0,
    "dialyser_look": "clear",
    "prescription_version": 1,
}
"""A whole night of which no rule has anything to say, and none cannot judge."""
USUAL_READING = {
    "qb_ml_min": 300.0,
    "arterial_mmhg": -140.0,
    "venous_mmhg": 130.0,
    "tmp_mmhg": 80.0,
    "systolic": 130.0,
    "conductivity_ms_cm": 14.0,
    "dialysate_temperature_c": 36.5,
}
USUAL_SITE = {"use": "arterial", "attempts": 1, "bleeding_minutes": 8.0, "pain": 2}
USUAL_CHECKS: tuple[dict[str, Any], ...] = (
    {"name": "Total chlorine", "key": "chlorine", "value": 0.0, "unit": "mg/L", "passed": True, "part": "setup"},
    {"name": "It hums as ever", "key": "thrill", "passed": True, "part": "access"},
    {"name": "Conductivity", "key": "conductivity", "value": 14.0, "unit": "mS/cm", "passed": True, "part": "setup"},
)


def prescription(**changes: Any) -> Prescription:
    """Three fixed days a week, four hours, 300 mL/min, target 70 kg, at most 10 mL/kg/h."""
    made: Prescription = PrescriptionFactory.build(
        pk=changes.pop("version", 1), patient=PATIENT, dialyser=DIALYSER, version=1, signed_by=None, **changes
    )
    made.version = made.pk
    return made


ORDERED = prescription()


def night(
    index: float = 0,
    *,
    minutes: float | None = 240,
    readings: Sequence[dict[str, Any]] = ({}, {}, {}),
    events: Sequence[str] = (),
    sites: Sequence[dict[str, Any]] = ({}, {}),
    checks: Sequence[dict[str, Any]] = USUAL_CHECKS,
    urea: tuple[float, float] | None = (20.0, 6.0),
    finished: bool = True,
    ordered: Prescription | None = ORDERED,
    last: JudgedNight | None = None,
    kidney: float | None = None,
    late: timedelta = timedelta(hours=8),
    **columns: Any,
) -> JudgedNight:
    """A usual night, every other day, with what is given changed; columns of the record by name.

    kidney: urea clearance [mL/min of plasma] of a collection that counts.
    """
    start = A_NIGHT + index * 2 * DAY
    end = start + timedelta(minutes=minutes) if minutes and finished else None
    record = TreatmentRecord(
        pk=uuid.uuid5(uuid.NAMESPACE_OID, str(index)),
        patient=PATIENT,
        state="finished" if finished else "open",
        night=start.astimezone(LISBON).date(),
        started_at=start,
        ended_at=end,
        finished_at=end + late if end else None,
        **(USUAL | columns),
    )
    read = [_reading(record, place, row) for place, row in enumerate(readings)]
    needles = [SiteUsed(record=record, **(USUAL_SITE | row)) for row in sites]
    looked = [_as_reading(row) for row in read]
    noted = [Event(record=record, at=start + timedelta(minutes=90), kind=kind) for kind in events]
    facts = NightFacts(
        record=record,
        patient=PATIENT,
        prescription=ordered,
        readings=looked,
        events=noted,
        course=course_around(
            record,
            patient=PATIENT,
            prescription=ordered,
            readings=looked,
            last=last.record if last else _before(record),
            urea=urea or (None, None),
            kidney=kidney,
        ),
        longest_bleeding=max((s.bleeding_minutes for s in needles if s.bleeding_minutes is not None), default=None),
    )
    return JudgedNight(
        record=record,
        prescription=ordered,
        readings=read,
        events=noted,
        sites=needles,
        checks=[AnsweredCheck(record=record, **row) for row in checks],
        numbers=numbers_of(facts),
    )


def _before(record: TreatmentRecord) -> TreatmentRecord:
    """A treatment two days earlier that ended at target."""
    start = record.started_at - 2 * DAY
    return TreatmentRecord(
        patient=PATIENT,
        state="finished",
        night=start.astimezone(LISBON).date(),
        started_at=start,
        ended_at=start + timedelta(hours=4),
        post_weight_kg=70.0,
    )


def _reading(record: TreatmentRecord, place: int, row: dict[str, Any]) -> ReadingRow:
    at = record.started_at + timedelta(minutes=60 * (place + 1))
    return ReadingRow(pk=place + 1, record_id=record.pk, at=at, **(USUAL_READING | row))


def _as_reading(row: ReadingRow) -> Reading:
    return Reading(at=row.at, **{name: getattr(row, name) for name in USUAL_READING})


def result(analyte: Analyte, value: float, *, days: float = 0, timing: str = "pre") -> BloodResult:
    """A blood result drawn so many days after the first night."""
    return BloodResult(pk=int(days * 10), patient=PATIENT, analyte=analyte, value=value, timing=timing,
                       drawn_at=A_NIGHT + days * DAY)  # fmt: skip


def course(
    key: str,
    values: Sequence[float | None],
    *,
    flow: float = 300,
    segments: Sequence[str] = (),
    gauges: Sequence[float] = (),
) -> list[Point]:
    """One series every other night, the last on the first night of all; None where it was not noted."""
    points = []
    for place, value in enumerate(values):
        at = A_NIGHT + 2 * DAY * (place - len(values) + 1)
        points.append(
            Point(
                record=str(uuid.uuid5(uuid.NAMESPACE_OID, f"{key}{place}")),
                at=at,
                night=at.astimezone(LISBON).date(),
                values={} if value is None else {key: value},
                flow=flow,
                gauge=gauges[place] if gauges else 15,
                segments={key: segments[place]} if segments else {},
            )
        )
    return points


def scattered(
    seed: int, middle: float, scatter: float, count: int, *, slope: float = 0.0, flat: int = 0
) -> list[float]:
    """Independent nights around a middle that, after `flat` nights, climbs by `slope` a night."""
    noise = np.random.default_rng(seed).normal(0, scatter, count)
    return [middle + slope * max(0, place - flat) + float(each) for place, each in enumerate(noise)]


def history(
    *nights: JudgedNight,
    bloods: Sequence[BloodResult] = (),
    around: Surroundings | None = None,
    prescriptions: Sequence[Prescription] | None = None,
    limits: LimitBook | None = None,
    since: datetime = A_NIGHT - 30 * DAY,
    course: Sequence[Point] = (),
    left_out: Sequence[LeftOut] = (),
) -> History:
    """What a rule is given. night_before: the day before the first night, so that nothing is missing before it."""
    return History(
        patient=PATIENT,
        zone=LISBON,
        since=since,
        nights=nights,
        limits=limits or LimitBook(),
        prescriptions=[ORDERED] if prescriptions is None else prescriptions,
        night_before=(A_NIGHT - DAY).date(),
        bloods=bloods,
        surroundings=around,
        course=course,
        left_out=left_out,
    )


def said_left_out(night: JudgedNight, reason: str, days: int = 0) -> LeftOut:
    """That no treatment is done some days after a night."""
    day = night.record.night + days * DAY
    return LeftOut(patient=PATIENT, day=day, reason=reason, said_at=NOW, received_at=NOW)


def morning(index: float = 0) -> datetime:
    """The morning after a night."""
    return A_NIGHT + index * 2 * DAY + timedelta(hours=12)


NOW = datetime(2026, 3, 20, 9, 0, tzinfo=UTC)
