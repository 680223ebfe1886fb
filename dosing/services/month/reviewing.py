"""A month's review: begun, written, signed and then frozen; addenda, plan items, release to the patient."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.models import MonthlyReview, PatientMonth, PlanItem, ReviewAddendum, ReviewRelease
from dosing.science import SCIENCE_VERSION
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.facts import month_before
from dosing.services.month.ranges import RangeBook, book, range_words
from dosing.services.numbers.kept import kept_number
from dosing.services.numbers.number import Number
from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription
from sessions.services.prescribing import prescription_in_force
from sessions.services.prescription_changes import differences


class SignedAlready(Exception):
    """The review is signed: what has to be put right becomes an addendum."""


class NotYet(Exception):
    """Says what has to come first."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan item to be: what, who, until when."""

    words: str
    owner: User
    due_on: date


def _clinical(by: User) -> None:
    if not by.is_clinical:
        raise PermissionDenied(gettext("Only a nurse or a nephrologist writes a review."))


@transaction.atomic
def write(*, patient: Patient, month: date, words: str, for_patient: str, by: User, at: datetime) -> MonthlyReview:
    """Begin or go on with a review. Raises SignedAlready."""
    _clinical(by)
    found = MonthlyReview.objects.select_for_update().filter(patient=patient, month=month).first()
    review = found or MonthlyReview(patient=patient, month=month)
    if review.signed_at:
        raise SignedAlready
    review.words, review.for_patient = words.strip(), for_patient.strip()
    review.written_by, review.written_at = by, at
    review.save()
    return review


@transaction.atomic
def plan(*, review: MonthlyReview, item: Plan, by: User) -> PlanItem:
    """Add a plan item while the review is open. Raises SignedAlready."""
    _clinical(by)
    if MonthlyReview.objects.select_for_update().get(pk=review.pk).signed_at:
        raise SignedAlready
    return PlanItem.objects.create(review=review, words=item.words.strip(), owner=item.owner, due_on=item.due_on)


def settle(*, item: PlanItem, words: str, by: User, at: datetime) -> None:
    """Note that a plan item is done, and how; the second one to say so changes nothing."""
    _clinical(by)
    PlanItem.objects.filter(pk=item.pk, done_at=None).update(done_at=at, done_by=by, done_words=words.strip()[:300])


@transaction.atomic
def sign(*, review: MonthlyReview, by: User, at: datetime) -> MonthlyReview:
    """Sign and freeze. Raises SignedAlready, NotYet without words or numbers, PermissionDenied for others."""
    if not by.is_nephrologist:
        raise PermissionDenied(gettext("Only a nephrologist signs a review."))
    current: MonthlyReview = MonthlyReview.objects.select_for_update().get(pk=review.pk)
    if current.signed_at:
        raise SignedAlready
    if not current.words:
        raise NotYet(gettext("Write the judgement first."))
    row = PatientMonth.objects.filter(patient=current.patient_id, month=current.month).first()
    if row is None or row.stale:
        raise NotYet(gettext("The numbers of this month are being computed: wait a minute, look again, then sign."))
    current.frozen = frozen(row, book(), at=at)
    last = last_signed(current.patient, current.month)
    current.frozen["changes"] = changes_since(last, row, book())
    current.signed_by, current.signed_at = by, at
    current.save()
    return current


def frozen(row: PatientMonth, ranges: RangeBook, *, at: datetime) -> dict[str, Any]:
    """What a signed review keeps: numbers with their places, the ranges they were held against, the prescription."""
    prescription = prescription_in_force(row.patient, at)
    return {
        "numbers": row.numbers,
        "ranges": {number.key: range_words(number, ranges.of(number.key)) for number in MONTH_NUMBERS.values()},
        "places": {
            number.key: ranges.place(number.key, row.numbers.get(number.key, {}).get("value"))
            for number in MONTH_NUMBERS.values()
        },
        "science_version": SCIENCE_VERSION,
        "computed_at": row.computed_at.isoformat(),
        "prescription": prescription.version if prescription else None,
    }


def _in_force_at_end(row: PatientMonth) -> Prescription | None:
    return Prescription.objects.filter(patient=row.patient_id, in_force__contains=row.computed_at).first()


def add(*, review: MonthlyReview, words: str, by: User, at: datetime) -> ReviewAddendum:
    """Add to a signed review. Raises NotYet where it is still open or nothing is said."""
    _clinical(by)
    if not review.signed_at:
        raise NotYet(gettext("An open review is changed, not added to."))
    if not words.strip():
        raise NotYet(gettext("Say what is added."))
    return ReviewAddendum.objects.create(review=review, words=words.strip(), by=by, at=at)


def release(*, review: MonthlyReview, by: User, at: datetime) -> ReviewRelease:
    """Show the plain-language page to the patient. Raises NotYet before it is signed or while it says nothing."""
    if not by.is_nephrologist:
        raise PermissionDenied(gettext("Only a nephrologist releases a page to the patient."))
    if not review.signed_at or not review.for_patient:
        raise NotYet(gettext("Sign the review, with words for the patient, before it is released."))
    found, _created = ReviewRelease.objects.get_or_create(review=review, defaults={"by": by, "at": at})
    return found


