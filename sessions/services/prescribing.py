"""Sign a prescription: the new one begins where the old one ends, in one transaction."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Role, User
from homedialysis.accounts.services.dates import short_moment
from sessions.facts.choices import RecordState
from sessions.models import Patient, Prescription, PrescriptionDraft, TreatmentRecord
from sessions.models.treatment import UNDER_WAY
from sessions.signals import prescription_signed


class NotForSigning(Exception):
    """Says why this prescription cannot be signed."""


def prescription_in_force(patient: Patient, at: datetime) -> Prescription | None:
    """What holds for the patient at a moment, with its dialyser."""
    found = Prescription.objects.filter(patient=patient).in_force(at)
    return found.select_related("dialyser", "signed_by").first()


@transaction.atomic
def sign_prescription(
    *,
    prescription: Prescription,
    by: User,
    at: datetime,
    begins: datetime | None = None,
    draft: PrescriptionDraft | None = None,
) -> Prescription:
    """Put an unsaved prescription in force from `begins`, closing the one before; a draft it came of then says so.

    at: when it is signed; begins: not before, at once where None. Raises NotForSigning when `by` is no nephrologist,
    when it would begin before it is signed, or when a later prescription already stands, and ValidationError (by
    field) when a number is impossible.
    """
    begins = at if begins is None else begins
    patient = _for_a_nephrologist(prescription.patient_id, by)
    if begins < at:
        raise NotForSigning(_("A prescription cannot begin before it is signed."))
    last = patient.prescriptions.order_by("-version").first()
    if last and last.in_force.lower >= begins:
        raise NotForSigning(
            _("Prescription %(version)s begins on %(begins)s, after this one.")
            % {"version": last.version, "begins": short_moment(localtime(last.in_force.lower))}
        )
    if last and last.in_force.upper is None:
        last.in_force = DateTimeTZRange(last.in_force.lower, begins)
        last.save(update_fields=["in_force"])
    prescription.version = last.version + 1 if last else 1
    prescription.in_force = DateTimeTZRange(begins, None)
    prescription.signed_by = by
    prescription.signed_at = at
    prescription.full_clean()
    prescription.save(force_insert=True)
    if draft is not None:
        draft.signed_as = prescription
        draft.save(update_fields=["signed_as"])
    prescription_signed.send(sender=Prescription, prescription=prescription)
    return prescription


def treatment_under_way(patient: Patient, at: datetime) -> TreatmentRecord | None:
    """The treatment that may be running at this moment, as far as the phone's record has come: begun, and not ended.

    It stays under the prescription that was in force when it began, whatever is signed meanwhile.
    """
    running = patient.treatments.filter(state=RecordState.OPEN, ended_at=None)
    found: TreatmentRecord | None = running.filter(started_at__range=(at - UNDER_WAY, at)).first()
    return found


def not_begun(patient: Patient, at: datetime) -> Prescription | None:
    """What is signed and begins later than this moment: the last of them."""
    return patient.prescriptions.filter(in_force__startswith__gt=at).order_by("-version").first()


@transaction.atomic
def take_back(*, prescription: Prescription, by: User, at: datetime) -> None:
    """Take out a prescription that has not begun; the one before holds on. The history of the rows keeps it.

    Raises NotForSigning when `by` is no nephrologist, when it has begun or is not the last, or when a treatment was
    recorded under it by a phone whose clock is ahead.
    """
    patient = _for_a_nephrologist(prescription.patient_id, by)
    last = not_begun(patient, at)
    if last is None or last.pk != prescription.pk:
        raise NotForSigning(_("Only the last prescription can be taken back, and only before it begins."))
    if last.treatments.exists():
        raise NotForSigning(_("A treatment was recorded under it already."))
    PrescriptionDraft.objects.filter(signed_as=last).update(signed_as=None)
    begins = last.in_force.lower
    last.delete()
    before = patient.prescriptions.order_by("-version").first()
    if before and before.in_force.upper == begins:
        before.in_force = DateTimeTZRange(before.in_force.lower, None)
        before.save(update_fields=["in_force"])
        prescription_signed.send(sender=Prescription, prescription=before)


def _for_a_nephrologist(patient_id: uuid.UUID, by: User) -> Patient:
    """The patient, locked, for somebody who may sign."""
    if not (by.is_active and by.role == Role.NEPHROLOGIST):
        raise NotForSigning(_("Only a nephrologist signs a prescription."))
    patient: Patient = Patient.objects.select_for_update(no_key=True).get(pk=patient_id)
    return patient
