"""The page on which a named person releases the water at a home, after a test over its limit."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from dosing.services.results.water import mark_of, standard_in_use
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import technologist_or_clinical
from homedialysis.accounts.pages.signing import fingerprint, objection, was_shown
from sessions.models import Patient
from sessions.pages.persons import shown_patient
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of
from sessions.services.water_release import lacks, release_water


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def release(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What is held back, what came since, and the signature that releases it: of exactly what was shown."""
    patient = shown_patient(request, patient_id)
    facts = facts_of(patient, timezone.localdate())
    problems = _released(request, patient, facts) if request.method == "POST" else []
    if request.method == "POST" and not problems:
        messages.success(request, _("The water is released, by %(who)s.") % {"who": signed_in(request).name})
        return redirect("dosing:surroundings", patient.pk)
    context = {
        "patient": patient,
        "rows": _rows(facts),
        "lacks": lacks(facts),
        "problems": problems,
        "seen": fingerprint(_shown(facts)),
        "words": request.POST.get("words", ""),
        "released": patient.water_releases.select_related("released_by")[:10],
    }
    return render(request, "dosing/water_release.html", context, status=400 if problems else 200)


def _shown(facts: SurroundingsFacts) -> list[list[str]]:
    """What the signature stands for."""
    return [[str(held.test.pk), str(held.again.pk) if held.again else ""] for held in facts.held]


def _rows(facts: SurroundingsFacts) -> list[dict[str, Any]]:
    standard = standard_in_use()
    return [
        {"test": mark_of(held.test, standard), "again": held.again and mark_of(held.again, standard)}
        for held in facts.held
    ]


def _released(request: HttpRequest, patient: Patient, facts: SurroundingsFacts) -> list[str]:
    """Release it -> why that cannot be, in words; [] once it is done."""
    words = request.POST.get("words", "").strip()
    if not was_shown(request, _shown(facts)):
        return [_("Something changed since you opened this page: look at it again, then sign.")]
    if not words:
        return [_("Say what was done: disinfected, filter changed, machine exchanged.")]
    if why := objection(request):
        return [why]
    try:
        release_water(patient=patient, words=words[:300], by=signed_in(request), at=timezone.now())
    except ValidationError as problem:
        return problem.messages
    return []
