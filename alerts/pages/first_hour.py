"""The way from an empty installation to the first treatment; the administrator lands here until it is gone."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.models import LookedOver
from alerts.models.looked_over import Part
from alerts.services.first_hour import steps_of_unit
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import staff_only
from sessions.models import TreatmentRecord


@staff_only
@require_http_methods(["GET", "POST"])
def first_hour(request: HttpRequest) -> HttpResponse:
    """What is there and what is missing; whoever has looked a part over says so here."""
    part = request.POST.get("part", "")
    if part in Part.values:
        LookedOver.objects.create(part=part, by=signed_in(request), at=timezone.now())
        messages.success(request, _("Noted: %(what)s.") % {"what": Part(part).label})
        return redirect("alerts:first-hour")
    steps = steps_of_unit()
    missing = [step for step in steps if step.needed and not step.done]
    said = set(LookedOver.objects.values_list("part", flat=True))
    treated = TreatmentRecord.objects.exists()
    context = {
        "steps": steps,
        "missing": missing,
        "treated": treated,
        "parts": [part for part in Part if part.value not in said],
    }
    return render(request, "alerts/first_hour.html", context)
