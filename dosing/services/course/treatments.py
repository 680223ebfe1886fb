"""The treatments of a course: what each record says of time, flow, clearance and fluid, for all records at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

import numpy as np

from dosing.science.access import median_at_treatment_flow
from dosing.science.body import total_body_water_watson
from dosing.science.course import Clearance, ClearanceBy, Order, Person, Treatment
from dosing.science.course_counting import RecordSpan, counting
from dosing.science.course_fluid import Fluid
from dosing.science.dialyser import blood_water_clearance, delivered_blood_flow, in_vivo_koa
from dosing.science.flows import blood_processed_l, clearance_from_ktv
from dosing.science.results import FloatArray
from dosing.services.course.rows import PatientRows, ReadRow
from sessions.facts.choices import RecordState

Record = dict[str, Any]
MINUTE = timedelta(minutes=1)


def treatments_of(rows: PatientRows, person: Person, orders: Sequence[Order]) -> tuple[Treatment, ...]:
    """Every record of the span as a treatment, in order of time."""
    if not rows.records:
        return ()
    by_key = {each.key: each for each in orders}
    ordered = [_order_of(record, orders, by_key) for record in rows.records]
    counts = counting([_span_of(record, order) for record, order in zip(rows.records, ordered, strict=True)])
    flows = _flows(rows)
    cleared = _clearances(rows, person, ordered, flows)
    return tuple(
        _treatment(
            rows, record, order, cleared[at], counts=counts[at], **{name: part[at] for name, part in flows.items()}
        )
        for at, (record, order) in enumerate(zip(rows.records, ordered, strict=True))
    )


def _treatment(
    rows: PatientRows, record: Record, order: Order | None, cleared: Clearance | None, **known: Any
) -> Treatment:
    minutes, (kind, gauge) = _minutes(record), rows.sites.get(record["pk"], ("", None))
    return Treatment(
        key=str(record["pk"]),
        day=record["night"],
        start=record["started_at"],
        end=record["ended_at"],
        minutes=minutes,
        prescribed_minutes=order.minutes if order else None,
        clearance=cleared,
        machine_ktv=record["machine_ktv"],
        fluid=fluid_of(record, rows.readings.get(record["pk"], ()), rows.saline.get(record["pk"], 0.0)),
        pre_weight_kg=record["pre_weight_kg"],
        post_weight_kg=record["post_weight_kg"],
        access=kind or rows.access_on(record["night"]),
        needle=gauge,
        handed_over=record["state"] == RecordState.FINISHED,
        **known,
    )


def _order_of(record: Record, orders: Sequence[Order], by_key: Mapping[str, Order]) -> Order | None:
    """The prescription that the record was made under, else the one in force when it began."""
    own = by_key.get(str(record["prescription_id"]))
    return own or next((each for each in orders if each.holds(record["started_at"])), None)


def _minutes(record: Record) -> float | None:
    return (record["ended_at"] - record["started_at"]) / MINUTE if record["ended_at"] else None


def _span_of(record: Record, order: Order | None) -> RecordSpan:
    return RecordSpan(
        start=record["started_at"], end=record["ended_at"], prescribed_minutes=order.minutes if order else None
    )


def fluid_of(record: Mapping[str, Any], readings: Sequence[ReadRow], saline_l: float) -> Fluid:
    """What one record says of the fluid, by each way."""
    noted = (record["rinse_back_l"], record["intake_l"])
    given = sum(each for each in noted if each is not None) + saline_l
    before, after = record["pre_weight_kg"], record["post_weight_kg"]
    lost = before - after if before is not None and after is not None else None
    last = next((each for each in reversed(readings) if each.uf_volume_l is not None), None)
    minutes = _minutes(dict(record))
    return Fluid(
        total=record["uf_removed_l"],
        weight_lost=lost,
        given=given,
        rinse_back_known=record["rinse_back_l"] is not None,
        by_readings=last.uf_volume_l if last else None,
        read_at=(last.at - record["started_at"]) / MINUTE if last else None,
        minutes=minutes,
    )


def _flows(rows: PatientRows) -> dict[str, list[float | None]]:
    """Blood and dialysate flow at the flow of the treatment, and the minutes at that flow, of each record.

    Minutes at flow are those in which the pump at that flow turns over what was pumped, at most those of the
    treatment: what stood still in between does not clear.
    """
    read = [rows.readings.get(record["pk"], ()) for record in rows.records]
    blood, dialysate, minute = _padded(rows, read)
    pumps = median_at_treatment_flow(values=blood, flows_ml_min=blood)
    baths = median_at_treatment_flow(values=dialysate, flows_ml_min=blood)
    minutes = np.array([_nan(_minutes(record)) for record in rows.records])
    pumped = blood_processed_l(flows_ml_min=blood, minutes_at=minute, end_minute=minutes)
    machine = np.array([_nan(record["blood_processed_l"]) for record in rows.records])
    litres = np.where(np.isfinite(machine), machine, pumped.value)
    with np.errstate(all="ignore"):
        at_flow = np.fmin(1000 * litres / pumps.value, minutes)
    at_flow = np.where(np.isfinite(at_flow) & np.isfinite(minutes), at_flow, minutes)
    return {"blood_flow": _known(pumps.value), "dialysate_flow": _known(baths.value), "at_flow": _known(at_flow)}


def _padded(rows: PatientRows, read: Sequence[Sequence[ReadRow]]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Blood flow, dialysate flow and minute of each reading with a blood flow, (records, most readings), NaN behind."""
    with_flow = [[each for each in readings if each.qb_ml_min] for readings in read]
    shape = (len(with_flow), max(1, *(len(each) for each in with_flow)) if with_flow else 1)
    blood, dialysate, minute = (np.full(shape, np.nan) for _ in range(3))
    for at, (record, readings) in enumerate(zip(rows.records, with_flow, strict=True)):
        for place, each in enumerate(readings):
            blood[at, place] = each.qb_ml_min
            dialysate[at, place] = _nan(each.qd_ml_min)
            minute[at, place] = (each.at - record["started_at"]) / MINUTE
    return blood, dialysate, minute


