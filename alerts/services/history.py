"""Build the histories that rules look at: the one place where a `History` is read from the database.

What is wanted is said in parts: those of a night (`nights.READERS`), and `BLOODS`, `COURSE` and `SURROUNDINGS` beside
them. However many patients are asked for, they are read in a fixed number of queries, and each patient's history is
the same as if it had been read alone.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import chain, islice
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Min, QuerySet

from alerts.limits.book import books_of
from alerts.models import Alert
from alerts.rules.base import HISTORY, History, JudgedNight, Surroundings
from alerts.services.long_course import long_courses_of
from alerts.services.nights import PARTS_OF_NIGHT, nights_of
from dosing.services.results.water import standard_in_use
from sessions.facts.medicines import MedicationKind
from sessions.facts.plausible import MINUTES_BETWEEN_FUTURE_AND_NOW
from sessions.models import (
    BloodResult,
    HospitalStay,
    LeftOut,
    Medication,
    Patient,
    Prescription,
    PrescriptionAcknowledgement,
    TreatmentRecord,
    WaterTest,
)
from sessions.models.local_time import zones_of
from sessions.services.due import due_of
from sessions.services.stock import stock_of
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of_many

BLOODS, COURSE, SURROUNDINGS = "bloods", "course", "surroundings"
"""Results drawn meanwhile; the longer course that trends look at; what stands around the treatments now, and the
night before the first of them."""
WHOLE = PARTS_OF_NIGHT | {BLOODS, COURSE, SURROUNDINGS}
NIGHTS_AND_BLOODS = PARTS_OF_NIGHT | {BLOODS}
LONGEST = timedelta(days=400)
"""However old an open alert is, no more than this is read."""
BEFORE_ALERT = timedelta(days=14)
CLOCKS_APART = timedelta(minutes=MINUTES_BETWEEN_FUTURE_AND_NOW)
EVER = 3650
"""Days ahead that count as due: whether something is set at all, not whether it is due soon."""
PATIENTS_AT_ONCE = 50
"""So memory does not grow with the unit."""
ByPatient = defaultdict[uuid.UUID, list[Any]]


def history_of(patient: Patient, *, at: datetime, parts: frozenset[str] = WHOLE) -> History:
    """The patient's nights up to `at`, 90 days back or as far as the oldest open alert reaches."""
    (found,) = histories_of([patient], since=_reach(patient, at), at=at, parts=parts)
    return found


def histories_in_turn(
    patients: QuerySet[Patient], *, since: datetime, at: datetime, parts: frozenset[str]
) -> Iterator[History]:
    """The history of each patient since a moment, some patients at a time."""
    everybody = patients.order_by("pk").iterator(chunk_size=PATIENTS_AT_ONCE)
    while some := list(islice(everybody, PATIENTS_AT_ONCE)):
        yield from histories_of(some, since=since, at=at, parts=parts)


def histories_of(
    patients: Sequence[Patient], *, since: datetime, at: datetime, parts: frozenset[str], until: datetime | None = None
) -> list[History]:
    """One history a patient, in the order given, with the nights that began in [since, until].

    until: `at` and what clocks may be apart, unless another end is given. The course and the surroundings are those
    of `at`.
    """
    span = (since, until or at + CLOCKS_APART)
    zones, limits, orders = zones_of(patients), books_of(patients), _prescriptions(patients)
    nights = _nights(patients, orders, span, parts)
    bloods = _bloods(patients, span) if BLOODS in parts else _by_patient(())
    courses = long_courses_of(patients, orders, at=at) if COURSE in parts else {}
    around = _surroundings(patients, zones, span, at) if SURROUNDINGS in parts else {}
    before = _nights_before(patients, since) if SURROUNDINGS in parts else {}
    left_out = _by_patient(LeftOut.objects.standing().filter(patient__in=patients).order_by("day"))
    stays = _by_patient(HospitalStay.objects.standing().filter(patient__in=patients).order_by("admitted_on"))
    against_pressure = _by_patient(_against_pressure(patients, since))
    return [
        History(
            patient=patient,
            zone=zones[patient.pk],
            since=since,
            nights=nights[patient.pk],
            limits=limits[patient.pk],
            prescriptions=orders[patient.pk],
            night_before=before.get(patient.pk),
            bloods=bloods[patient.pk],
            surroundings=around.get(patient.pk),
            course=courses.get(patient.pk, ()),
            stays=stays[patient.pk],
            left_out=left_out[patient.pk],
            against_pressure=against_pressure[patient.pk],
        )
        for patient in patients
    ]


