"""The histories of many patients at once, with no more of each night than the rules at hand look at."""

from __future__ import annotations

import itertools
import uuid
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import islice
from typing import Any

from django.db.models import QuerySet

from alerts.limits.book import books_of
from alerts.rules.base import History, Night
from alerts.services.history import CLOCKS_APART, around, night_before
from alerts.services.long_course import course_of
from alerts.services.nights import nights_of
from sessions.models import BloodResult, Patient, Prescription, TreatmentRecord
from sessions.models.local_time import zone_of

PATIENTS = 50
"""Patients read at once: so memory does not grow with the unit."""


def slim_histories(
    patients: QuerySet[Patient], *, since: datetime, at: datetime, reads: frozenset[str], by_time: bool = False
) -> Iterator[History]:
    """The history of each patient since a moment, some patients at a time.

    reads: parts of a night, as `Rule.reads` names them; by_time: with what is due and in stock, which costs some
    queries a patient.
    """
    everybody = iter(patients.order_by("pk").iterator(chunk_size=PATIENTS))
    while some := list(islice(everybody, PATIENTS)):
        yield from _some(some, since, at, reads, by_time)


def _some(
    patients: Sequence[Patient], since: datetime, at: datetime, reads: frozenset[str], by_time: bool
) -> Iterator[History]:
    books = books_of(patients)
    orders: defaultdict[uuid.UUID, list[Prescription]] = defaultdict(list)
    for order in Prescription.objects.filter(patient__in=patients).order_by("version"):
        orders[order.patient_id].append(order)
    nights = _nights(patients, orders, since, at, reads)
    bloods = _by_patient(BloodResult.objects.filter(drawn_at__gte=since, drawn_at__lte=at), patients, "drawn_at", reads)
    for patient in patients:
        ordered = orders[patient.pk]
        yield History(
            patient=patient,
            zone=zone_of(patient),
            since=since,
            nights=nights[patient.pk],
            limits=books[patient.pk],
            prescriptions=ordered,
            night_before=night_before(patient, since) if by_time else None,
            bloods=bloods[patient.pk],
            around=around(patient, ordered, since, at) if by_time else None,
            course=course_of(patient, ordered, at=at) if "course" in reads else (),
        )


def _by_patient(
    rows: QuerySet[Any], patients: Sequence[Patient], order: str, reads: frozenset[str]
) -> defaultdict[uuid.UUID, list[Any]]:
    found: defaultdict[uuid.UUID, list[Any]] = defaultdict(list)
    if "bloods" in reads:
        for row in rows.filter(patient__in=patients).order_by(order):
            found[row.patient_id].append(row)
    return found


def _nights(
    patients: Sequence[Patient],
    orders: dict[uuid.UUID, list[Prescription]],
    since: datetime,
    at: datetime,
    reads: frozenset[str],
) -> defaultdict[uuid.UUID, list[Night]]:
    records = TreatmentRecord.objects.filter(
        patient__in=patients, started_at__gte=since, started_at__lte=at + CLOCKS_APART
    )
    nights: defaultdict[uuid.UUID, list[Night]] = defaultdict(list)
    for night in nights_of(records, itertools.chain.from_iterable(orders.values()), reads):
        nights[night.record.patient_id].append(night)
    return nights
