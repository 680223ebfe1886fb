"""Who can see a patient's record, who looked at it, and the end of it."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import staff_only
from homedialysis.accounts.services.leaving import let_in, shut_out
from sessions.models import CarePartner, Patient
from sessions.pages.devices import may_take_back
from sessions.services.enrolment import end_help
from sessions.services.reading_log import note_reading, read_by_day


def _of_whom(request: HttpRequest, patient_id: uuid.UUID) -> Patient:
    """Patients say themselves who helps them, and so does who takes their phones back; PermissionDenied for others."""
    user = signed_in(request)
    visible = Patient.objects.visible_to(user).select_related("account")
    patient: Patient = get_object_or_404(visible, pk=patient_id)
    if not may_take_back(user) and patient.account_id != user.pk:
        raise PermissionDenied
    return patient


@login_required
@require_safe
def who_sees(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Who helps, whether the patient can sign in, and which of the unit's people looked at the record when."""
    user, patient = signed_in(request), _of_whom(request, patient_id)
    note_reading(request, patient.pk)
    context: dict[str, Any] = {
        "patient": patient,
        "own": patient.account_id == user.pk,
        "base": "unit_base.html" if user.is_unit_staff else "phone_base.html",
        "helpers": CarePartner.ever.filter(patient=patient).select_related("user", "ended_by").order_by("-pk"),
        "days": read_by_day(patient, until=timezone.now()),
    }
    return render(request, "sessions/who_sees.html", context)


@login_required
@require_POST
def end(request: HttpRequest, patient_id: uuid.UUID, helper_id: int) -> HttpResponse:
    """Somebody who helped sees nothing more: on no page, by no program, on no phone."""
    user, patient = signed_in(request), _of_whom(request, patient_id)
    helper = get_object_or_404(CarePartner.ever.filter(patient=patient), pk=helper_id)
    end_help(helper=helper, by=user, at=timezone.now())
    messages.success(request, _("%(name)s sees nothing of this record any more.") % {"name": helper.user.name})
    return redirect("treatments:who-sees", patient.pk)


@staff_only
@require_POST
def switch(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Let a patient sign in again, or no longer."""
    user, patient = signed_in(request), _of_whom(request, patient_id)
    account = patient.account
    if account is None or not account.has_usable_password():
        messages.error(request, _("%(name)s has never signed in.") % {"name": patient.name})
    elif account.is_active:
        shut_out(user=account, by=user, at=timezone.now())
        messages.success(request, _("%(name)s can no longer sign in.") % {"name": patient.name})
    else:
        let_in(user=account)
        messages.success(request, _("%(name)s can sign in again.") % {"name": patient.name})
    return redirect("treatments:who-sees", patient.pk)
