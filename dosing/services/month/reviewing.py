"""A month's review: begun, written, signed and then frozen; addenda, plan items, release to the patient."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext

from dosing.models import MonthlyReview, PatientMonth, PlanItem, ReviewAddendum, ReviewRelease
from dosing.science import SCIENCE_VERSION
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.ranges import RangeBook, book, ends
from dosing.services.month.review_changes import changes_since, last_signed
from dosing.services.numbers.kept import kept_number
from homedialysis.accounts.models import User
from sessions.models import Patient
from sessions.services.prescribing import prescription_in_force


class SignedAlready(Exception):
    """The review is signed: what has to be put right becomes an addendum."""


class NotYet(Exception):
    """Says what has to come first."""


@dataclass(frozen=True, slots=True)
class PlanToBe:
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
def plan(*, review: MonthlyReview, item: PlanToBe, by: User) -> PlanItem:
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
    current.frozen["changes"] = changes_since(last, row, book(), at=at)
    current.signed_by, current.signed_at = by, at
    current.save()
    return current


def frozen(row: PatientMonth, ranges: RangeBook, *, at: datetime) -> dict[str, Any]:
    """What a signed review keeps, in codes and values: numbers with their places, ends of the ranges they were held
    against, the version of the prescription.
    """
    prescription, schedule = prescription_in_force(row.patient, at), row.schedule
    values = {key: kept_number(each, row.numbers).value for key, each in MONTH_NUMBERS.items()}
    return {
        "numbers": row.numbers,
        "delivered": row.delivered,
        "schedule": schedule,
        "ranges": {key: ends(ranges.held_for(key, schedule)) for key in MONTH_NUMBERS},
        "places": {key: ranges.place(key, value, schedule) for key, value in values.items()},
        "aims": {key: ranges.short(key, value, schedule) for key, value in values.items()},
        "science_version": SCIENCE_VERSION,
        "computed_at": row.computed_at.isoformat(),
        "prescription": prescription.version if prescription else None,
    }


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


def open_plan(patient: Patient) -> list[PlanItem]:
    """Plan items of this patient's reviews that are not done, the earliest first."""
    items = PlanItem.objects.filter(review__patient=patient, done_at=None)
    return list(items.select_related("owner", "review"))


def plan_given_to(person: User) -> list[PlanItem]:
    """What reviews gave to somebody and is not done, the earliest first: of patients who are in the programme."""
    items = PlanItem.objects.filter(owner=person, done_at=None, review__patient__left_on=None)
    return list(items.select_related("owner", "review__patient"))


def plan_due(until: date) -> list[PlanItem]:
    """What reviews gave to anybody and is due up to a day, or overdue, the earliest first."""
    items = PlanItem.objects.filter(due_on__lte=until, done_at=None, review__patient__left_on=None)
    return list(items.select_related("owner", "review__patient"))
