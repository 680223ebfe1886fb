"""Which limit holds when: a default with its source, which the unit or one patient's nurse may override.

Limits of typing live in `sessions.facts.plausible`; these here judge what was typed. Which one held on a night is
answered for that night: a limit set today changes nothing about yesterday.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import Q

from alerts.limits.kinds import KINDS, LimitKind
from alerts.models import Limit
from sessions.models import Patient, Prescription


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """What held at a moment, and in words who or what says so."""

    kind: LimitKind
    value: float
    source: str

    @property
    def words(self) -> str:
        return f"{self.value:g} {self.kind.unit}".strip()


DEFAULTS = {name: LimitInForce(kind, kind.value, kind.words) for name, kind in KINDS.items()}

HIGH_BEFORE = 160.0
"""[mmHg] Systolic pressure before treatment from which the stricter lowest limit holds (Flythe 2015, seen)."""

OF_PRESCRIPTION = {"uf_rate": "uf_rate_limit_ml_kg_h"}
"""Limits that a prescription carries itself; the prescription's own wins."""


@dataclass(frozen=True, slots=True)
class LimitBook:
    """All rows that were ever set for the unit and for one patient, newest first, to be asked without a query."""

    for_patient: tuple[Limit, ...] = ()
    for_unit: tuple[Limit, ...] = ()

    def at(self, name: str, at: datetime, prescription: Prescription | None = None) -> LimitInForce:
        """The limit in force at a moment: the prescription's, else the patient's, the unit's, the default."""
        own = _of_prescription(name, prescription)
        if own is not None:
            return own
        for rows, whom in ((self.for_patient, "this patient"), (self.for_unit, "the unit")):
            row = _newest(rows, name, at)
            if row is not None and row.value is not None:
                return LimitInForce(KINDS[name], row.value, _who_says(row, whom))
        return DEFAULTS[name]

    def with_row(self, row: Limit) -> LimitBook:
        """The same book with one more row, which is the newest: to see what it would do before it is set."""
        if row.patient_id is None:
            return replace(self, for_unit=(row, *self.for_unit))
        return replace(self, for_patient=(row, *self.for_patient))


def book_of(patient: Patient | None) -> LimitBook:
    """Read the limits of a patient and of the unit (None: of the unit alone): one query."""
    wanted = Q(patient=None) if patient is None else Q(patient=None) | Q(patient=patient)
    rows = list(Limit.objects.filter(wanted).select_related("set_by"))
    return LimitBook(
        for_patient=tuple(row for row in rows if row.patient_id is not None),
        for_unit=tuple(row for row in rows if row.patient_id is None),
    )


def books_of(patients: Iterable[Patient]) -> dict[Any, LimitBook]:
    """The limits of many patients at once, by patient: one query."""
    mine: dict[Any, list[Limit]] = {patient.pk: [] for patient in patients}
    rows = Limit.objects.filter(Q(patient=None) | Q(patient__in=list(mine))).select_related("set_by")
    unit = []
    for row in rows:
        unit.append(row) if row.patient_id is None else mine[row.patient_id].append(row)
    return {pk: LimitBook(tuple(own), tuple(unit)) for pk, own in mine.items()}


def limit_for(patient: Patient, name: str, at: datetime) -> LimitInForce:
    """The limit in force for a patient at a moment, with its source in words. KeyError for an unknown name."""
    prescription = Prescription.objects.filter(patient=patient).in_force(at).first()
    return book_of(patient).at(name, at, prescription)


def _newest(rows: Iterable[Limit], name: str, at: datetime) -> Limit | None:
    held = (row for row in rows if row.name == name and row.since <= at and (not row.until or at < row.until))
    return next(held, None)


def _who_says(row: Limit, whom: str) -> str:
    until = f" until {row.until:%Y-%m-%d}" if row.until else ""
    return f"set for {whom} by {row.set_by} on {row.since:%Y-%m-%d}{until}: {row.why}"


def _of_prescription(name: str, prescription: Prescription | None) -> LimitInForce | None:
    if prescription is None or name not in OF_PRESCRIPTION:
        return None
    value = getattr(prescription, OF_PRESCRIPTION[name])
    if value is None:
        return None
    return LimitInForce(
        KINDS[name], value, f"prescription {prescription.version}, signed on {prescription.signed_at:%Y-%m-%d}"
    )
