"""The unit's report for its quality meeting, and the page on which infections, hospital stays and leaving are noted."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from dosing.month.pages import month_of
from dosing.month.unit_report import unit_report
from homedialysis.accounts.guards import clinical_only, staff_only
from homedialysis.accounts.models import signed_in
from sessions.choices import LeftReason
from sessions.models import AccessInfection, HospitalStay, Patient, VascularAccess
from sessions.services.reading_log import note_reading

DAY = forms.DateInput(attrs={"type": "date"})


class InfectionForm(forms.ModelForm[AccessInfection]):
    class Meta:
        model = AccessInfection
        fields = ("access", "kind", "began_on", "words")
        widgets = {"began_on": DAY}  # noqa: RUF012


class StayForm(forms.ModelForm[HospitalStay]):
    class Meta:
        model = HospitalStay
        fields = ("admitted_on", "discharged_on", "words")
        widgets = {"admitted_on": DAY, "discharged_on": DAY}  # noqa: RUF012


class LeaveForm(forms.Form):
    left_on = forms.DateField(
        label="Left the programme on", widget=DAY, required=False, help_text="Empty: is in the programme."
    )
    left_reason = forms.ChoiceField(label="Why", choices=[("", "Choose"), *LeftReason.choices], required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("left_on") and not data.get("left_reason"):
            self.add_error("left_reason", "Say why: the report counts going back to a centre apart from the rest.")
        if data.get("left_reason") and not data.get("left_on") and "left_on" not in self.errors:
            self.add_error("left_on", "Say from which day.")
        return data


def _not_before(form: forms.BaseForm, name: str, first: date, what: str) -> None:
    """An error at a day that lies ahead, or before what it belongs to."""
    given = form.cleaned_data.get(name)
    if given and given > timezone.localdate():
        form.add_error(name, f"It lies ahead: today is {timezone.localdate():%Y-%m-%d}, {given} was given.")
    elif given and given < first:
        form.add_error(name, f"{what} {first}; {given} was given.")


@staff_only
@require_GET
def report(request: HttpRequest, month: str) -> HttpResponse:
    """Numbers of the unit as a whole: no name on it."""
    wanted = month_of(month)
    if wanted > timezone.localdate():
        raise Http404
    return render(
        request, "dosing/unit_report.html", {"report": unit_report(wanted, today=timezone.localdate()), "month": wanted}
    )


@clinical_only
@require_http_methods(["GET", "POST"])
def outcomes(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Infections, hospital stays and leaving of one patient: seen and noted."""
    person = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, person.pk)
    forms_ = _forms(request, person)
    what = request.POST.get("what", "")
    if request.method == "POST" and what in forms_ and _judged(forms_[what], person):
        _keep(person, what, forms_[what])
        messages.success(request, "Noted.")
        return redirect("dosing:outcomes", person.pk)
    context = {
        "patient": person,
        "forms": forms_,
        "infections": AccessInfection.objects.filter(access__patient=person).select_related("access", "entered_by"),
        "stays": HospitalStay.objects.filter(patient=person).select_related("entered_by"),
    }
    return render(request, "dosing/outcomes.html", context)


def _forms(request: HttpRequest, person: Patient) -> dict[str, Any]:
    """Each form, bound when it is the one that was sent."""
    what = request.POST.get("what", "")
    by, now = signed_in(request), timezone.now()
    data = {name: request.POST if name == what else None for name in ("infection", "stay", "leave")}
    infection = InfectionForm(
        data["infection"], instance=AccessInfection(entered_by=by, entered_at=now), prefix="infection"
    )
    infection.fields["access"].queryset = VascularAccess.objects.filter(patient=person)  # type: ignore[attr-defined]
    in_hospital = HospitalStay.objects.filter(patient=person, discharged_on=None).first()
    new_stay = HospitalStay(patient=person, entered_by=by, entered_at=now)
    stay = StayForm(data["stay"], instance=in_hospital or new_stay, prefix="stay")
    start = {"left_on": person.left_on, "left_reason": person.left_reason}
    return {"infection": infection, "stay": stay, "leave": LeaveForm(data["leave"], prefix="leave", initial=start)}


def _judged(form: Any, person: Patient) -> bool:
    """Whether what was sent can be kept; otherwise the form says at which field it cannot, and why."""
    if not form.is_valid():
        return False
    if access := form.cleaned_data.get("access"):
        _not_before(form, "began_on", access.created_on, "The access was made on")
    for name in ("admitted_on", "discharged_on", "left_on"):
        first = person.joined_on if name == "left_on" else person.birth_date
        what = "In the programme since" if name == "left_on" else "Born on"
        _not_before(form, name, first, what)
    return not form.errors


def _keep(person: Patient, what: str, form: Any) -> None:
    if what != "leave":
        form.save()
        return
    person.left_on, person.left_reason = form.cleaned_data["left_on"], form.cleaned_data["left_reason"]
    person.save(update_fields=["left_on", "left_reason"])
