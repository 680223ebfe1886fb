"""Enter blood results, tied to the treatment they were drawn at, correct them and take them back."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from homedialysis.accounts.models import User
from sessions.models import BloodResult, Patient, SampleTiming, TreatmentRecord
from sessions.signals import bloods_entered

LOOK_AROUND = timedelta(hours=6)
"""How far before the start or after the end of a treatment its samples may be drawn (common practice, no source)."""


def treatment_of_sample(patient: Patient, drawn_at: datetime, timing: str) -> TreatmentRecord | None:
    """The treatment a sample belongs to: for "pre" the next one to start, for "post" the last one to end."""
    near = TreatmentRecord.objects.filter(patient=patient)
    if timing == SampleTiming.PRE:
        soon = near.filter(started_at__gte=drawn_at - timedelta(minutes=30), started_at__lte=drawn_at + LOOK_AROUND)
        next_one: TreatmentRecord | None = soon.order_by("started_at").first()
        return next_one
    if timing == SampleTiming.POST:
        just_over = near.filter(ended_at__lte=drawn_at + timedelta(minutes=30), ended_at__gte=drawn_at - LOOK_AROUND)
        last_one: TreatmentRecord | None = just_over.order_by("-ended_at").first()
        return last_one
    return None


def tie_bloods(record: TreatmentRecord) -> None:
    """Tie results to a treatment whose record came, or was corrected, after they were entered."""
    span = (record.started_at - LOOK_AROUND, (record.ended_at or record.started_at) + LOOK_AROUND)
    near = BloodResult.with_bounds.filter(Q(treatment=record) | Q(treatment=None, drawn_at__range=span))
    for result in near.filter(patient=record.patient_id).exclude(timing=SampleTiming.APART):
        found = treatment_of_sample(record.patient, result.drawn_at, result.timing)
        if found != result.treatment:
            result.treatment = found
            result.save(update_fields=["treatment"])


def standing_for(result: BloodResult) -> BloodResult | None:
    """What stands for the same analyte, time and timing, and would be corrected."""
    same = BloodResult.with_bounds.filter(
        patient=result.patient, analyte=result.analyte, drawn_at=result.drawn_at, timing=result.timing
    )
    found: BloodResult | None = same.select_related("entered_by").first()
    return found


def says_the_same(result: BloodResult, other: BloodResult) -> bool:
    """Whether entering the one again would change nothing of the other."""
    said = ("value", "bound", "post_method", "post_minutes")
    return all(getattr(result, name) == getattr(other, name) for name in said)


@transaction.atomic
def enter_bloods(*, results: Iterable[BloodResult], by: User, at: datetime) -> list[BloodResult]:
    """Save results of one patient, and return the rows that stand.

    A result for the same analyte, time and timing takes the old one's place, of which a trigger keeps the version;
    one that says just the same leaves the old one, and who entered it, as it was.
    """
    standing, changed = [], []
    for result in results:
        there = None if result.pk else standing_for(result)
        if there and says_the_same(result, there):
            standing.append(there)
            continue
        result.entered_by, result.entered_at = by, at
        if result.treatment_id is None:
            result.treatment = treatment_of_sample(result.patient, result.drawn_at, result.timing)
        result.pk = there.pk if there else result.pk
        result.save()
        standing.append(result)
        changed.append(result)
    if changed:
        bloods_entered.send(sender=BloodResult, results=changed)
    return standing


@transaction.atomic
def correct_blood(result: BloodResult, *, value: float, bound: str, why: str, by: User, at: datetime) -> None:
    """Put a result right by hand; what stood is kept. value: in the canonical unit. Raises ValidationError."""
    if not why.strip():
        raise ValidationError({"corrected_because": _("Say why it is corrected.")})
    result.value, result.bound, result.corrected_because = value, bound, why.strip()
    result.entered_by, result.entered_at = by, at
    result.save(update_fields=["value", "bound", "corrected_because", "entered_by", "entered_at"])
    bloods_entered.send(sender=BloodResult, results=[result])


@transaction.atomic
def take_back_bloods(result: BloodResult, *, why: str, by: User, at: datetime) -> None:
    """Mark a result as one that should never have been entered: it counts no more and is kept. Raises ValidationError.

    It lets go of its treatment, so that no number of that treatment finds it; the trigger keeps which one it was.
    """
    if not why.strip():
        raise ValidationError({"taken_back": _("Say why it is taken back.")})
    result.taken_back, result.treatment = why.strip(), None
    result.entered_by, result.entered_at = by, at
    result.save(update_fields=["taken_back", "treatment", "entered_by", "entered_at"])
    bloods_entered.send(sender=BloodResult, results=[result])
