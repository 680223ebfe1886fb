"""Doses of medicines through time, as steps: what is drawn below the bloods that they move."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.utils.translation import gettext as _

from sessions.facts.choices import Analyte
from sessions.facts.medicines import DoseUnit, MedicationKind
from sessions.models import Medication

MOVED_BY: dict[str, tuple[str, ...]] = {
    Analyte.HAEMOGLOBIN: (MedicationKind.ESA, MedicationKind.IRON),
    Analyte.FERRITIN: (MedicationKind.IRON,),
    Analyte.TRANSFERRIN_SATURATION: (MedicationKind.IRON,),
    Analyte.PHOSPHATE: (MedicationKind.BINDER,),
    Analyte.CALCIUM: (MedicationKind.BINDER, MedicationKind.VITAMIN_D, MedicationKind.CALCIMIMETIC),
    Analyte.PTH: (MedicationKind.VITAMIN_D, MedicationKind.CALCIMIMETIC),
}
"""By analyte, the kinds of medicine that are given to move it."""


MANY_MG = 5000
"""A week."""


@dataclass(frozen=True, slots=True)
class DoseLine:
    """The weekly dose of one medicine in one unit; points: day and dose, None from where it is not taken."""

    name: str
    kind: str
    unit: str
    points: tuple[tuple[date, float | None], ...]

    @property
    def label(self) -> str:
        parts = {"name": self.name, "unit": DoseUnit(self.unit).label}
        return _("%(name)s, %(unit)s a week") % parts


def dose_lines(medications: Iterable[Medication], first: date, last: date) -> list[DoseLine]:
    """Of medicines with a dose a week, those taken within [first, last]; what is taken when needed has no line."""
    rows: defaultdict[tuple[str, str, str], list[Medication]] = defaultdict(list)
    for row in sorted(medications, key=lambda each: each.from_on):
        if row.weekly is not None and row.from_on <= last and (row.until_on is None or row.until_on >= first):
            rows[row.name.casefold(), row.kind, row.unit].append(row)
    made = (DoseLine(of[0].name, kind, unit, _points(of, first, last)) for (_name, kind, unit), of in rows.items())
    return [_in_grams(line) for line in made]


def _in_grams(line: DoseLine) -> DoseLine:
    """What is thousands of milligrams a week is told in grams."""
    most = max((dose for _day, dose in line.points if dose is not None), default=0.0)
    if line.unit != DoseUnit.MG or most < MANY_MG:
        return line
    grams = tuple((day, None if dose is None else dose / 1000) for day, dose in line.points)
    return replace(line, unit=DoseUnit.G, points=grams)


def _points(rows: list[Medication], first: date, last: date) -> tuple[tuple[date, float | None], ...]:
    """Both ends of each dose, and a gap between two that do not follow one another."""
    points: list[tuple[date, float | None]] = []
    for row in rows:
        begins, ends = max(row.from_on, first), min(row.until_on or last, last)
        if points and points[-1][0] + timedelta(days=1) < begins:
            points.append((points[-1][0] + timedelta(days=1), None))
        points += [(begins, row.weekly), (ends, row.weekly)]
    return tuple(points)


def without_line(medications: Iterable[Medication]) -> list[Medication]:
    """Those whose dose a week is not known: told in words beside the chart."""
    return [row for row in medications if row.weekly is None]
