"""The rows of the database that courses are made of, read for any number of patients in a fixed number of queries."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Min, Q

from sessions.facts.choices import Analyte
from sessions.models import (
    BloodResult,
    Event,
    HospitalStay,
    Patient,
    Prescription,
    Reading,
    SiteUsed,
    TreatmentRecord,
    UrineCollection,
    VascularAccess,
)
from sessions.models.local_time import zones_of

Key = TypeVar("Key")
Row = TypeVar("Row")
RECORD_COLUMNS = (
    *("pk", "patient_id", "prescription_id", "night", "state", "started_at", "ended_at", "pre_weight_kg"),
    *("post_weight_kg", "uf_removed_l", "rinse_back_l", "intake_l", "blood_processed_l", "machine_ktv"),
)
SAMPLES_AROUND = timedelta(days=5)
"""How far outside the span bloods are read: those of its first and last treatment, and before a urine collection."""


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
    sites: Mapping[uuid.UUID, str]
    accesses: list[VascularAccess]
    stays: list[HospitalStay]
    bloods: list[BloodResult]
    urine: list[UrineCollection]
    prescriptions: list[Prescription]

    def access_on(self, day: date) -> str:
        """Kind of the newest access that was in use on a day; "" where none was."""
        there = [each for each in self.accesses if each.created_on <= day]
        in_use = [each for each in there if each.abandoned_on is None or day < each.abandoned_on]
        return in_use[-1].kind if in_use else ""


def rows_of(patients: Sequence[Patient], since: datetime, until: datetime) -> dict[uuid.UUID, PatientRows]:
    """{patient: rows} of [since, until): eleven queries, one more where the unit's time zone is asked for."""
    records = TreatmentRecord.objects.filter(patient__in=patients).between(since, until).order_by("started_at", "pk")
    laid_out = list(records.values(*RECORD_COLUMNS))
    ids = [each["pk"] for each in laid_out]
    readings, saline, sites = _readings(ids), _saline(ids), _sites(ids)
    own = _grouped(laid_out, lambda row: row["patient_id"])
    of_patient = _lists(patients, since, until)
    zones, begun = zones_of(patients), _first_nights(patients)

    def rows(patient: Patient) -> PatientRows:
        lists: dict[str, Any] = {name: found.get(patient.pk, []) for name, found in of_patient.items()}
        kept = own.get(patient.pk, [])
        return PatientRows(
            patient=patient,
            records_since=begun.get(patient.pk),
            zone=zones[patient.pk],
            records=kept,
            readings=readings,
            saline=saline,
            sites=sites,
            **lists,
        )

    return {each.pk: rows(each) for each in patients}


def _lists(patients: Sequence[Patient], since: datetime, until: datetime) -> dict[str, dict[uuid.UUID, list[Any]]]:
    """What hangs on the patient, by name and patient."""
    orders = Prescription.objects.filter(patient__in=patients, in_force__overlap=(since, until))
    drawn = (since - SAMPLES_AROUND, until + SAMPLES_AROUND)
    samples = BloodResult.objects.filter(patient__in=patients, drawn_at__range=drawn)
    urea = samples.filter(analyte__in=[Analyte.UREA, Analyte.CREATININE])
    going_on = Q(discharged_on=None) | Q(discharged_on__gte=since.date() - SAMPLES_AROUND)
    stays = HospitalStay.objects.standing().filter(going_on, patient__in=patients)
    rows: dict[str, Iterable[Any]] = {
        "accesses": VascularAccess.objects.filter(patient__in=patients).order_by("created_on", "pk"),
        "stays": stays.order_by("admitted_on"),
        "bloods": urea.order_by("drawn_at", "pk"),
        "urine": UrineCollection.objects.filter(patient__in=patients, ended_at__range=(since, until)).order_by(
            "ended_at"
        ),
        "prescriptions": orders.select_related("dialyser").order_by("in_force"),
    }
    return {name: _grouped(found, lambda row: row.patient_id) for name, found in rows.items()}


def _first_nights(patients: Sequence[Patient]) -> dict[uuid.UUID, date]:
    """The night of each patient's first record of all."""
    rows = TreatmentRecord.objects.filter(patient__in=patients).order_by().values("patient_id")
    return dict(rows.annotate(first=Min("night")).values_list("patient_id", "first"))


def _grouped(rows: Iterable[Row], key: Any) -> dict[Any, list[Row]]:
    found: dict[Any, list[Row]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found


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


def _sites(records: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    """The kind of access of which sites were used, by record."""
    used = SiteUsed.objects.filter(record__in=records).order_by("pk")
    return dict(used.values_list("record_id", "site__access__kind"))
