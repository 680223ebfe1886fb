"""Bring a patient into the programme and give the patient, or a care partner, the way in."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from homedialysis.accounts.models import Role, User
from homedialysis.accounts.services.invitations import NotInvitable, invite, new_link
from homedialysis.accounts.services.leaving import let_in, shut_out, sign_out_everywhere
from homedialysis.accounts.services.people import correct_person
from sessions.models import CarePartner, Patient


@transaction.atomic
def invite_patient(*, patient: Patient, email: str, by: User, at: datetime) -> str:
    """The secret of a one-time link for the patient. Raises NotInvitable."""
    if patient.account is None:
        user, secret = invite(email=email, name=patient.name, role=Role.PATIENT, by=by, at=at)
        if Patient.objects.filter(account=user).exists():
            raise NotInvitable(_("%(email)s belongs to another patient.") % {"email": email})
        patient.account = user
        patient.save(update_fields=["account"])
        return secret
    if patient.account.has_usable_password():
        raise NotInvitable(_("%(patient)s signs in already.") % {"patient": patient.name})
    try:
        correct_person(patient.account, name=patient.name, email=email)
    except ValidationError as problem:
        raise NotInvitable(" ".join(problem.messages)) from problem
    return new_link(user=patient.account, by=by, at=at)


@transaction.atomic
def invite_care_partner(*, patient: Patient, email: str, name: str, by: User, at: datetime) -> str:
    """The secret of a one-time link for somebody who helps this patient. Raises NotInvitable.

    Whoever helps somebody else already, or helped before, signs in as ever: there is no link, and the secret is empty.
    """
    known = User.objects.select_for_update().filter(email=email.lower(), role=Role.CARE_PARTNER).first()
    if known is not None and known.has_usable_password():
        let_in(user=known)
        CarePartner.objects.get_or_create(patient=patient, user=known)
        return ""
    user, secret = invite(email=email, name=name, role=Role.CARE_PARTNER, by=by, at=at)
    CarePartner.objects.get_or_create(patient=patient, user=user)
    return secret


@transaction.atomic
def end_help(*, helper: CarePartner, by: User, at: datetime) -> None:
    """This person sees nothing of the patient from now on; who helps nobody any more cannot sign in. Twice is once."""
    held = CarePartner.ever.select_for_update().get(pk=helper.pk)
    if held.ended_at is not None:
        return
    held.ended_at, held.ended_by = at, by
    held.save(update_fields=["ended_at", "ended_by"])
    if held.user.cares_for.exists():
        sign_out_everywhere(user=held.user, by=by, at=at)  # a phone keeps the kit of everybody whom they help
    else:
        shut_out(user=held.user, by=by, at=at)
