"""Which limit holds when: a default with its source, which the unit or one patient's nurse may override.

Limits of typing live in `sessions.facts.plausible`; these here judge what was typed. Which one held on a night is
answered for that night: a limit set today changes nothing about yesterday.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Q
from django.utils.formats import number_format
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.kinds import KINDS, LimitKind
from alerts.models import Limit
from homedialysis.accounts.services.dates import short_day
from sessions.models import Patient, Prescription


@dataclass(frozen=True, slots=True)
class LimitOrigin:
    """Who or what says that a limit holds, as kept beside what was judged by it.

    whose: "default", "unit", "patient" or "prescription"; by: the name of whoever set it, on: the day, until: the last
    day where it ends, why: as typed; version: of the prescription, which was signed on the day `on`.
    """

    whose: str = "default"
    by: str = ""
    on: date | None = None
    until: date | None = None
    why: str = ""
    version: int | None = None

    @property
    def words(self) -> str:
        """In the reader's language; "" for the default, whose own source says it."""
        parts = {"by": self.by, "why": self.why, "version": self.version}
        parts |= {"on": short_day(self.on), "until": short_day(self.until)}
        return str(ORIGIN_WORDS[self.whose, self.until is not None]) % parts

    def as_json(self) -> dict[str, Any]:
        """Only what is said."""
        given = {"by": self.by, "on": self.on, "until": self.until, "why": self.why, "version": self.version}
        known = {name: value for name, value in given.items() if value not in (None, "")}
        days = {name: value.isoformat() for name, value in known.items() if isinstance(value, date)}
        return {"whose": self.whose} | known | days

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> LimitOrigin:
        days: dict[str, Any] = {name: date.fromisoformat(data[name]) for name in ("on", "until") if name in data}
        return cls(**(data | days))


ORIGIN_WORDS: dict[tuple[str, bool], StrOrPromise] = {
    ("default", False): "",
    ("patient", False): _("set for this patient by %(by)s on %(on)s: %(why)s"),
    ("patient", True): _("set for this patient by %(by)s on %(on)s until %(until)s: %(why)s"),
    ("unit", False): _("set for the unit by %(by)s on %(on)s: %(why)s"),
    ("unit", True): _("set for the unit by %(by)s on %(on)s until %(until)s: %(why)s"),
    ("prescription", False): _("prescription %(version)s, signed on %(on)s"),
}
"""By whose limit it is and whether it ends."""
DEFAULT = LimitOrigin()


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """What held at a moment, and who or what says so."""

    kind: LimitKind
    value: float
    origin: LimitOrigin = DEFAULT

    @property
    def words(self) -> str:
        """Value and unit, in the reader's language."""
        return f"{number_format(f'{self.kind.as_read(self.value):g}')} {self.kind.unit_shown}".strip()

    @property
    def source(self) -> str:
        """Who or what says so, in the reader's language."""
        return self.origin.words or self.kind.words

    def as_json(self) -> dict[str, Any]:
        """As kept beside what was judged by it."""
        return {"name": self.kind.name, "value": self.value, "origin": self.origin.as_json()}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> LimitInForce | None:
        """None where nothing was kept, or the limit is none of today's."""
        kind = KINDS.get(data.get("name", ""))
        return cls(kind, data["value"], LimitOrigin.from_json(data["origin"])) if kind else None


DEFAULTS = {name: LimitInForce(kind, kind.value) for name, kind in KINDS.items()}

HIGH_BEFORE = 160.0
"""[mmHg] Systolic pressure before treatment from which the stricter lowest limit holds (Flythe 2015, seen)."""


def low_limit_name(systolic_before: float | None) -> str:
    """Which limit the lowest systolic pressure of a treatment is held against, by the pressure before it [mmHg]."""
    stricter = systolic_before is not None and systolic_before >= HIGH_BEFORE
    return "systolic_low_after_high" if stricter else "systolic_low"


OF_PRESCRIPTION = {"uf_rate": "uf_rate_limit_ml_kg_h"}
"""Limits that a prescription carries itself; the prescription's own wins."""


@dataclass(frozen=True, slots=True)
class LimitBook:
    """All rows that were ever set for the unit and for one patient, newest first, to be asked without a query.

    only: the one moment, and the prescription in force then, that it speaks of whatever is asked.
    """

    for_patient: tuple[Limit, ...] = ()
    for_unit: tuple[Limit, ...] = ()
    only: tuple[datetime, Prescription | None] | None = None

    def at(self, name: str, at: datetime, prescription: Prescription | None = None) -> LimitInForce:
        """The limit in force at a moment: the prescription's, else the patient's, the unit's, the default."""
        at, prescription = self.only or (at, prescription)
        own = _of_prescription(name, prescription)
        if own is not None:
            return own
        for rows, whose in ((self.for_patient, "patient"), (self.for_unit, "unit")):
            row = _newest(rows, name, at)
            if row is not None and row.value is not None:
                return LimitInForce(KINDS[name], row.value, _set_by(row, whose))
        return DEFAULTS[name]

    def as_at(self, at: datetime, ordered: Prescription | None) -> LimitBook:
        """The book that says of every night what holds at this moment, under this prescription."""
        return replace(self, only=(at, ordered))

    def may_differ(self, names: Iterable[str]) -> bool:
        """Whether any of these limits was ever set, or is carried by prescriptions: else it holds as it always did."""
        rows = {row.name for row in (*self.for_patient, *self.for_unit)}
        return any(name in rows or name in OF_PRESCRIPTION for name in names)

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


def _set_by(row: Limit, whose: str) -> LimitOrigin:
    until = row.until.date() if row.until else None
    return LimitOrigin(whose, by=str(row.set_by), on=row.since.date(), until=until, why=row.why)


def _of_prescription(name: str, prescription: Prescription | None) -> LimitInForce | None:
    if prescription is None or name not in OF_PRESCRIPTION:
        return None
    value = getattr(prescription, OF_PRESCRIPTION[name])
    if value is None:
        return None
    origin = LimitOrigin("prescription", on=prescription.signed_at.date(), version=prescription.version)
    return LimitInForce(KINDS[name], value, origin)
