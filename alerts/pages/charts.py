"""A patient's charts, as a part that the patient's page takes in: the limits of alerts are known here."""

from __future__ import annotations

import uuid
from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.limits.book import book_of
from alerts.showing.patient_charts import charts_of_patient
from alerts.showing.plotly_figures import figure_of_chart
from dosing.services.night.treatments import nights_of
from homedialysis.accounts.pages.guards import staff_only
from sessions.facts.periods import days_asked
from sessions.models import BloodResult, Patient
from sessions.models.local_time import zone_of


@staff_only
@require_safe
def charts(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Treatments, doses and bloods of so many days, each beside its limits."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    timezone.activate(zone_of(patient))
    now = timezone.now()
    since, until = now - timedelta(days=days_asked(request.GET.get("days", ""))), now + timedelta(days=1)
    nights = nights_of(patient.pk, since=since, until=until)
    bloods = list(BloodResult.objects.filter(patient=patient, drawn_at__gte=since, drawn_at__lt=until))
    found = charts_of_patient(nights, dosed=nights, bloods=bloods, book=book_of(patient))
    drawn = [(f"figure-{chart.key}", chart, figure_of_chart(chart, within=(since, until))) for chart in found]
    return render(request, "alerts/_charts.html", {"patient": patient, "charts": drawn})
