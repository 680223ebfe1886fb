"""How good the alerts are: by rule, over the last month, quarter or year."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from alerts.services.quality import quality_between
from homedialysis.accounts.pages.guards import staff_only

PERIODS = {30: _("30 days"), 90: _("90 days"), 365: _("365 days")}


@staff_only
@require_safe
def quality(request: HttpRequest) -> HttpResponse:
    """What each rule brought, what came of it, and how soon it was looked at."""
    days = {str(days): days for days in PERIODS}.get(request.GET.get("days", ""), 90)
    now = timezone.now()
    found = quality_between(now - timedelta(days=days), now)
    return render(request, "alerts/quality.html", {"found": found, "days": days, "periods": PERIODS})
