"""What the demo's nephrologist finds on the desk: months computed, some reviews signed, a laboratory's file, a draft.

Everything goes through the services that the pages call; who is not in the plan's cast is left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dosing.services.importing import taking
from dosing.services.month import reviewing
from dosing.services.month.computing import compute_month
from dosing.services.planner.candidates import Candidate
from dosing.services.planner.drafting import keep_draft
from dosing.services.planner.expecting import DOSE_WANTED
from dosing.services.planner.patterns import pattern_of
from homedialysis.demo.cast import CAST
from homedialysis.demo.enrolment import Team
from sessions.facts.choices import AccessKind, InfectionKind, LeftReason, MessageFormat, Sex, Side
from sessions.facts.months import first_of, month_before
from sessions.models import AccessInfection, HospitalStay, Laboratory, Patient, VascularAccess
from sessions.services.prescribing import prescription_in_force

MOST_MONTHS = 12
SIGNED_BEFORE_LAST, SIGNED_LAST = 8, 3
"""So many patients, from the first, have a signed review of that month."""
COLUMNS = {
    "identifier": "Hospital no",
    "birth_date": "Born",
    "code": "Test",
    "name": "Test name",
    "value": "Result",
    "unit": "Units",
    "drawn_at": "Taken",
    "timing": "When",
    "specimen": "Sample",
}
CODES = {"K": "2823-3", "HB": "718-7", "ALB": "1751-7", "TSAT": "2502-3"}
JUDGED = (
    "Dose and fluid as they should be, access quiet. Nothing to change.",
    "Dose enough. Gains higher than last month: salt gone through again.",
    "Dose enough, pressure before treatment high twice. Target weight looked at, kept.",
)
TOLD = (
    "Your treatment does its work: your dose is good and your bloods are steady. "
    "Please keep an eye on salt at the weekend. Nothing about your prescription changes."
)
LEAVERS = (
    ("Edmund Kestrelgate", Sex.MALE, 61, 128, 20, LeftReason.CENTRE, AccessKind.FISTULA),
    ("Marisol Farthingbrook", Sex.FEMALE, 48, 96, 33, LeftReason.TRANSPLANT, AccessKind.CATHETER),
)
"""Name, sex, age, weeks since joining, weeks since leaving, why, access: people who are no longer treated at home."""


@dataclass(frozen=True, slots=True)
class NephrologistsDesk:
    """What lies there at `until`, after so many days of treatments."""

    team: Team
    until: datetime
    days: int

    def lay_out(self) -> None:
        """All of it, in the order in which it would have come about."""
        people = list(Patient.objects.in_programme().filter(name__in=[each.name for each in CAST]))
        people.sort(key=lambda each: [member.name for member in CAST].index(each.name))
        if len(people) == len(CAST):
            self._leavers()
        self._outcomes()
        self._compute(Patient.objects.filter(account__isnull=False))
        if people:
            self._reviews(people)
            self._file(people)
            self._draft(people)

    def _months(self) -> list[date]:
        """From the last one back to where the treatments begin, a year at most."""
        begins, month = (self.until - timedelta(days=self.days)).date(), first_of(self.until.date())
        found = [month, month_before(month)]
        while len(found) < MOST_MONTHS and found[-1] > begins:
            found.append(month_before(found[-1]))
        return found

    def _compute(self, people: Iterable[Patient]) -> None:
        for patient in people:
            for month in self._months():
                if first_of(patient.joined_on) <= month <= (patient.left_on or month):
                    compute_month(patient, month, at=self.until)

    def _reviews(self, people: list[Patient]) -> None:
        _, last, *before = self._months()
        signed = [(month, SIGNED_BEFORE_LAST) for month in before[:1]] + [(last, SIGNED_LAST)]
        for month, count in signed:
            for index, patient in enumerate(people[:count]):
                if month >= first_of(patient.joined_on):
                    self._review(patient, month, index)
        if len(people) > SIGNED_LAST:
            nurse = self.team.nurse(self.until)
            reviewing.write(
                patient=people[SIGNED_LAST],
                month=last,
                words="Asked the family how the nights go. Bloods are back.",
                for_patient="",
                by=nurse,
                at=self.until - timedelta(hours=20),
            )

    def _review(self, patient: Patient, month: date, index: int) -> None:
        """Written, planned, signed; the first patient may read what was written for the patient."""
        nephrologist, at = self.team.nephrologist, min(self.until, self._signing_day(month) + timedelta(minutes=index))
        words = {"words": JUDGED[index % len(JUDGED)], "for_patient": TOLD if index == 0 else ""}
        review = reviewing.write(patient=patient, month=month, **words, by=nephrologist, at=at)
        if index % 3 == 1:
            nurse = self.team.nurse(at)
            item = reviewing.PlanToBe("Go through salt and drinking once more", nurse, at.date() + timedelta(days=21))
            reviewing.plan(review=review, item=item, by=nephrologist)
        signed = reviewing.sign(review=review, by=nephrologist, at=at)
        if index == 0:
            reviewing.release(review=signed, by=nephrologist, at=at)

    def _signing_day(self, month: date) -> datetime:
        after = (month + timedelta(days=32)).replace(day=1)
        return self.until.replace(year=after.year, month=after.month, day=10, hour=15, minute=0)

    def _file(self, people: list[Patient]) -> None:
        """A table of the laboratory's that nobody has looked at: one line asks, one cannot be taken."""
        laboratory = Laboratory.objects.create(
            name="Pathology, Oskerley",
            columns=COLUMNS,
            codes=CODES,
            date_format="%d/%m/%Y",
            time_format="%d/%m/%Y %H:%M",
        )
        taking.receive(
            laboratory=laboratory,
            form=MessageFormat.CSV,
            body=self._table(people).encode(),
            filename="results.csv",
            by=self.team.nurse(self.until),
            at=self.until - timedelta(minutes=50),
        )

    def _table(self, people: list[Patient]) -> str:
        taken = (self.until - timedelta(days=1)).replace(hour=10, minute=5)
        rows = [",".join(COLUMNS.values())]
        tests = (
            ("K", "Potassium", ("4.8", "5.3", "5.0"), "mmol/L"),
            ("ALB", "Albumin", ("39", "41", "37"), "g/L"),
            ("TSAT", "Saturation", ("27", "31", "22"), "%"),
        )
        for index, patient in enumerate(people[:3]):
            for code, name, results, unit in tests:
                rest = (name, results[index], unit)
                rows.append(_line(patient, patient.birth_date, code, rest, taken, f"P{index}{code}"))
        first, second = people[0], people[min(1, len(people) - 1)]
        in_another_unit = ("Haemoglobin", "11.4", "g/L")
        rows.append(_line(first, first.birth_date, "HB", in_another_unit, taken, "P0HB"))
        wrong_day = second.birth_date + timedelta(days=1)
        rows.append(_line(second, wrong_day, "HB", ("Haemoglobin", "109", "g/L"), taken, "P1HB"))
        return "\r\n".join([*rows, ""])

    def _draft(self, people: list[Patient]) -> None:
        """An hour more, left by a nurse for the nephrologist."""
        patient = people[min(2, len(people) - 1)]
        current = prescription_in_force(patient, self.until)
        if current is None:
            return
        pattern = pattern_of(current.days_per_week, current.weekdays)
        longer = Candidate(pattern, current.minutes + 60, current.qb_ml_min, current.qd_ml_min, current.dialyser)
        keep_draft(
            candidate=longer,
            prescription=current,
            dose=DOSE_WANTED,
            words="Gains are high: an hour more would keep the UF rate below the limit.",
            by=self.team.nurse(self.until),
            at=self.until - timedelta(hours=5),
        )

    def _outcomes(self) -> None:
        """An infection at a buttonhole, one of a catheter, and two stays in hospital."""
        noted: dict[str, Any] = {"entered_by": self.team.nurse(self.until), "entered_at": self.until}
        today = self.until.date()
        for access in VascularAccess.objects.filter(patient__name__in=("Mei Harrowgate", "Aurelio Pennyfeather")):
            catheter = access.kind == AccessKind.CATHETER
            kind = InfectionKind.BLOODSTREAM if catheter else InfectionKind.SITE
            began = today - timedelta(days=130 if catheter else 46)
            AccessInfection.objects.create(access=access, kind=kind, began_on=began, **noted)
        for name, ago, days in (("Leocadia Finchley", 61, 4), ("Giulietta Brackenridge", 32, 2)):
            for patient in Patient.objects.filter(name=name):
                first = today - timedelta(days=ago)
                last = first + timedelta(days=days)
                HospitalStay.objects.create(patient=patient, admitted_on=first, discharged_on=last, **noted)

    def _leavers(self) -> None:
        today = self.until.date()
        for index, (name, sex, age, joined, left, why, kind) in enumerate(LEAVERS):
            patient = Patient.objects.create(
                name=name,
                hospital_number=f"OSK-{901 + 7 * index}",
                birth_date=date(self.until.year - age, 4, 9 + index),
                sex=sex,
                height_cm=170,
                joined_on=today - timedelta(weeks=joined),
                left_on=today - timedelta(weeks=left),
                left_reason=why,
            )
            place = "neck, tunnelled" if kind == AccessKind.CATHETER else "forearm"
            VascularAccess.objects.create(
                patient=patient, kind=kind, side=Side.LEFT, place=place, created_on=today - timedelta(weeks=joined + 20)
            )


def _line(patient: Patient, born: date, code: str, rest: Iterable[str], taken: datetime, sample: str) -> str:
    name, result, units = rest
    cells = (patient.hospital_number, f"{born:%d/%m/%Y}", code, name, result, units, f"{taken:%d/%m/%Y %H:%M}", "")
    return ",".join((*cells, sample))
