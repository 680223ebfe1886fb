"""Whatever changes a judgement, declared: rows of which models are news, of whom, and when they came.

Saving or deleting such a row puts news into the outbox in the same transaction; who writes many rows past the
models' `save` calls `tell` with them. A record is news of its own kind: see `alerts.receivers`.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from operator import attrgetter
from typing import Any

from django.db import transaction
from django.db.models import Model, Q
from django.utils import timezone
from django.utils.translation import gettext_noop as _

from alerts.models import Limit, Mute
from alerts.rules.base import HISTORY
from alerts.services import outbox
from dosing.services.course.reading import COURSE_COUNTS_FOR
from dosing.services.results.urine import COUNTS_FOR, NEAR
from homedialysis.accounts.models import Unit
from sessions.facts.choices import Analyte
from sessions.models import (
    AccessInfection,
    BloodResult,
    BloodsDue,
    CarePartner,
    HospitalStay,
    Interval,
    LeftOut,
    Machine,
    Patient,
    Prescription,
    PrescriptionAcknowledgement,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    Training,
    TreatmentRecord,
    UrineCollection,
    VascularAccess,
    WaterRelease,
    WaterStandard,
    WaterTest,
)

FIT_LOOKS_BACK = COURSE_COUNTS_FOR
"""How long what was done, drawn, prescribed or kept from home goes into the fitted dose of later treatments."""
PatientOf = Callable[[Any], uuid.UUID | None]


def everybody(row: Model) -> None:
    """A row of the unit, which holds for every patient."""


OWN: PatientOf = attrgetter("patient_id")
"""The row's patient; None where it is one of the unit."""


def no_records(row: Model) -> Collection[uuid.UUID]:
    """It goes into no record's numbers."""
    return ()


@dataclass(frozen=True, slots=True)
class Source:
    """Rows of one model as news. why: in words for staff; patient: whose, None for everybody's; at: the column that
    says when it was noted, "" where none does and it is now; records: which records must be computed anew.
    """

    why: str
    patient: PatientOf = OWN
    at: str = ""
    records: Callable[[Any], Collection[uuid.UUID]] = no_records

    def noted_at(self, row: Model) -> datetime:
        found: datetime = (getattr(row, self.at) if self.at else None) or timezone.now()
        return found


def _since_made(access: VascularAccess) -> Collection[uuid.UUID]:
    """The nights of late that are taken to have been on this access: its kind goes into their numbers."""
    nights = TreatmentRecord.objects.filter(patient=access.patient_id, night__gte=access.created_on)
    return list(nights.filter(started_at__gte=timezone.now() - HISTORY).values_list("pk", flat=True))


def _drawn_at(result: BloodResult) -> Collection[uuid.UUID]:
    """The treatments it was tied to, now or before a correction: bloods go into their numbers. Those too that count a
    kidney whose collection has its blood from this result, and those whose fit it goes into.
    """
    versions: Any = result.events  # type: ignore[attr-defined]  # made by pghistory
    tied = {result.treatment_id, *versions.values_list("treatment_id", flat=True)} - {None}
    if result.analyte == Analyte.UREA and tied:
        tied |= set(_doses_since(result.patient_id, result.drawn_at.date(), result.drawn_at.date()))
    return tied.union(*map(_of_urine, _collections_near(result)))


def _collections_near(result: BloodResult) -> list[UrineCollection]:
    if result.analyte != Analyte.UREA:
        return []
    span = (result.drawn_at - NEAR, result.drawn_at + NEAR)
    at_an_end = Q(began_at__range=span) | Q(ended_at__range=span)
    return list(UrineCollection.objects.filter(at_an_end, patient=result.patient_id))


def _of_urine(urine: UrineCollection) -> Collection[uuid.UUID]:
    """The treatments with bloods for as long as it says what the kidneys do."""
    return _doses_since(urine.patient_id, urine.ended_at.date(), (urine.ended_at + COUNTS_FOR).date())


def _doses_since(patient_id: uuid.UUID, day: date, until: date | None = None) -> Collection[uuid.UUID]:
    """The treatments with bloods from a day on, and half a year beyond the last: intervals, treatments a week and the
    fit, which go into their doses, hang on what was done, prescribed, drawn or kept from home before them.
    """
    with_bloods = TreatmentRecord.objects.filter(patient=patient_id, night__gte=day, bloods__analyte=Analyte.UREA)
    if until is not None:
        with_bloods = with_bloods.filter(night__lte=until + FIT_LOOKS_BACK)
    return list(with_bloods.distinct().values_list("pk", flat=True))


def _of_stay(stay: HospitalStay) -> Collection[uuid.UUID]:
    return _doses_since(stay.patient_id, stay.admitted_on, stay.discharged_on)


def _of_left_out(said: LeftOut) -> Collection[uuid.UUID]:
    return _doses_since(said.patient_id, said.day, said.day)


def _of_orders(order: Prescription) -> Collection[uuid.UUID]:
    return _doses_since(order.patient_id, order.in_force.lower.date())


SOURCES: dict[type[Model], Source] = {
    AccessInfection: Source(_("infection noted"), attrgetter("access.patient_id"), at="entered_at"),
    BloodResult: Source(_("bloods entered"), at="entered_at", records=_drawn_at),
    BloodsDue: Source(_("bloods to draw set"), at="set_at"),
    CarePartner: Source(_("who helps changed")),
    SupplyDelivery: Source(_("delivery noted"), at="entered_at"),
    HospitalStay: Source(_("hospital stay noted"), at="entered_at", records=_of_stay),
    Interval: Source(_("interval set"), at="set_at"),
    Limit: Source(_("limit set"), at="since"),
    Machine: Source(_("machine noted")),
    Mute: Source(_("rule muted or heard again"), at="since"),
    Patient: Source(_("patient's own data changed"), attrgetter("pk")),
    Prescription: Source(_("prescription signed"), at="signed_at", records=_of_orders),
    PrescriptionAcknowledgement: Source(
        _("prescription acknowledged"), attrgetter("prescription.patient_id"), at="received_at"
    ),
    SupplyCount: Source(_("supplies counted"), at="entered_at"),
    SupplyItem: Source(_("list of supplies changed"), everybody),
    TaskDone: Source(_("task done"), at="entered_at"),
    LeftOut: Source(_("treatment left out"), at="received_at", records=_of_left_out),
    Training: Source(_("training noted"), at="entered_at"),
    Unit: Source(_("unit's settings changed"), everybody),
    UrineCollection: Source(_("urine collection entered"), at="entered_at", records=_of_urine),
    VascularAccess: Source(_("access changed"), records=_since_made),
    WaterRelease: Source(_("water released"), at="released_at"),
    WaterStandard: Source(_("standard of water chosen"), everybody, at="set_at"),
    WaterTest: Source(_("water test noted"), at="entered_at"),
}


@transaction.atomic
def tell(rows: Iterable[Model]) -> None:
    """Rows of `SOURCES` were written: have their patients evaluated. Call it in the transaction that writes."""
    for row in rows:
        _tell(row, SOURCES[type(row)])


def _tell(row: Model, source: Source) -> None:
    at, patient_id = source.noted_at(row), source.patient(row)
    if patient_id is None:
        outbox.add_for_everybody(why=source.why, at=at)
        return
    for record_id in source.records(row) or (None,):
        outbox.add(patient_id=patient_id, record_id=record_id, why=source.why, at=at)
