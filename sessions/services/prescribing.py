"""Sign a prescription: the new one begins where the old one ends, in one transaction."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Role, User
from sessions.models import Patient, Prescription, PrescriptionDraft
from sessions.signals import prescription_signed


class NotForSigning(Exception):
    """Says why this prescription cannot be signed."""


def prescription_in_force(patient: Patient, at: datetime) -> Prescription | None:
    """What holds for the patient at a moment, with its dialyser."""
    found = Prescription.objects.filter(patient=patient).in_force(at)
    return found.select_related("dialyser", "signed_by").first()


@transaction.atomic
def sign_prescription(
    *, prescription: Prescription, by: User, at: datetime, draft: PrescriptionDraft | None = None
) -> Prescription:
    """Put an unsaved prescription in force from `at`, closing the one before; a draft it came of then says so.

    Raises NotForSigning when `by` is no nephrologist or a later prescription already stands, and
    ValidationError (by field) when a number is impossible.
    """
    if not (by.is_active and by.role == Role.NEPHROLOGIST):
        raise NotForSigning(_("Only a nephrologist signs a prescription."))
    patient = Patient.objects.select_for_update(no_key=True).get(pk=prescription.patient_id)
    last = patient.prescriptions.order_by("-version").first()
    if last and last.in_force.lower >= at:
        raise NotForSigning(
            _("Prescription %(version)s begins on %(begins)s, after this one.")
            % {"version": last.version, "begins": f"{last.in_force.lower:%Y-%m-%d %H:%M}"}
        )
    if last and last.in_force.upper is None:
        last.in_force = DateTimeTZRange(last.in_force.lower, at)
        last.save(update_fields=["in_force"])
    prescription.version = last.version + 1 if last else 1
    prescription.in_force = DateTimeTZRange(at, None)
    prescription.signed_by = by
    prescription.signed_at = at
    prescription.full_clean()
    prescription.save(force_insert=True)
    if draft is not None:
        draft.signed_as = prescription
        draft.save(update_fields=["signed_as"])
    prescription_signed.send(sender=Prescription, prescription=prescription)
    return prescription
