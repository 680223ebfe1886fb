"""Limits that call a nurse: each a default with its source, which the unit or one patient's nurse may override.

Limits of typing live in `sessions.plausible`; these here judge what was typed. Which one held on a night is
answered for that night: a limit set today changes nothing about yesterday.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from alerts.models import Limit
from dosing.science.sources import Status
from sessions.models import Patient, Prescription

_PRACTICE = Status.PRACTICE


@dataclass(frozen=True, slots=True)
class LimitKind:
    """One limit. value: the default in `unit`; least, most: what it may be set to; status: how far seen."""

    name: str
    label: str
    unit: str
    value: float
    least: float
    most: float
    step: float
    source: str
    status: Status

    @property
    def words(self) -> str:
        return f"{self.source} ({self.status})" if self.source else str(self.status)

    def refusal(self, given: float) -> str:
        """Why a value cannot be this limit, or ""."""
        if self.least <= given <= self.most:
            return ""
        return f"{self.label} must be between {self.least:g} and {self.most:g} {self.unit}; {given:g} was given."


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """What held at a moment, and in words who or what says so."""

    kind: LimitKind
    value: float
    source: str

    @property
    def words(self) -> str:
        return f"{self.value:g} {self.kind.unit}"


_FLYTHE_UF = (
    "Flythe et al., Kidney Int 2011;79:250-7 (bands from memory); "
    "above 13: Assimon et al., Am J Kidney Dis 2016;68:911, abstract"
)
_MERMELSTEIN = "3 W + 500 mL/h: Mermelstein et al., Clin J Am Soc Nephrol 2023;18:767, the unit's choice"
_FLYTHE_LOW = "Flythe et al., J Am Soc Nephrol 2015;26:724: lowest under 90, or under 100 from 160 or more"
_GRADE_3 = "systolic 180 or diastolic 110, the usual line for very high pressure"
_DEPNER = "not more negative than -250: summary of Sands and Depner; home units often alarm at -200"

KINDS: dict[str, LimitKind] = {
    kind.name: kind
    for kind in (
        LimitKind("uf_rate", "UF rate at most", "mL/kg/h", 13, 3, 20, 0.5, _FLYTHE_UF, Status.SEEN),
        LimitKind(
            "uf_rate_line",
            "UF rate at most, of the line that grows with weight (0: not used)",
            "%",
            0,
            0,
            200,
            5,
            _MERMELSTEIN,
            Status.SEEN,
        ),
        LimitKind("off_target_kg", "Weight after, off target by", "kg", 1, 0.3, 5, 0.1, "", _PRACTICE),
        LimitKind("off_target_percent", "or by, of target weight", "%", 2, 0.5, 10, 0.5, "", _PRACTICE),
        LimitKind("systolic_low", "Lowest systolic at least", "mmHg", 90, 60, 130, 5, _FLYTHE_LOW, Status.SEEN),
        LimitKind(
            "systolic_low_after_high",
            "Lowest systolic at least, when high before",
            "mmHg",
            100,
            60,
            140,
            5,
            _FLYTHE_LOW,
            Status.SEEN,
        ),
        LimitKind("systolic_high", "Systolic before at most", "mmHg", 180, 120, 240, 5, _GRADE_3, Status.MEMORY),
        LimitKind("diastolic_high", "Diastolic before at most", "mmHg", 110, 70, 150, 5, _GRADE_3, Status.MEMORY),
        LimitKind(
            "arterial_low", "Arterial pressure not below", "mmHg", -250, -400, -50, 10, _DEPNER, Status.SECOND_HAND
        ),
        LimitKind("venous_high", "Venous pressure at most", "mmHg", 250, 80, 400, 10, "", _PRACTICE),
        LimitKind("venous_low", "Venous pressure at least", "mmHg", 20, 0, 100, 5, "", _PRACTICE),
        LimitKind("venous_rise", "Venous pressure rise in eight weeks", "mmHg", 20, 8, 100, 1, "", _PRACTICE),
        LimitKind("delivered", "Time of treatment at least, twice in three", "%", 90, 50, 100, 5, "", _PRACTICE),
        LimitKind("delivered_once", "Time of treatment at least, once", "%", 75, 30, 100, 5, "", _PRACTICE),
        LimitKind(
            "bleeding",
            "Bleeding after needles at most",
            "min",
            20,
            5,
            60,
            1,
            "KDOQI names long bleeding as a sign, without a firm number",
            Status.MEMORY,
        ),
        LimitKind("missing_grace", "Hours after a due day before asking", "h", 24, 6, 96, 1, "", _PRACTICE),
    )
}

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


def book_of(patient: Patient | None) -> LimitBook:
    """Read the limits of a patient and of the unit (None: of the unit alone): one query."""
    wanted = Q(patient=None) if patient is None else Q(patient=None) | Q(patient=patient)
    rows = list(Limit.objects.filter(wanted).select_related("set_by"))
    return LimitBook(
        for_patient=tuple(row for row in rows if row.patient_id is not None),
        for_unit=tuple(row for row in rows if row.patient_id is None),
    )


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
