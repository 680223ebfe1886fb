"""What the screen of a decision draws from, read once: half a year of nights, bloods, urine, orders and months."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Q

from dosing.models import ChangeForecast, PatientMonth
from dosing.services.decision.forecasts import of_patient
from sessions.facts.findings import FindingKind
from sessions.facts.months import month_before, next_month
from sessions.models import (
    AccessInfection,
    BloodResult,
    Event,
    Finding,
    Medication,
    Patient,
    Prescription,
    TreatmentRecord,
    UrineCollection,
    VascularAccess,
)
from sessions.models.local_time import zone_of
from sessions.services.findings import findings_of
from sessions.services.medications import taken_between

DRAWN_MONTHS = 6
KNOWN_MONTHS = 12
"""So far back it is told since when something is wrong."""


@dataclass(frozen=True, slots=True)
class NightPoint:
    """What is drawn of one treatment; limit: of the UF rate as ordered; low: whether a low pressure was noted."""

    day: date
    uf_rate: float | None
    venous: float | None
    limit: float | None
    low: bool


@dataclass(frozen=True, slots=True)
class HalfYear:
    """Half a year up to the end of a month, or to the moment of looking where that is earlier."""

    patient: Patient
    month: date
    first: date
    last: date
    rows: Mapping[date, PatientMonth]
    nights: Sequence[NightPoint]
    events: Mapping[str, int]
    bloods: Sequence[BloodResult]
    urine: Sequence[UrineCollection]
    orders: Sequence[Prescription]
    accesses: Sequence[VascularAccess]
    infections: Sequence[AccessInfection]
    flows: Sequence[Finding]
    """measurements of flow and recirculation of an access up to the last day, the newest first"""
    medicines: Sequence[Medication]
    forecasts: Mapping[int, ChangeForecast]
    """by the version of the prescription"""

    @property
    def access(self) -> VascularAccess | None:
        """The one in use on the last day; the newest where more are."""
        there = [each for each in self.accesses if each.abandoned_on is None or each.abandoned_on > self.last]
        return there[-1] if there else None


def read_half_year(patient: Patient, month: date, *, at: datetime) -> HalfYear:
    """A fixed number of queries, whatever the history."""
    zone = zone_of(patient)
    first = _months_back(month, DRAWN_MONTHS - 1)
    since = datetime.combine(first, time(), zone)
    until = min(datetime.combine(next_month(month), time(), zone), at)
    last = max(first, (until - timedelta(seconds=1)).astimezone(zone).date())
    months = PatientMonth.objects.filter(patient=patient, month__gt=_months_back(month, KNOWN_MONTHS), month__lte=month)
    orders = Prescription.objects.filter(patient=patient, in_force__overlap=(since, until)).select_related("dialyser")
    accesses = VascularAccess.objects.filter(patient=patient, created_on__lte=last)
    used = accesses.filter(Q(abandoned_on=None) | Q(abandoned_on__gte=first))
    bloods = BloodResult.objects.filter(patient=patient, drawn_at__range=(since, until))
    urine = UrineCollection.objects.filter(patient=patient, ended_at__range=(since, until))
    infections = AccessInfection.objects.standing().filter(access__patient=patient, began_on__range=(first, last))
    return HalfYear(
        patient=patient,
        month=month,
        first=first,
        last=last,
        rows={row.month: row for row in months},
        nights=_nights(patient, since, until),
        events=_events(patient, datetime.combine(month, time(), zone), until),
        bloods=list(bloods.order_by("drawn_at")),
        urine=list(urine.order_by("ended_at")),
        orders=list(orders.order_by("in_force")),
        accesses=list(used.order_by("created_on", "pk")),
        infections=list(infections.order_by("began_on", "pk")),
        flows=[each for each in findings_of(patient, [FindingKind.ACCESS_FLOW]) if each.found_on <= last],
        medicines=taken_between(patient, first, last),
        forecasts={each.prescription.version: each for each in of_patient(patient.pk)},
    )


def _months_back(month: date, count: int) -> date:
    for _ in range(count):
        month = month_before(month)
    return month


KEYS = ("uf_rate", "venous_median")


def _nights(patient: Patient, since: datetime, until: datetime) -> list[NightPoint]:
    records = TreatmentRecord.objects.filter(patient=patient).between(since, until).order_by("started_at")
    paths = [f"computed__numbers__{key}__value" for key in KEYS]
    rows = list(records.values_list("pk", "night", *paths, "prescription__uf_rate_limit_ml_kg_h"))
    dropped = Event.objects.filter(record__patient=patient, kind="hypotension", at__range=(since, until))
    low = set(dropped.values_list("record_id", flat=True))
    return [NightPoint(night, uf_rate, venous, limit, pk in low) for pk, night, uf_rate, venous, limit in rows]


def _events(patient: Patient, since: datetime, until: datetime) -> Counter[str]:
    """How often each kind of event was noted in the month that is judged."""
    there = Event.objects.filter(record__patient=patient, at__range=(since, until)).order_by()
    return Counter(there.values_list("kind", flat=True))
