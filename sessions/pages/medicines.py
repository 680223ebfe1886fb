"""Medicines that a patient takes: a list with doses; written, changed, stopped, put right and taken back."""

from __future__ import annotations

import uuid
from itertools import groupby
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.forms import AskingForm
from homedialysis.accounts.pages.guards import clinical_only
from sessions.facts.medicines import SUBSTANCES
from sessions.models import Medication, Patient
from sessions.pages.kept_rows import done, kept, taken_back
from sessions.pages.persons import shown_patient
from sessions.services import medications
from sessions.services.noted_versions import noted_versions

DAY = forms.DateInput(attrs={"type": "date"})
NAME = forms.TextInput(attrs={"list": "substances", "autocomplete": "off"})
DOSE = ("amount", "unit", "times", "period")


class MedicationForm(AskingForm[Medication]):
    class Meta:
        model = Medication
        fields = ("name", "kind", *DOSE, "from_on", "why", "words", "atc")
        widgets = {"from_on": DAY, "name": NAME}  # noqa: RUF012


class CorrectedForm(AskingForm[Medication]):
    class Meta:
        model = Medication
        fields = ("name", "kind", *DOSE, "from_on", "until_on", "why", "words", "ended_because", "atc")
        widgets = {"from_on": DAY, "until_on": DAY, "name": NAME}  # noqa: RUF012


class OtherDoseForm(AskingForm[Medication]):
    """Another dose of the same medicine from a day on."""

    because = forms.CharField(label=gettext_lazy("Why it is changed"), max_length=200)

    class Meta:
        model = Medication
        fields = (*DOSE, "from_on")
        widgets = {"from_on": DAY}  # noqa: RUF012


class StopForm(forms.Form):
    last_day = forms.DateField(label=gettext_lazy("Last taken on"), widget=DAY)
    because = forms.CharField(label=gettext_lazy("Why it is stopped"), max_length=200)


@clinical_only
@require_http_methods(["GET", "POST"])
def medicines(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What a patient takes and took, and a form for one more."""
    person = shown_patient(request, patient_id)
    start = {"from_on": timezone.localdate()}
    form = MedicationForm(request.POST or None, instance=Medication(patient=person), initial=start)
    if request.method == "POST" and form.is_valid() and kept(request, form, form.instance):
        messages.success(request, _("Written down."))
        return redirect("treatments:medicines", person.pk)
    context = {"patient": person, "form": form, "substances": SUBSTANCES} | _lists(person)
    return render(request, "sessions/medicines.html", context)


def _lists(person: Patient) -> dict[str, Any]:
    """Taken now by kind, to come or over, and taken back: two queries."""
    today = timezone.localdate()
    now = [row for row in medications.taken_now(person, today) if row.goes_on_after(today)]
    rows = list(person.medications.select_related("entered_by"))
    standing = [row for row in rows if not row.taken_back]
    return {
        "groups": [(kind, list(each)) for kind, each in groupby(now, key=Medication.get_kind_display)],
        "coming": [row for row in standing if row.from_on > today],
        "over": [row for row in standing if row.until_on and row.until_on <= today],
        "taken_back": [row for row in rows if row.taken_back],
    }


@clinical_only
@require_http_methods(["GET", "POST"])
def medicine(request: HttpRequest, patient_id: uuid.UUID, row: int) -> HttpResponse:
    """One medicine: another dose, the end of it, put right, taken back; and what was noted of it before."""
    person = shown_patient(request, patient_id)
    found = get_object_or_404(person.medications.select_related("entered_by"), pk=row)
    task = request.POST.get("task", "") if not found.taken_back else ""
    forms_ = _forms(request, person, found, task)
    if request.method == "POST" and task in DEEDS and DEEDS[task](request, forms_.get(task), found):
        messages.success(request, _("Saved."))
        return redirect("treatments:medicines", person.pk)
    context = {"patient": person, "row": found, "forms": forms_, "versions": noted_versions(found)}
    return render(request, "sessions/medicine.html", context | {"substances": SUBSTANCES})


def _forms(request: HttpRequest, person: Patient, found: Medication, task: str) -> dict[str, Any]:
    """The forms of one medicine, bound where it is the one that was sent."""
    data = {name: request.POST if name == task else None for name in DEEDS}
    same = ("name", "kind", "atc", "why", "words")
    other = Medication(patient=person, **{name: getattr(found, name) for name in same})
    start = {name: getattr(found, name) for name in DOSE} | {"from_on": timezone.localdate()}
    corrected = person.medications.get(pk=found.pk)  # a form writes into its row before it is known to be right
    return {
        "change": OtherDoseForm(data["change"], instance=other, initial=start, prefix="change"),
        "stop": StopForm(data["stop"], prefix="stop", initial={"last_day": timezone.localdate()}),
        "correct": CorrectedForm(data["correct"], instance=corrected, prefix="correct"),
    }


def _changed(request: HttpRequest, form: OtherDoseForm, found: Medication) -> bool:
    if not form.is_valid():
        return False
    how: dict[str, Any] = {"why": form.cleaned_data["because"], "by": signed_in(request), "at": timezone.now()}
    return done(form, lambda: medications.change_dose(found, form.instance, **how))


def _stopped(request: HttpRequest, form: StopForm, found: Medication) -> bool:
    if not form.is_valid():
        return False
    how: dict[str, Any] = {"why": form.cleaned_data["because"], "by": signed_in(request), "at": timezone.now()}
    return done(form, lambda: medications.stop(found, last_day=form.cleaned_data["last_day"], **how))


def _corrected(request: HttpRequest, form: CorrectedForm, found: Medication) -> bool:
    return form.is_valid() and kept(request, form, form.instance)


def _taken_back(request: HttpRequest, form: None, found: Medication) -> bool:
    return taken_back(request, found)


DEEDS: dict[str, Any] = {"change": _changed, "stop": _stopped, "correct": _corrected, "take back": _taken_back}
