"""What was changed in half a year, by the part of the treatment that it is about, and what came of it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from dosing.services.decision.half_year import HalfYear
from dosing.services.month.headlines import TileKind
from sessions.facts.local_day import plain_day
from sessions.facts.medicines import MedicationKind
from sessions.models import Medication, Prescription
from sessions.services.prescription_changes import differences

SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that was changed on a day: drawn on the line of what it is about. version: of a prescription; moves:
    the numbers that it is held against, () where none tells what came of it.
    """

    day: date
    words: str
    version: int | None = None
    moves: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SignedMark:
    """A mark with the letter by which the drawing knows it."""

    sign: str
    mark: Mark

    @property
    def line(self) -> str:
        return _("%(sign)s, %(day)s: %(words)s") % {
            "sign": self.sign,
            "day": plain_day(self.mark.day),
            "words": self.mark.words,
        }


OF_FIELD: dict[str, tuple[str, ...]] = {
    "dialysate_k_mmol_l": ("potassium",),
    "dialysate_ca_mmol_l": ("corrected_calcium", "parathyroid_hormone"),
    "dialysate_buffer": ("bicarbonate",),
    "dialysate_buffer_mmol_l": ("bicarbonate",),
}
"""The bloods that a field of the prescription is held against; of any other field, the large number of its block."""
OF_MEDICINE: dict[str, tuple[str, ...]] = {
    MedicationKind.ESA: ("haemoglobin",),
    MedicationKind.IRON: ("haemoglobin",),
    MedicationKind.BINDER: ("phosphate",),
    MedicationKind.VITAMIN_D: ("parathyroid_hormone", "corrected_calcium"),
    MedicationKind.CALCIMIMETIC: ("parathyroid_hormone", "corrected_calcium"),
    MedicationKind.PRESSURE: ("pre_systolic_mean",),
}
"""The numbers that a kind of medicine is given for; what is not named here no number of a month tells of."""


def order_marks(half_year: HalfYear, kind: TileKind) -> list[Mark]:
    """Each new prescription of the half year that changes a field of this block, oldest first."""
    pairs = pairwise(half_year.orders)
    found = (_order_mark(before, after, kind) for before, after in pairs)
    return [mark for mark in found if mark and mark.day >= half_year.first]


def _order_mark(before: Prescription, after: Prescription, kind: TileKind) -> Mark | None:
    changes = [change for change in differences(before, after) if change.field in kind.fields]
    begins = localtime(after.in_force.lower).date()
    moves = {key: None for change in changes for key in OF_FIELD.get(change.field, (kind.lead,))}
    words = "; ".join(change.line for change in changes)
    return Mark(begins, words, after.version, tuple(moves)) if changes else None


def access_marks(half_year: HalfYear, kind: TileKind) -> list[Mark]:
    """Accesses that were made or given up, and infections that began."""
    made = [
        Mark(each.created_on, _("made: %(access)s") % {"access": each}, moves=(kind.lead,))
        for each in half_year.accesses
        if each.created_on >= half_year.first
    ]
    given_up = [
        Mark(each.abandoned_on, _("given up: %(access)s") % {"access": each}, moves=(kind.lead,))
        for each in half_year.accesses
        if each.abandoned_on and half_year.first <= each.abandoned_on <= half_year.last
    ]
    infected = [
        Mark(each.began_on, _("infection: %(kind)s") % {"kind": each.get_kind_display()})
        for each in half_year.infections
    ]
    return [*made, *given_up, *infected]


def medicine_marks(half_year: HalfYear, kinds: Collection[str]) -> list[Mark]:
    """Medicines of these kinds that were begun, given in another dose, or stopped."""
    own = [row for row in half_year.medicines if row.kind in kinds]
    begun = [Mark(row.from_on, str(row), moves=_moved_by(row)) for row in own if row.from_on > half_year.first]
    last = {row.name.casefold(): row for row in own}
    stopped = [
        Mark(row.until_on, _("%(medicine)s: stopped") % {"medicine": row.name}, moves=_moved_by(row))
        for row in last.values()
        if row.until_on and half_year.first <= row.until_on <= half_year.last
    ]
    return [*begun, *stopped]


def _moved_by(row: Medication) -> tuple[str, ...]:
    return OF_MEDICINE.get(row.kind, ())


def signed(marks: Sequence[Mark]) -> list[SignedMark]:
    """With letters, oldest first."""
    in_order = sorted(marks, key=lambda mark: mark.day)
    return [SignedMark(sign, mark) for sign, mark in zip(SIGNS, in_order, strict=False)]
