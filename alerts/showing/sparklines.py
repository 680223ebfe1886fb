"""What stands around the alerts on the triage page: courses of numbers, the last call, the next treatment.

Each is read for all patients of the page at once: the number of queries does not grow with the list.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Max
from django.utils.translation import gettext

from alerts.models import Alert, AlertStep, Call
from alerts.rules.base import Evidence
from alerts.rules.evidence_kinds import as_spoken, kind_of, label_of_evidence, shown
from alerts.showing.pictures import Course, Picture, picture_of
from dosing.models import RecordNumbers
from dosing.science.due_days import longest_gap
from dosing.services.night.catalogue import NIGHT_NUMBERS
from sessions.models import HospitalStay, Patient, Prescription, TreatmentRecord

SPARKLINE_SPAN = timedelta(days=60)
MOST_DOTS = 30
DAY = timedelta(days=1)
Courses = dict[tuple[uuid.UUID, str], Course]


def courses_of(alerts: Iterable[Alert], *, at: datetime) -> Courses:
    """The last values of every number that the alerts speak of, by patient and key: one query, none without alerts."""
    wanted = {(alert.patient_id, key) for alert in alerts if (key := key_of(alert))}
    keys = sorted({key for _, key in wanted})
    if not keys:
        return {}
    rows = RecordNumbers.objects.filter(
        record__patient__in={patient for patient, _ in wanted}, record__started_at__gte=at - SPARKLINE_SPAN
    ).order_by("record__started_at")
    found: defaultdict[tuple[uuid.UUID, str], dict[date, float]] = defaultdict(dict)
    for patient_id, night, *values in rows.values_list(
        "record__patient_id", "record__night", *(_path(key) for key in keys)
    ):
        for key, value in zip(keys, values, strict=True):
            if value is not None and (patient_id, key) in wanted:
                found[patient_id, key][night] = shown_value(key, value)
    return {which: sorted(by_day.items())[-MOST_DOTS:] for which, by_day in found.items()}


def _path(key: str) -> str:
    return f"numbers__{key}__value" if key in NIGHT_NUMBERS else f"record__{key}"


def shown_value(key: str, value: float) -> float:
    """A stored number as pages write it: shares as per cent."""
    number = NIGHT_NUMBERS.get(key)
    if number is None:
        return round(value, 1)
    return round(100 * value) if number.percent else round(value, number.decimals)


def key_of(alert: Alert) -> str:
    """Which computed number or column of the record an alert's newest evidence is drawn into, or ""."""
    kinds = [item["kind"] for item in alert.evidence if item.get("value") is not None]
    return kind_of(kinds[-1]).drawn_from if kinds else ""


def drawn(alert: Alert, courses: Courses) -> Picture | None:
    """The small chart of an alert, where its evidence has numbers enough to see something."""
    valued = [item for item in alert.evidence if item.get("value") is not None]
    items = [Evidence.from_json(item) for item in valued if not item.get("gone")]
    if not items:
        return None
    newest = items[-1]
    handled = {Evidence.from_json(item).key for item in valued if item.get("handled")}
    same = [item for item in items if item.kind == newest.kind and item.key not in handled]
    course = courses.get((alert.patient_id, key_of(alert)), ())
    told = {day: as_spoken(newest, value)[0] for day, value in _worst_a_day(same).items()}
    limit, unit = as_spoken(newest, newest.limit or 0.0)
    known = None if newest.limit is None else limit
    course = [(day, as_spoken(newest, value)[0]) for day, value in course]
    return picture_of(course, told, limit=known, label=label_of_evidence(newest), unit=unit)


def _worst_a_day(items: Iterable[Evidence]) -> dict[date, float]:
    """One value a day: that which lies furthest beyond the limit, on the side on which the evidence lies."""
    by_day: defaultdict[date, list[float]] = defaultdict(list)
    below = False
    for item in items:
        value = shown(item)
        by_day[item.day].append(value)
        below = item.limit is not None and value < item.limit
    return {day: (min if below else max)(values) for day, values in by_day.items()}


@dataclass(frozen=True, slots=True)
class Contact:
    """The last time somebody tried to reach a patient. result: what came of it; next_call_at: of the last call noted,
    which holds also where the patient was spoken with in another way since.
    """

    at: datetime
    result: str
    words: str
    next_call_at: datetime | None


