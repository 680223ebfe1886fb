"""Messages of the unit to one patient: write them, and see when they were seen."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only
from sessions.models import Message, Patient
from sessions.models.local_time import zone_of
from sessions.pages.forms_texts import MessageForm
from sessions.services.messages import write_message
from sessions.services.reading_log import note_reading

MESSAGES_A_PAGE = 20


@clinical_only
@require_http_methods(["GET", "POST"])
def to_patient(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The messages of one patient, newest first, and a form for the next."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    form = MessageForm(request.POST or None)
    if form.is_valid():
        write_message(patient=patient, by=signed_in(request), at=timezone.now(), **form.cleaned_data)
        messages.success(request, _("The message goes to the phone when it is next opened with a network."))
        return redirect("treatments:messages", patient.pk)
    timezone.activate(zone_of(patient))
    written = Message.objects.visible_to(request.user).filter(patient=patient)
    read = written.select_related("sent_by").prefetch_related("seen__by")
    page = Paginator(read, MESSAGES_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "sessions/messages.html", {"patient": patient, "form": form, "page": page})