def _clearances(
    rows: PatientRows, person: Person, ordered: Sequence[Order | None], flows: Mapping[str, Sequence[float | None]]
) -> list[Clearance | None]:
    """Blood-water urea clearance of each record, by the best way that it allows."""
    rates = np.array([_rate(record, rows) for record in rows.records])
    by_flow, prescribed = (_by_dialyser(ordered, flows, rates, as_read=as_read) for as_read in (True, False))
    by_machine = _by_machine(rows, person)
    ways = ((by_flow, ClearanceBy.DIALYSER), (by_machine, ClearanceBy.MACHINE), (prescribed, ClearanceBy.PRESCRIBED))
    return [
        next((Clearance(ml_min=float(way[at]), by=by) for way, by in ways if math.isfinite(way[at])), None)
        for at in range(len(rows.records))
    ]


def _by_dialyser(
    ordered: Sequence[Order | None], flows: Mapping[str, Sequence[float | None]], rates: FloatArray, *, as_read: bool
) -> FloatArray:
    """At the blood flow that was read, or at that prescribed; dialysate as prescribed where none was read.

    rates: ultrafiltration [mL/min].
    """
    koa = np.array([_nan(each.koa_ml_min if each else None) for each in ordered])
    ordered_qb = [each.qb_ml_min if each else None for each in ordered]
    ordered_qd = [each.qd_ml_min if each else None for each in ordered]
    qb = np.array([_nan(each) for each in (flows["blood_flow"] if as_read else ordered_qb)])
    qd = np.array([_nan(read or asked) for read, asked in zip(flows["dialysate_flow"], ordered_qd, strict=True)])
    return blood_water_clearance(
        koa=in_vivo_koa(label_koa=koa).value,
        qb=delivered_blood_flow(set_flow=qb).value,
        qd=qd,
        qf=rates,
    ).value


def _rate(record: Record, rows: PatientRows) -> float:
    """Ultrafiltration [mL/min]; nought where it is not known, which moves the clearance by some hundredths."""
    taken = fluid_of(record, rows.readings.get(record["pk"], ()), 0.0).taken_off
    minutes = _minutes(record)
    return 1000 * taken / minutes if taken is not None and minutes else 0.0


def _by_machine(rows: PatientRows, person: Person) -> FloatArray:
    """From the machine's own Kt/V, with V by Watson."""
    water = total_body_water_watson(
        sex=person.sex,
        age_years=[person.age_on(record["night"]) for record in rows.records],
        height_cm=person.height_cm,
        weight_kg=[_nan(record["post_weight_kg"]) for record in rows.records],
    )
    ktv = np.array([_nan(record["machine_ktv"]) for record in rows.records])
    minutes = np.array([_nan(_minutes(record)) for record in rows.records])
    return clearance_from_ktv(ktv=ktv, minutes=minutes, volume_l=water.value).value


def _nan(value: float | None) -> float:
    return math.nan if value is None else value


def _known(values: FloatArray) -> list[float | None]:
    return [float(value) if math.isfinite(value) else None for value in values]
