"""A patient on one screen, for whoever decides what to do about an alert: nights, bloods, what is ordered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Min

from alerts.limits.book import book_of
from alerts.showing.courses import CourseChart, charts_of
from alerts.showing.patient_charts import charts_of_patient
from dosing.services.month.blood_flags import flagging
from dosing.services.month.ranges import book
from dosing.services.night.treatments import ComputedNight, nights_of, nights_with_bloods
from dosing.services.numbers.kept import KeptNumber
from dosing.services.results.blood_tables import BloodDrawing, drawings_of, drawings_table
from sessions.models import Medicine, Patient, Prescription, Reading, VascularAccess
from sessions.services.prescribing import prescription_in_force

NIGHTS = 9
NIGHTS_BACK = timedelta(days=45)
BLOODS_BACK = timedelta(days=182)
"""Bloods and the doses that they tell come once a month: in less time there is no course to be seen."""
DRAWINGS = 3


@dataclass(frozen=True, slots=True)
class NightLine:
    """One treatment in one line; lowest: the lowest systolic pressure among its readings [mmHg]."""

    night: ComputedNight
    target: float | None
    off_target: KeptNumber
    uf_rate: KeptNumber
    delivered: KeptNumber
    lowest: float | None


@dataclass(frozen=True, slots=True)
class PatientPicture:
    """nights: the latest, newest first; charts: their course, of all those of the last weeks; medicines: what was given
    in them; drawings, bloods: the latest bloods, as `drawings_table` lays them out.
    """

    nights: list[NightLine]
    charts: list[CourseChart]
    medicines: list[Medicine]
    drawings: list[BloodDrawing]
    bloods: list[dict[str, Any]]
    prescription: Prescription | None
    access: VascularAccess | None


def picture_of_patient(patient: Patient, *, at: datetime) -> PatientPicture:
    """Eight queries, whatever the history."""
    tomorrow = at + timedelta(days=1)
    course = nights_of(patient.pk, since=at - NIGHTS_BACK, until=tomorrow)
    nights = course[::-1][:NIGHTS]
    lowest = _lowest(nights)
    every = drawings_of(patient)
    drawings = every[:DRAWINGS]
    lately = [row for each in every if each.first.drawn_at > at - BLOODS_BACK for row in each.results.values()]
    charts = charts_of_patient(
        course,
        dosed=nights_with_bloods(patient.pk, since=at - BLOODS_BACK, until=tomorrow),
        bloods=lately,
        book=book_of(patient),
    )
    return PatientPicture(
        nights=[_line(night, lowest) for night in nights],
        charts=charts_of(charts),
        medicines=_medicines(course),
        drawings=drawings,
        bloods=drawings_table(drawings, flagging(book())),
        prescription=prescription_in_force(patient, at),
        access=patient.accesses.in_use().first(),
    )


def _lowest(nights: list[ComputedNight]) -> Mapping[Any, float]:
    rows = Reading.objects.filter(record__in=[night.record for night in nights], systolic__isnull=False).order_by()
    return dict(rows.values("record_id").annotate(lowest=Min("systolic")).values_list("record_id", "lowest"))


def _medicines(nights: list[ComputedNight]) -> list[Medicine]:
    """What was given in the last weeks: of each the newest, in order of names."""
    rows = Medicine.objects.filter(record__in=[night.record for night in nights])
    return list(rows.order_by("name", "-at").distinct("name"))


def _line(night: ComputedNight, lowest: Mapping[Any, float]) -> NightLine:
    ordered = night.record.prescription
    return NightLine(
        night=night,
        target=ordered.target_weight_kg if ordered else None,
        off_target=night.figure("off_target"),
        uf_rate=night.figure("uf_rate"),
        delivered=night.figure("delivered"),
        lowest=lowest.get(night.record.pk),
    )