def _against_pressure(patients: Sequence[Patient], since: datetime) -> QuerySet[Medication]:
    """Medicines against high pressure that somebody takes, or took since a moment."""
    taken = Medication.objects.taken_between(since.date(), date.max).filter(patient__in=patients)
    return taken.filter(kind=MedicationKind.PRESSURE).order_by("from_on", "pk")


def _by_patient(rows: Iterable[Any]) -> ByPatient:
    found: ByPatient = defaultdict(list)
    for row in rows:
        found[row.patient_id].append(row)
    return found


def _prescriptions(patients: Sequence[Patient]) -> ByPatient:
    return _by_patient(Prescription.objects.filter(patient__in=patients).order_by("version"))


def _nights(
    patients: Sequence[Patient], orders: ByPatient, span: tuple[datetime, datetime], parts: frozenset[str]
) -> defaultdict[uuid.UUID, list[JudgedNight]]:
    records = TreatmentRecord.objects.filter(patient__in=patients, started_at__range=span)
    nights: defaultdict[uuid.UUID, list[JudgedNight]] = defaultdict(list)
    for night in nights_of(records, chain.from_iterable(orders.values()), parts):
        nights[night.record.patient_id].append(night)
    return nights


def _bloods(patients: Sequence[Patient], span: tuple[datetime, datetime]) -> ByPatient:
    rows = BloodResult.with_bounds.filter(patient__in=patients, drawn_at__range=span)
    return _by_patient(rows.order_by("drawn_at", "pk"))


def _nights_before(patients: Sequence[Patient], since: datetime) -> dict[uuid.UUID, date]:
    """The night of each patient's last treatment before a moment."""
    earlier = TreatmentRecord.objects.filter(patient__in=patients, started_at__lt=since)
    newest = earlier.order_by("patient_id", "-started_at").distinct("patient_id")
    return dict(newest.values_list("patient_id", "night"))


def _surroundings(
    patients: Sequence[Patient],
    zones: Mapping[uuid.UUID, ZoneInfo],
    span: tuple[datetime, datetime],
    at: datetime,
) -> dict[uuid.UUID, Surroundings]:
    """What surrounds the treatments now: due days, stock, water, and what was acknowledged."""
    tests = WaterTest.objects.filter(patient__in=patients, sampled_at__range=span)
    water = _by_patient(tests.standing().order_by("sampled_at", "pk"))
    standard = standard_in_use()
    read = _acknowledged(patients)
    return {
        facts.patient.pk: Surroundings(
            water=water[facts.patient.pk],
            standard=standard,
            held=facts.held,
            due=due_of(facts, ahead=EVER),
            stock=stock_of(facts),
            acknowledged=frozenset(read[facts.patient.pk]),
        )
        for facts in _facts(patients, zones, at)
    }


def _facts(
    patients: Sequence[Patient], zones: Mapping[uuid.UUID, ZoneInfo], at: datetime
) -> Iterator[SurroundingsFacts]:
    """Of all patients, read together for those on whose wall it is the same day."""
    by_day: defaultdict[date, list[Patient]] = defaultdict(list)
    for patient in patients:
        by_day[at.astimezone(zones[patient.pk]).date()].append(patient)
    for today, there in by_day.items():
        yield from facts_of_many(there, today)


def _acknowledged(patients: Sequence[Patient]) -> defaultdict[uuid.UUID, list[int]]:
    rows = PrescriptionAcknowledgement.objects.filter(prescription__patient__in=patients)
    found: defaultdict[uuid.UUID, list[int]] = defaultdict(list)
    for patient_id, prescription_id in rows.values_list("prescription__patient_id", "prescription_id"):
        found[patient_id].append(prescription_id)
    return found


def _reach(patient: Patient, at: datetime) -> datetime:
    """Since when to read: an alert that is open and older than the history must find what it stands on."""
    oldest: date | None = Alert.objects.open().filter(patient=patient).aggregate(Min("first_night"))["first_night__min"]
    since = at - HISTORY
    if oldest is None:
        return since
    days = (at.date() - oldest).days
    return max(at - LONGEST, min(since, at - timedelta(days=days) - BEFORE_ALERT))
