"""What the made-up patients take: usual medicines of dialysis in usual doses (assumptions), some of them changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from homedialysis.demo.cast import Member
from homedialysis.demo.enrolment import Team
from sessions.facts.medicines import DosePeriod, DoseUnit, MedicationKind
from sessions.models import Medication, Patient
from sessions.services import medications, outcomes

CHANGED_AGO = 75
"""Days before the end at which the agent for red cells was raised."""
Dose = tuple[float, DoseUnit, float, DosePeriod]


@dataclass(frozen=True, slots=True)
class TakenMedicine:
    """One medicine with its dose, and the dose it has since `CHANGED_AGO`, None where it stayed."""

    name: str
    kind: MedicationKind
    dose: Dose
    since: Dose | None = None
    why: str = ""


def taken_by(member: Member) -> Iterator[TakenMedicine]:
    """Nothing of whoever has no bloods: nobody has asked yet."""
    if not member.bloods:
        return
    ug, mg, day, week, month = DoseUnit.UG, DoseUnit.MG, DosePeriod.DAY, DosePeriod.WEEK, DosePeriod.MONTH
    yield TakenMedicine("Darbepoetin alfa", MedicationKind.ESA, (30, ug, 1, week), (40, ug, 1, week))
    yield TakenMedicine("Iron sucrose", MedicationKind.IRON, (100, mg, 2, month))
    tablets = 1.0 if member.regime.nocturnal else 3.0
    yield TakenMedicine("Sevelamer carbonate", MedicationKind.BINDER, (800, mg, tablets, day))
    yield TakenMedicine("Alfacalcidol", MedicationKind.VITAMIN_D, (0.25, ug, 1, day))
    if member.dry_systolic >= 122:
        yield TakenMedicine("Amlodipine", MedicationKind.PRESSURE, (5, mg, 1, day), why="blood pressure")
    if member.catheter:
        yield TakenMedicine("Warfarin", MedicationKind.ANTICOAGULANT, (3, mg, 1, day), why="atrial fibrillation")


def write_down(member: Member, patient: Patient, team: Team, at: datetime) -> None:
    """What the patient takes when joining, as it was at the beginning."""
    for taken in taken_by(member):
        outcomes.keep(_row(taken, patient, taken.dose, at.date()), by=team.nurse(at), at=at)


def change(member: Member, patient: Patient, team: Team, at: datetime) -> None:
    """The changed doses, each with its reason."""
    for taken in taken_by(member):
        now = patient.medications.standing().filter(name=taken.name, until_on=None).first()
        if taken.since and now and now.from_on < at.date():
            new = _row(taken, patient, taken.since, at.date())
            medications.change_dose(now, new, why="Haemoglobin below the range.", by=team.nephrologist, at=at)


def _row(taken: TakenMedicine, patient: Patient, dose: Dose, first: date) -> Medication:
    named: dict[str, Any] = dict(zip(("amount", "unit", "times", "period"), dose, strict=True))
    return Medication(patient=patient, name=taken.name, kind=taken.kind, why=taken.why, from_on=first, **named)


def changed_at(until: datetime) -> datetime:
    return until - timedelta(days=CHANGED_AGO)
