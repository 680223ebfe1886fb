"""Read the longer courses of patients that trends look at: few columns of many nights, in ten queries for all."""

from __future__ import annotations

import math
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.db.models import Aggregate, FloatField, Max, Sum

from alerts.models import Alert
from alerts.models.choices import Outcome
from alerts.rules.base import Point
from dosing.models import RecordNumbers
from dosing.science.flows import clearance_from_ktv
from dosing.services.night.inputs import body_water
from sessions.facts.choices import AccessKind, CheckPart, EventKind
from sessions.facts.choices_surroundings import MachineKind
from sessions.models import (
    AnsweredCheck,
    Event,
    Machine,
    Patient,
    Prescription,
    Reading,
    RecordState,
    SiteUsed,
    TreatmentRecord,
    VascularAccess,
)

TREND_SPAN = timedelta(days=270)
"""Trends are held against the usual of before they began: half a year at least, and some for a drift that goes on."""
OF_CATALOGUE = {
    "venous": "venous_median",
    "arterial": "arterial_median",
    "bleeding": "bleeding",
    "lowest": "lowest_systolic",
    "gain": "gain_percent",
    "length": "delivered",
}
OF_RECORD = {"post_weight": "post_weight_kg", "systolic": "pre_systolic", "post_systolic": "post_systolic"}
FELT = (EventKind.HYPOTENSION, EventKind.DIZZY, EventKind.CRAMP)
"""What is felt where the target weight is too low (common practice, no source)."""
TOLD_BY: dict[str, tuple[str, ...]] = {
    "venous": ("venous_rise", "access_story"),
    "arterial": ("arterial_fall", "access_story"),
    "bleeding": ("bleeding_rise", "access_story"),
    "clearance": ("dose_drift", "access_story"),
    "attempts": ("access_story",),
    "pain": ("access_story",),
    "found": ("access_story",),
    "tmp": ("tmp_rise",),
    "systolic": ("target_outdated",),
    "post_systolic": ("target_outdated",),
    "post_weight": ("target_outdated",),
    "lowest": ("target_outdated",),
    "felt": ("target_outdated",),
    "gain": ("gain_rise", "target_outdated"),
    "length": ("length_fall",),
}
"""Which rules tell of a series: when an alert of theirs was closed as known and accepted, a new usual begins."""
OF_CIRCUIT = ("venous", "arterial", "bleeding", "tmp", "attempts", "pain", "found")
OF_TARGET = ("post_weight", "systolic", "post_systolic", "lowest", "felt")
"""Series that a change of access or machine, and of the target weight, makes incomparable."""


class Median(Aggregate):
    """The middle of a column, as PostgreSQL computes it."""

    function = "PERCENTILE_CONT"
    template = "%(function)s(0.5) WITHIN GROUP (ORDER BY %(expressions)s)"
    output_field = FloatField()


class Row(NamedTuple):
    """The columns of a record that a course is made of; those of `OF_RECORD` last."""

    pk: uuid.UUID
    patient_id: uuid.UUID
    started_at: datetime
    night: date
    prescription_id: int | None
    ended_at: datetime | None
    machine_ktv: float | None
    post_weight_kg: float | None
    pre_systolic: float | None
    post_systolic: float | None


class AccessDays(NamedTuple):
    """When an access of a patient was in use, by the columns of its row."""

    patient: uuid.UUID
    kind: str
    created_on: date
    abandoned_on: date | None


Days = tuple[date, date | None]


@dataclass(frozen=True, slots=True)
class Beside:
    """What was read beside the records, by record; medians of the transmembrane pressure in mmHg, sizes in gauge.

    needles: attempts together and the worst pain; found: whether the look at the access failed, of the records that
    have one; felt: those in which something of `FELT` was noted; catheters: by patient, the days from and to which one
    was in use.
    """

    computed: Mapping[uuid.UUID, dict[str, float | None]]
    tmp: Mapping[uuid.UUID, float]
    gauges: Mapping[uuid.UUID, int]
    needles: Mapping[uuid.UUID, dict[str, float | None]]
    found: Mapping[uuid.UUID, bool]
    felt: Collection[uuid.UUID]
    catheters: Mapping[uuid.UUID, list[Days]]


Orders = Mapping[int, Prescription]
Changes = Mapping[str, list[date]]


