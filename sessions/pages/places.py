"""Where a patient is for some days beside home, with the clock and the numbers of the place."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from homedialysis.accounts.pages.forms_unit import dialled
from homedialysis.accounts.pages.guards import clinical_only
from homedialysis.accounts.pages.zones import ZoneField
from homedialysis.accounts.services.dates import short_day
from sessions.facts.places import Place, place_at
from sessions.models import Patient
from sessions.pages.forms import DateInput
from sessions.pages.persons import shown_patient


class PlaceForm(forms.Form):
    name = forms.CharField(label=_("Place"), max_length=80, help_text=_("For example: on holiday, Granada."))
    since = forms.DateField(label=_("From"), widget=DateInput())
    until = forms.DateField(
        label=_("To"), required=False, widget=DateInput(), help_text=_("Empty: until somebody ends it.")
    )
    emergency = forms.CharField(
        label=_("Ambulance number there"),
        max_length=30,
        help_text=_("As it is dialled there, by a telephone of there."),
    )
    phone = forms.CharField(
        label=_("Telephone there"), max_length=30, required=False, help_text=_("With the code of the country.")
    )
    delivery = forms.CharField(
        label=_("Where supplies go"), max_length=200, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["zone"] = ZoneField(label=_("Time zone"), unset=_("Choose"))
        self.order_fields(["name", "since", "until", "zone", "emergency", "phone", "delivery"])

    def clean_emergency(self) -> str:
        return dialled(self.cleaned_data["emergency"], least=2)

    def clean_phone(self) -> str:
        given = self.cleaned_data["phone"]
        return dialled(given, least=5) if given else ""

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        since, until = data.get("since"), data.get("until")
        if since and until and until < since:
            words = gettext("Must not lie before %(since)s; %(until)s was given.")
            self.add_error("until", words % {"since": short_day(since), "until": short_day(until)})
        return data


@clinical_only
@require_http_methods(["GET", "POST"])
def places(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The places, newest first, and one more."""
    patient = shown_patient(request, patient_id)
    form = PlaceForm(request.POST or None)
    if form.is_valid():
        _keep(patient, [*patient.places, Place(**form.cleaned_data).as_json()])
        messages.success(request, gettext("Saved. The phone takes clock and number when it next reaches the unit."))
        return redirect("treatments:places", patient.pk)
    held = [Place.from_json(row) for row in patient.places]
    context = {
        "patient": patient,
        "form": form,
        "rows": [(index, place) for index, place in enumerate(held)][::-1],
        "now": place_at(patient.places, timezone.now()),
    }
    return render(request, "sessions/places.html", context)


@clinical_only
@require_POST
def end_place(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Take one out, by its number in the list: the patient's history keeps it."""
    patient = shown_patient(request, patient_id)
    index = request.POST.get("index", "")
    if index.isdigit() and int(index) < len(patient.places):
        _keep(patient, [row for at, row in enumerate(patient.places) if at != int(index)])
        messages.success(request, gettext("Taken out."))
    return redirect("treatments:places", patient.pk)


def _keep(patient: Patient, rows: list[dict[str, Any]]) -> None:
    patient.places = sorted(rows, key=lambda row: row["since"])
    patient.save(update_fields=["places"])
