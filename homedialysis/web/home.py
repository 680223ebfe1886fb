"""Send each person to the page of their work."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect


@login_required
def home(request: HttpRequest) -> HttpResponse:
    staff = getattr(request.user, "is_unit_staff", False)
    return redirect("alerts:triage" if staff else "treatments:tonight")