def long_courses_of(
    patients: Sequence[Patient], prescriptions: Mapping[uuid.UUID, Sequence[Prescription]], *, at: datetime
) -> dict[uuid.UUID, list[Point]]:
    """The finished nights of each patient's last nine months, oldest first; prescriptions: all of each patient's."""
    records = TreatmentRecord.objects.filter(
        patient__in=patients, state=RecordState.FINISHED, started_at__gte=at - TREND_SPAN, started_at__lte=at
    )
    accesses = VascularAccess.objects.filter(patient__in=patients).values_list(*AccessDays._fields)
    used = list(map(AccessDays._make, accesses))
    beside = Beside(
        computed=_computed(records),
        tmp=_tmp(records),
        gauges=_gauges(records),
        needles=_needles(records),
        found=_found(records),
        felt=_felt(records),
        catheters=_catheters(used),
    )
    changes = _changes(patients, used, at)
    rows: defaultdict[uuid.UUID, list[Row]] = defaultdict(list)
    for row in map(Row._make, records.order_by("started_at", "pk").values_list(*Row._fields)):
        rows[row.patient_id].append(row)
    return {
        patient.pk: _course(
            patient, rows[patient.pk], prescriptions.get(patient.pk, ()), changes[patient.pk], beside, at
        )
        for patient in patients
    }


def _course(
    patient: Patient,
    rows: Sequence[Row],
    orders: Sequence[Prescription],
    changes: Changes,
    beside: Beside,
    at: datetime,
) -> list[Point]:
    by_id = {order.pk: order for order in orders}
    clearances = _clearances(patient, rows, by_id, at)
    return [_point(row, by_id, clearances.get(row.pk), changes, beside) for row in rows]


def _point(row: Row, by_id: Orders, clearance: float | None, changes: Changes, beside: Beside) -> Point:
    order = by_id.get(row.prescription_id) if row.prescription_id else None
    computed = beside.computed.get(row.pk, {})
    values = {key: getattr(row, column) for key, column in OF_RECORD.items()}
    values |= {"tmp": beside.tmp.get(row.pk), "clearance": clearance}
    values |= {key: computed.get(name) for key, name in OF_CATALOGUE.items()}
    values |= beside.needles.get(row.pk, {}) | _of_events(row, beside)
    if values["length"] is not None:
        values["length"] *= 100
    return Point(
        record=str(row.pk),
        at=row.started_at,
        night=row.night,
        values={key: value for key, value in values.items() if value is not None},
        flow=computed.get("blood_flow_median"),
        gauge=beside.gauges.get(row.pk) or _ordered_needle(row, order, beside),
        segments=_segments(row.night, order, changes),
    )


def _of_events(row: Row, beside: Beside) -> dict[str, float | None]:
    """What is there or not in a night, as per cent, so that its middle is a share of nights."""
    found = beside.found.get(row.pk)
    return {"felt": 100.0 * (row.pk in beside.felt), "found": None if found is None else 100.0 * found}


def _ordered_needle(row: Row, order: Prescription | None, beside: Beside) -> float | None:
    """As prescribed, but not while a catheter was in use: its pressures do not rise with the flow as a needle's do."""
    days = beside.catheters.get(row.patient_id, ())
    catheter = any(first <= row.night and (until is None or row.night < until) for first, until in days)
    return order.needle_gauge if order and not catheter else None


def _clearances(patient: Patient, rows: Sequence[Row], by_id: Orders, at: datetime) -> dict[uuid.UUID, float]:
    """Mean clearance of each night of which the machine's own Kt/V was noted, by record [mL/min].

    V by Watson at the newest target weight, one for the whole course: weights that change from night to night would
    otherwise look like a change of clearance.
    """
    orders = [by_id[row.prescription_id] for row in rows if row.prescription_id and row.prescription_id in by_id]
    noted = [
        (row.pk, (row.ended_at - row.started_at) / timedelta(minutes=1), row.machine_ktv)
        for row in rows
        if row.ended_at and row.machine_ktv is not None
    ]
    if not noted or not orders:
        return {}
    found = clearance_from_ktv(
        ktv=[ktv for _pk, _minutes, ktv in noted],
        minutes=[minutes for _pk, minutes, _ktv in noted],
        volume_l=body_water(patient, weight_kg=orders[-1].target_weight_kg, on=at.date()).value,
    ).value
    return {pk: float(value) for (pk, *_), value in zip(noted, found, strict=True) if math.isfinite(value)}


