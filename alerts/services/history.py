"""Read what rules look at: a patient's last months, in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from django.db.models import Min

from alerts.limits.book import book_of
from alerts.models import Alert
from alerts.rules.base import HISTORY, Around, History
from alerts.services.long_course import course_of
from alerts.services.nights import EVERYTHING, nights_of
from sessions.facts.choices_surroundings import WaterEdition
from sessions.facts.plausible import MINUTES_BETWEEN_FUTURE_AND_NOW
from sessions.models import (
    BloodResult,
    Patient,
    Prescription,
    PrescriptionAcknowledgement,
    TreatmentRecord,
    WaterStandard,
    WaterTest,
)
from sessions.models.local_time import zone_of
from sessions.services.due import due_of
from sessions.services.stock import stock_of
from sessions.services.surroundings_facts import facts_of

LONGEST = timedelta(days=400)
"""However old an open alert is, no more than this is read."""
BEFORE_ALERT = timedelta(days=14)
CLOCKS_APART = timedelta(minutes=MINUTES_BETWEEN_FUTURE_AND_NOW)
EVER = 3650
"""Days ahead that count as due: whether something is set at all, not whether it is due soon."""


def history_of(patient: Patient, *, at: datetime, whole: bool = True) -> History:
    """The patient's nights up to `at`, 90 days back or as far as the oldest open alert reaches.

    Without `whole` only when treatments were, not what was written of them.
    """
    since = _since(patient, at)
    until = at + CLOCKS_APART
    records = TreatmentRecord.objects.filter(patient=patient, started_at__gte=since, started_at__lte=until)
    prescriptions = list(Prescription.objects.filter(patient=patient).order_by("version"))
    return History(
        patient=patient,
        zone=zone_of(patient),
        since=since,
        nights=nights_of(records, prescriptions, EVERYTHING if whole else frozenset()),
        limits=book_of(patient),
        prescriptions=prescriptions,
        night_before=night_before(patient, since),
        bloods=bloods_between(patient, since, until) if whole else (),
        around=around(patient, prescriptions, since, at),
        course=course_of(patient, prescriptions, at=at) if whole else (),
    )


def bloods_between(patient: Patient, since: datetime, until: datetime) -> list[BloodResult]:
    rows = BloodResult.objects.filter(patient=patient, drawn_at__gte=since, drawn_at__lte=until)
    return list(rows.order_by("drawn_at"))


def around(patient: Patient, prescriptions: Sequence[Prescription], since: datetime, at: datetime) -> Around:
    """What surrounds the treatments now: due days, stock, water, and what was acknowledged."""
    facts = facts_of(patient, at.astimezone(zone_of(patient)).date())
    water = WaterTest.objects.filter(patient=patient, sampled_at__gte=since, sampled_at__lte=at + CLOCKS_APART)
    standard = WaterStandard.objects.first()
    read = PrescriptionAcknowledgement.objects.filter(prescription__in=prescriptions)
    return Around(
        water=list(water.standing().order_by("sampled_at")),
        edition=standard.edition if standard else WaterEdition.ISO_2019,
        due=due_of(facts, ahead=EVER),
        stock=stock_of(facts),
        acknowledged=frozenset(read.values_list("prescription_id", flat=True)),
    )


def night_before(patient: Patient, since: datetime) -> date | None:
    earlier = TreatmentRecord.objects.filter(patient=patient, started_at__lt=since)
    night: date | None = earlier.order_by("-started_at").values_list("night", flat=True).first()
    return night


def _since(patient: Patient, at: datetime) -> datetime:
    oldest: date | None = Alert.objects.open().filter(patient=patient).aggregate(Min("first_night"))["first_night__min"]
    since = at - HISTORY
    if oldest is None:
        return since
    days = (at.date() - oldest).days
    return max(at - LONGEST, min(since, at - timedelta(days=days) - BEFORE_ALERT))