def last_contacts(patients: Collection[uuid.UUID]) -> dict[uuid.UUID, Contact]:
    """The latest call with each patient, or closing that says the patient was spoken with: two queries."""
    rows = Call.objects.filter(patient__in=patients).order_by("patient_id", "-at", "-pk").distinct("patient_id")
    found = {call.patient_id: _called(call) for call in rows}
    spoken = AlertStep.objects.spoken().filter(alert__patient__in=patients).select_related("alert")
    for step in spoken.order_by("alert__patient_id", "-at", "-pk").distinct("alert__patient_id"):
        patient, before = step.alert.patient_id, found.get(step.alert.patient_id)
        if before is None or step.at > before.at:
            again = before.next_call_at if before else None
            found[patient] = Contact(step.at, gettext("Spoken with"), step.words, again)
    return found


def _called(call: Call) -> Contact:
    words = " ".join(each for each in (call.said, call.plan) if each)
    return Contact(call.at, call.get_result_display(), words, call.next_call_at)


def calls_due(*, until: datetime) -> list[Call]:
    """The latest call with each patient where it says that another is due by then: one query."""
    latest = Call.objects.order_by("patient_id", "-at", "-pk").distinct("patient_id")
    due = Call.objects.filter(pk__in=latest.values("pk"), next_call_at__lt=until)
    return list(due.select_related("patient", "by").order_by("next_call_at", "pk"))


@dataclass(frozen=True, slots=True)
class NextTreatment:
    """day: on which the next treatment is due; at_latest: where weekdays are not fixed; overdue: before today.

    stay: in hospital or away today, so that none is due at home; `day` is then the day on which that began.
    """

    day: date
    at_latest: bool
    overdue: bool
    today: bool
    stay: HospitalStay | None = None


def next_treatments(patients: Collection[Patient], *, at: datetime, zone: ZoneInfo) -> dict[uuid.UUID, NextTreatment]:
    """When each patient's next treatment is due by the prescription in force, after any stay: three queries."""
    ids = [patient.pk for patient in patients]
    orders = {order.patient_id: order for order in Prescription.objects.in_force(at).filter(patient__in=ids)}
    nights = TreatmentRecord.objects.filter(patient__in=ids).order_by("patient_id").values_list("patient_id")
    last = dict(nights.annotate(last=Max("night")))
    stays: defaultdict[uuid.UUID, list[HospitalStay]] = defaultdict(list)
    for stay in HospitalStay.objects.standing().filter(patient__in=ids).order_by("admitted_on"):
        stays[stay.patient_id].append(stay)
    found = {}
    for patient in patients:
        today = at.astimezone(ZoneInfo(patient.time_zone) if patient.time_zone else zone).date()
        due = _after_stays(stays[patient.pk], orders.get(patient.pk), last.get(patient.pk), today)
        if due is not None:
            found[patient.pk] = due
    return found


def _after_stays(
    stays: Iterable[HospitalStay], order: Prescription | None, last: date | None, today: date
) -> NextTreatment | None:
    """None while nothing says when; a stay that is over counts as treated until its last day."""
    begun = [stay for stay in stays if stay.admitted_on <= today]
    here = next((stay for stay in begun if stay.discharged_on is None or stay.discharged_on >= today), None)
    if here is not None:
        return NextTreatment(here.admitted_on, at_latest=False, overdue=False, today=False, stay=here)
    treated = [day for day in (last, *(stay.discharged_on for stay in begun)) if day is not None]
    return next_due(order, max(treated, default=None), today) if order is not None else None


def next_due(order: Prescription, last: date | None, today: date) -> NextTreatment | None:
    """The first day from today on that the prescription names and on which there is no record yet."""
    if order.weekdays:
        days = (today + count * DAY for count in range(8))
        day = next(day for day in days if day.weekday() in order.weekdays and day != last)
        return NextTreatment(day, at_latest=False, overdue=False, today=day == today)
    if last is None:
        return None
    day = last + longest_gap(order.days_per_week) * DAY
    return NextTreatment(day, at_latest=True, overdue=day < today, today=day == today)