def _computed(records: Any) -> dict[uuid.UUID, dict[str, float | None]]:
    names = [*OF_CATALOGUE.values(), "blood_flow_median"]
    rows = RecordNumbers.objects.filter(record__in=records)
    return {
        pk: dict(zip(names, values, strict=True))
        for pk, *values in rows.values_list("pk", *(f"numbers__{name}__value" for name in names))
    }


def _tmp(records: Any) -> dict[uuid.UUID, float]:
    rows = Reading.objects.filter(record__in=records, tmp_mmhg__isnull=False).order_by()
    return dict(rows.values("record_id").annotate(middle=Median("tmp_mmhg")).values_list("record_id", "middle"))


def _gauges(records: Any) -> dict[uuid.UUID, int]:
    needles = SiteUsed.objects.filter(record__in=records, gauge__isnull=False)
    rows = needles.exclude(site__access__kind=AccessKind.CATHETER).order_by()
    return dict(rows.values("record_id").annotate(size=Max("gauge")).values_list("record_id", "size"))


def _needles(records: Any) -> dict[uuid.UUID, dict[str, float | None]]:
    rows = SiteUsed.objects.filter(record__in=records).order_by().values("record_id")
    together = rows.annotate(attempts_made=Sum("attempts"), worst=Max("pain"))
    return {
        pk: {"attempts": attempts, "pain": pain}
        for pk, attempts, pain in together.values_list("record_id", "attempts_made", "worst")
    }


def _found(records: Any) -> dict[uuid.UUID, bool]:
    """Whether any look at the access of a record failed."""
    rows = AnsweredCheck.objects.filter(record__in=records, part=CheckPart.ACCESS)
    found: dict[uuid.UUID, bool] = {}
    for pk, passed in rows.values_list("record_id", "passed"):
        found[pk] = found.get(pk, False) or not passed
    return found


def _felt(records: Any) -> set[uuid.UUID]:
    return set(Event.objects.filter(record__in=records, kind__in=FELT).values_list("record_id", flat=True))


def _catheters(accesses: Iterable[AccessDays]) -> dict[uuid.UUID, list[Days]]:
    found: defaultdict[uuid.UUID, list[Days]] = defaultdict(list)
    for each in accesses:
        if each.kind == AccessKind.CATHETER:
            found[each.patient].append((each.created_on, each.abandoned_on))
    return found


def _changes(
    patients: Sequence[Patient], accesses: Iterable[AccessDays], at: datetime
) -> dict[uuid.UUID, dict[str, list[date]]]:
    """Days on which a new usual begins, by patient and series; "" for the circuit: access and machine."""
    found: dict[uuid.UUID, dict[str, list[date]]] = {
        patient.pk: {key: [] for key in ("", *TOLD_BY)} for patient in patients
    }
    machines = Machine.objects.filter(patient__in=patients, kind=MachineKind.DIALYSIS)
    uses = ((each.patient, each.created_on, each.abandoned_on) for each in accesses)
    for patient_id, *days in (*uses, *machines.values_list("patient", "since", "until")):
        found[patient_id][""] += [day for day in days if day]
    accepted = Alert.objects.closed().filter(patient__in=patients, outcome=Outcome.KNOWN, closed_at__gt=at - TREND_SPAN)
    for patient_id, rule, closed_at in accepted.values_list("patient", "rule", "closed_at"):
        for key in (key for key, told_by in TOLD_BY.items() if rule in told_by):
            found[patient_id][key] += [closed_at.date()] if closed_at else []
    return found


def _segments(night: date, order: Prescription | None, changes: Changes) -> dict[str, str]:
    """One label a series that changes whenever nights before and after cannot be compared."""
    circuit = _since(night, changes[""])
    target = f"{order.target_weight_kg:g}" if order else "?"
    fluid = f"{order.dialyser_id}/{order.qd_ml_min:g}" if order else "?"
    schedule = f"{order.days_per_week:g}/{order.minutes:g}" if order else "?"
    before = dict.fromkeys(OF_CIRCUIT, circuit) | dict.fromkeys(OF_TARGET, target)
    before |= {"clearance": f"{circuit}/{fluid}", "length": schedule, "gain": f"{schedule}/{target}"}
    return {key: f"{label}/{_since(night, changes[key])}" for key, label in before.items()}


def _since(night: date, days: Iterable[date]) -> str:
    """The latest of these days up to the night."""
    return max((day for day in days if day <= night), default=date.min).isoformat()
