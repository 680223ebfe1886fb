"""The shift's hand-over: what changed since a time that the reader chooses."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from alerts.pages.forms_acting import SinceForm
from alerts.showing.handover import changes_since
from dosing.services.month.reviewing import plan_due
from homedialysis.accounts.models import Unit, signed_in
from homedialysis.accounts.pages.forms import MOMENT
from homedialysis.accounts.pages.guards import staff_only
from homedialysis.accounts.services.opening import closed_last
from sessions.services.reading_log import note_reading

DAY, WEEK = timedelta(days=1), timedelta(days=7)


@staff_only
@require_safe
def handover(request: HttpRequest) -> HttpResponse:
    """Since the unit last closed, unless the reader says since when."""
    now = timezone.now()
    form = SinceForm(request.GET if "since" in request.GET else None, now=now, initial={"since": _usual(now)})
    if form.is_bound and not form.is_valid():
        return render(request, "alerts/handover.html", {"form": form, "choices": _choices(now)}, status=400)
    since = form.cleaned_data["since"] if form.is_bound else _usual(now)
    told = changes_since(since, until=now, reader=signed_in(request))
    note_reading(request, *(changes.patient.pk for changes in told.patients))
    context = {"form": form, "choices": _choices(now), "told": told, "since": since, "now": now}
    context |= {"due": plan_due(timezone.localdate() + WEEK), "today": timezone.localdate()}
    return render(request, "alerts/handover.html", context)


def _usual(now: datetime) -> datetime:
    unit = Unit.objects.current()
    return (closed_last(unit, now) if unit else None) or now - DAY


def _choices(now: datetime) -> list[tuple[str, str]]:
    """(words, value of the field) of the times that are asked for most."""
    moments = [
        (_("Since the unit last closed"), _usual(now)),
        (_("Last 24 hours"), now - DAY),
        (_("Last 7 days"), now - 7 * DAY),
    ]
    return [(words, timezone.localtime(moment).strftime(MOMENT)) for words, moment in moments]
