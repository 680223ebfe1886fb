"""Send each person to the page of their work; the administrator to what is missing, until nothing is."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from alerts.services.first_hour import all_there
from homedialysis.accounts.models import Role

OWN_WORK: dict[str, str] = {
    Role.NEPHROLOGIST: "dosing:months",
    Role.TECHNOLOGIST: "dosing:surroundings-all",
    Role.ADMINISTRATOR: "accounts:team",
}
"""Where staff whose work is not the alerts begin: the month, water and machines, people and their access."""


@login_required
def home(request: HttpRequest) -> HttpResponse:
    if getattr(request.user, "is_administrator", False) and not all_there():
        return redirect("alerts:first-hour")
    role = getattr(request.user, "role", "")
    staff = getattr(request.user, "is_unit_staff", False)
    return redirect(OWN_WORK.get(role, "alerts:triage") if staff else "treatments:tonight")
