"""The rows of the database that the courses of a patient are made of, read in a fixed number of queries."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Min, Q

from dosing.science.course import KIDNEY_COUNTS_FOR
from sessions.facts.choices import Analyte
from sessions.models import (
    BloodResult,
    Event,
    HospitalStay,
    LeftOut,
    Patient,
    Prescription,
    Reading,
    SiteUsed,
    TreatmentRecord,
    UrineCollection,
    VascularAccess,
)
from sessions.models.local_time import zone_of

RECORD_COLUMNS = (
    *("pk", "patient_id", "prescription_id", "night", "state", "started_at", "ended_at", "pre_weight_kg"),
    *("post_weight_kg", "uf_removed_l", "rinse_back_l", "intake_l", "blood_processed_l", "machine_ktv"),
)
SAMPLES_AROUND = timedelta(days=5)
"""How far outside the span bloods are read: those of its first and last treatment, and before a urine collection."""
KIDNEY_BEFORE = timedelta(days=KIDNEY_COUNTS_FOR)
"""How far before the span urine is read, with its bloods: an older collection counts for no day of it."""


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One look at the machine, as far as the course needs it."""

    at: datetime
    qb_ml_min: float | None
    qd_ml_min: float | None
    uf_volume_l: float | None


@dataclass(frozen=True, slots=True)
class PatientRows:
    """All rows of one patient, each list in order of time; readings, saline and sites by record."""

    patient: Patient
    zone: ZoneInfo
    records_since: date | None
    records: list[dict[str, Any]]
    readings: Mapping[uuid.UUID, list[ReadRow]]
    saline: Mapping[uuid.UUID, float]
    sites: Mapping[uuid.UUID, tuple[str, float | None]]
    accesses: list[VascularAccess]
    stays: list[HospitalStay]
    bloods: list[BloodResult]
    urine: list[UrineCollection]
    prescriptions: list[Prescription]
    left_out: list[LeftOut] = field(default_factory=list)

    def access_on(self, day: date) -> str:
        """Kind of the newest access that was in use on a day; "" where none was."""
        there = [each for each in self.accesses if each.created_on <= day]
        in_use = [each for each in there if each.abandoned_on is None or day < each.abandoned_on]
        return in_use[-1].kind if in_use else ""


def rows_of(patient: Patient, since: datetime, until: datetime) -> PatientRows:
    """The rows of [since, until): twelve queries at most, one more where the unit's time zone is asked for."""
    records = TreatmentRecord.objects.filter(patient=patient).between(since, until).order_by("started_at", "pk")
    laid_out = list(records.values(*RECORD_COLUMNS))
    ids = [each["pk"] for each in laid_out]
    return PatientRows(
        patient=patient,
        records_since=TreatmentRecord.objects.filter(patient=patient).aggregate(first=Min("night"))["first"],
        zone=zone_of(patient),
        records=laid_out,
        readings=_readings(ids),
        saline=_saline(ids),
        sites=_sites(ids),
        **_lists(patient, since, until),
    )


def _lists(patient: Patient, since: datetime, until: datetime) -> dict[str, list[Any]]:
    """What hangs on the patient, by the names of `PatientRows`."""
    orders = Prescription.objects.filter(patient=patient, in_force__overlap=(since, until))
    drawn = (since - KIDNEY_BEFORE - SAMPLES_AROUND, until + SAMPLES_AROUND)
    samples = BloodResult.objects.filter(patient=patient, drawn_at__range=drawn)
    going_on = Q(discharged_on=None) | Q(discharged_on__gte=since.date() - SAMPLES_AROUND)
    urine = UrineCollection.objects.filter(patient=patient, ended_at__range=(since - KIDNEY_BEFORE, until))
    return {
        "accesses": list(VascularAccess.objects.filter(patient=patient).order_by("created_on", "pk")),
        "left_out": list(LeftOut.objects.standing().filter(patient=patient).order_by("day")),
        "stays": list(HospitalStay.objects.standing().filter(going_on, patient=patient).order_by("admitted_on")),
        "bloods": list(samples.filter(analyte__in=[Analyte.UREA, Analyte.CREATININE]).order_by("drawn_at", "pk")),
        "urine": list(urine.order_by("ended_at")),
        "prescriptions": list(orders.select_related("dialyser").order_by("in_force")),
    }


def _readings(records: list[uuid.UUID]) -> dict[uuid.UUID, list[ReadRow]]:
    rows = Reading.objects.filter(record__in=records).order_by("at")
    found: dict[uuid.UUID, list[ReadRow]] = defaultdict(list)
    for record, at, qb, qd, uf in rows.values_list("record_id", "at", "qb_ml_min", "qd_ml_min", "uf_volume_l"):
        found[record].append(ReadRow(at, qb, qd, uf))
    return found


def _saline(records: list[uuid.UUID]) -> dict[uuid.UUID, float]:
    """Saline given during each treatment [L], as its events say."""
    found: dict[uuid.UUID, float] = defaultdict(float)
    given = Event.objects.filter(record__in=records, saline_l__isnull=False)
    for record, litres in given.values_list("record_id", "saline_l"):
        found[record] += litres or 0.0
    return found


def _sites(records: list[uuid.UUID]) -> dict[uuid.UUID, tuple[str, float | None]]:
    """The kind of access of which sites were used, and the gauge of a needle noted with it, by record."""
    used = SiteUsed.objects.filter(record__in=records).order_by("pk")
    found: dict[uuid.UUID, tuple[str, float | None]] = {}
    for record, kind, gauge in used.values_list("record_id", "site__access__kind", "gauge"):
        found[record] = (kind, found.get(record, ("", None))[1] if gauge is None else gauge)
    return found