def last_signed(patient: Patient, month: date) -> MonthlyReview | None:
    """The last review signed for an earlier month."""
    return MonthlyReview.objects.filter(patient=patient, month__lt=month).exclude(signed_at=None).first()


def changes_since(last: MonthlyReview | None, row: PatientMonth | None, ranges: RangeBook) -> list[str]:
    """What is different from the last signed review, in words: numbers that moved in or out of range, dose, orders."""
    if row is None:
        return []
    lines = _number_changes(last.frozen if last else {}, row, ranges)
    return lines + (_prescription_changes(last, row) if last else [])


def changes_shown(
    review: MonthlyReview | None, last: MonthlyReview | None, row: PatientMonth | None, ranges: RangeBook
) -> list[str]:
    """The changes as they were signed, else as they are now."""
    kept: list[str] | None = review.frozen.get("changes") if review else None
    return changes_since(last, row, ranges) if kept is None else kept


def prescription_shown(review: MonthlyReview | None) -> Prescription | None:
    """The prescription that stood when a review was signed; None where it is open or there was none."""
    version = review.frozen.get("prescription") if review else None
    if review is None or version is None:
        return None
    found = Prescription.objects.filter(patient=review.patient_id, version=version)
    return found.select_related("dialyser", "signed_by").first()


MOVED: dict[tuple[int, bool], Any] = {
    (-1, True): _("%(number)s: %(value)s, was %(earlier)s, now below the range (%(range)s)."),
    (1, True): _("%(number)s: %(value)s, was %(earlier)s, now above the range (%(range)s)."),
    (0, True): _("%(number)s: %(value)s, was %(earlier)s, back in range (%(range)s)."),
    (-1, False): _("%(number)s: %(value)s, now below the range (%(range)s)."),
    (1, False): _("%(number)s: %(value)s, now above the range (%(range)s)."),
    (0, False): _("%(number)s: %(value)s, back in range (%(range)s)."),
}
"""By where a number lies now, and whether the last review knew it."""


def _number_changes(before: dict[str, Any], row: PatientMonth, ranges: RangeBook) -> list[str]:
    lines = []
    for number in MONTH_NUMBERS.values():
        value = row.numbers.get(number.key, {}).get("value")
        old = before.get("numbers", {}).get(number.key, {}).get("value")
        place, was = ranges.place(number.key, value), before.get("places", {}).get(number.key, 0)
        if value is None and old is not None:
            parts = {"number": number.label, "why": kept_number(number, row.numbers).why}
            lines.append(gettext("%(number)s: no longer known (%(why)s).") % parts)
        elif value is not None and place != was:
            parts = {
                "number": number.label,
                "value": number.text(value),
                "earlier": "" if old is None else number.text(old),
                "range": range_words(number, ranges.of(number.key)),
            }
            lines.append(MOVED[place, old is not None] % parts)
    return lines


def _prescription_changes(last: MonthlyReview, row: PatientMonth) -> list[str]:
    now = _in_force_at_end(row)
    before = Prescription.objects.filter(patient=row.patient_id, version=last.frozen.get("prescription")).first()
    if now is None or before is None or now.pk == before.pk:
        return []
    return [
        gettext("Prescription %(version)s: %(line)s.") % {"version": now.version, "line": change.line}
        for change in differences(before, now)
    ]


def open_plan(patient: Patient) -> list[PlanItem]:
    """Plan items of this patient's reviews that are not done, the earliest first."""
    items = PlanItem.objects.filter(review__patient=patient, done_at=None)
    return list(items.select_related("owner", "review"))


def first_of_months_back(month: date, count: int) -> list[date]:
    """This month and those before it, oldest first."""
    months = [month]
    while len(months) < count:
        months.append(month_before(months[-1]))
    return months[::-1]


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of one month as text, None with the reason where it is unknown; place: -1, 0 or 1 to the range."""

    shown: str | None
    why: str
    place: int


@dataclass(frozen=True, slots=True)
class MonthLine:
    """One number over the months of a review, and its range in words."""

    number: Number[Any]
    cells: list[Cell]
    range: str


def lines_of(
    months: list[date], rows: dict[date, PatientMonth], ranges: RangeBook, review: MonthlyReview | None
) -> list[MonthLine]:
    """Every number over these months, the last of which is the review's: as it was frozen once that is signed."""
    frozen = review.frozen if review and review.signed_at else None
    return [
        MonthLine(
            number,
            [_cell(number, rows.get(month), ranges, frozen if month == months[-1] else None) for month in months],
            frozen["ranges"].get(number.key, "") if frozen else range_words(number, ranges.of(number.key)),
        )
        for number in MONTH_NUMBERS.values()
    ]


def _cell(number: Number[Any], row: PatientMonth | None, ranges: RangeBook, frozen: dict[str, Any] | None) -> Cell:
    numbers: dict[str, Any] = frozen["numbers"] if frozen else (row.numbers if row else {})
    kept = kept_number(number, numbers)
    value = kept.value
    place = frozen["places"].get(number.key, 0) if frozen else ranges.place(number.key, value)
    return Cell(None if value is None else number.text(value), kept.why, place)
