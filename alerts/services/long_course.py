"""Read the longer course of one patient that trends look at: few columns of many nights, in six queries."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Aggregate, FloatField, Max

from alerts.models import Alert
from alerts.models.choices import Outcome
from alerts.rules.base import Point
from dosing.models import RecordNumbers
from dosing.science.flows import clearance_from_ktv
from dosing.services.night.inputs import body_water
from sessions.facts.choices_surroundings import MachineKind
from sessions.models import Machine, Patient, Prescription, Reading, RecordState, SiteUsed, TreatmentRecord

COURSE = timedelta(days=270)
"""Trends are held against the usual of before they began: half a year at least, and some for a drift that goes on."""
OF_CATALOGUE = {"venous": "venous_median", "arterial": "arterial_median", "bleeding": "bleeding"}
OF_RECORD = {"post_weight": "post_weight_kg", "systolic": "pre_systolic"}
TOLD_BY = {
    "venous": "venous_rise",
    "arterial": "arterial_fall",
    "bleeding": "bleeding_rise",
    "tmp": "tmp_rise",
    "clearance": "dose_drift",
    "systolic": "target_outdated",
    "post_weight": "target_outdated",
}
"""Which rule tells of a series: when its alert was closed as known and accepted, a new usual begins."""


class Median(Aggregate):
    """The middle of a column, as PostgreSQL computes it."""

    function = "PERCENTILE_CONT"
    template = "%(function)s(0.5) WITHIN GROUP (ORDER BY %(expressions)s)"
    output_field = FloatField()


def course_of(patient: Patient, prescriptions: Sequence[Prescription], *, at: datetime) -> list[Point]:
    """The patient's finished nights of the last nine months, oldest first."""
    records = TreatmentRecord.objects.filter(
        patient=patient, state=RecordState.FINISHED, started_at__gte=at - COURSE, started_at__lte=at
    )
    by_id = {order.pk: order for order in prescriptions}
    computed, tmp, gauges = _computed(records), _tmp(records), _gauges(records)
    changes = _changes(patient, at)
    columns = ("pk", "started_at", "night", "prescription_id", "ended_at", "machine_ktv", *OF_RECORD.values())
    rows = list(records.order_by("started_at").values_list(*columns))
    clearances = _clearances(patient, rows, by_id, at)
    points = []
    for pk, started_at, night, order_id, _ended_at, _machine_ktv, *own in rows:
        order = by_id.get(order_id)
        values = dict(zip(OF_RECORD, own, strict=True)) | {"tmp": tmp.get(pk), "clearance": clearances.get(pk)}
        values |= {key: computed.get(pk, {}).get(name) for key, name in OF_CATALOGUE.items()}
        points.append(
            Point(
                record=str(pk),
                at=started_at,
                night=night,
                values={key: value for key, value in values.items() if value is not None},
                flow=computed.get(pk, {}).get("blood_flow_median"),
                gauge=gauges.get(pk) or (order.needle_gauge if order else None),
                segments=_segments(night, order, changes),
            )
        )
    return points


def _clearances(
    patient: Patient, rows: Sequence[tuple[Any, ...]], by_id: dict[int, Prescription], at: datetime
) -> dict[Any, float]:
    """Mean clearance of each night of which the machine's own Kt/V was noted, by record [mL/min].

    V by Watson at the newest target weight, one for the whole course: weights that change from night to night would
    otherwise look like a change of clearance.
    """
    orders = [by_id[order_id] for _pk, _started, _night, order_id, *_ in rows if order_id in by_id]
    noted = [(pk, ended - began, ktv) for pk, began, _, _, ended, ktv, *_ in rows if ended and ktv is not None]
    if not noted or not orders:
        return {}
    found = clearance_from_ktv(
        ktv=[ktv for _pk, _length, ktv in noted],
        minutes=[length / timedelta(minutes=1) for _pk, length, _ktv in noted],
        volume_l=body_water(patient, weight_kg=orders[-1].target_weight_kg, on=at.date()).value,
    ).value
    return {pk: float(value) for (pk, *_), value in zip(noted, found, strict=True) if math.isfinite(value)}


def _computed(records: Any) -> dict[Any, dict[str, float | None]]:
    names = [*OF_CATALOGUE.values(), "blood_flow_median"]
    rows = RecordNumbers.objects.filter(record__in=records)
    return {
        pk: dict(zip(names, values, strict=True))
        for pk, *values in rows.values_list("pk", *(f"numbers__{name}__value" for name in names))
    }


def _tmp(records: Any) -> dict[Any, float]:
    rows = Reading.objects.filter(record__in=records, tmp_mmhg__isnull=False).order_by()
    return dict(rows.values("record_id").annotate(middle=Median("tmp_mmhg")).values_list("record_id", "middle"))


def _gauges(records: Any) -> dict[Any, int]:
    rows = SiteUsed.objects.filter(record__in=records, gauge__isnull=False).order_by()
    return dict(rows.values("record_id").annotate(size=Max("gauge")).values_list("record_id", "size"))


def _changes(patient: Patient, at: datetime) -> dict[str, list[date]]:
    """Days on which a new usual begins, by series; "" for the circuit: access and machine."""
    accesses = patient.accesses.values_list("created_on", "abandoned_on")
    machines = Machine.objects.filter(patient=patient, kind=MachineKind.DIALYSIS).values_list("since", "until")
    circuit = [day for pair in (*accesses, *machines) for day in pair if day]
    accepted = Alert.objects.closed().filter(patient=patient, outcome=Outcome.KNOWN, closed_at__gt=at - COURSE)
    found = {"": circuit}
    rows = list(accepted.filter(rule__in=TOLD_BY.values()).values_list("rule", "closed_at"))
    for key, rule in TOLD_BY.items():
        found[key] = [closed_at.date() for of_rule, closed_at in rows if of_rule == rule and closed_at]
    return found


def _segments(night: date, order: Prescription | None, changes: dict[str, list[date]]) -> dict[str, str]:
    """One label a series that changes whenever nights before and after cannot be compared."""
    circuit = _since(night, changes[""])
    target = f"{order.target_weight_kg:g}" if order else "?"
    found = {key: f"{circuit}/{_since(night, changes[key])}" for key in ("venous", "arterial", "bleeding", "tmp")}
    fluid = f"{order.dialyser_id}/{order.qd_ml_min:g}" if order else "?"
    return found | {
        "clearance": f"{circuit}/{fluid}/{_since(night, changes['clearance'])}",
        "post_weight": f"{target}/{_since(night, changes['post_weight'])}",
        "systolic": f"{target}/{_since(night, changes['systolic'])}",
    }


def _since(night: date, days: Iterable[date]) -> str:
    """The latest of these days up to the night."""
    return max((day for day in days if day <= night), default=date.min).isoformat()
