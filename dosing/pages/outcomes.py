"""The unit's report for its quality meeting, and the page on which infections, hospital stays and leaving are noted."""

from __future__ import annotations

import uuid
from datetime import date, datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from dosing.pages.month import month_of
from dosing.services.month.unit_report import title_of, unit_report
from homedialysis.accounts.models import User, signed_in
from homedialysis.accounts.pages.forms import AskingForm
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from homedialysis.accounts.services.dates import short_day
from sessions.facts.choices import LeftReason
from sessions.models import AccessInfection, HospitalStay, Patient, VascularAccess
from sessions.pages.kept_rows import done, taken_back
from sessions.pages.persons import shown_patient
from sessions.services import outcomes as noting
from sessions.services.reading_log import note_reading

DAY = forms.DateInput(attrs={"type": "date"})


class NotedForm(AskingForm[Any]):
    """A form of one thing that befell a patient."""

    def saved(self, *, by: User, at: datetime) -> bool:
        """Kept, or not, with what the whole row breaks said on top: a rule may be of fields that no form shows."""
        return done(self, lambda: noting.keep(self.instance, by=by, at=at))


class InfectionForm(NotedForm):
    class Meta:
        model = AccessInfection
        fields = ("access", "kind", "began_on", "words")
        widgets = {"began_on": DAY}  # noqa: RUF012


class StayForm(NotedForm):
    class Meta:
        model = HospitalStay
        fields = ("kind", "admitted_on", "discharged_on", "words")
        widgets = {"admitted_on": DAY, "discharged_on": DAY}  # noqa: RUF012


class LeaveForm(forms.Form):
    left_on = forms.DateField(
        label=_("Left the programme on"), widget=DAY, required=False, help_text=_("Empty: is in the programme.")
    )
    left_reason = forms.ChoiceField(label=_("Why"), choices=[("", _("Choose")), *LeftReason.choices], required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("left_on") and not data.get("left_reason"):
            self.add_error(
                "left_reason", gettext("Say why: the report counts going back to a centre apart from the rest.")
            )
        if data.get("left_reason") and not data.get("left_on") and "left_on" not in self.errors:
            self.add_error("left_on", gettext("Say from which day."))
        return data


def _not_before(form: forms.BaseForm, name: str, first: date, what: str) -> None:
    """An error at a day that lies ahead, or before what it belongs to."""
    given = form.cleaned_data.get(name)
    if given and given > timezone.localdate():
        form.add_error(
            name,
            gettext("It lies ahead: today is %(today)s, %(given)s was given.")
            % {"today": short_day(timezone.localdate()), "given": short_day(given)},
        )
    elif given and given < first:
        form.add_error(name, what % {"first": short_day(first), "given": short_day(given)})


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


@staff_only
@require_GET
def behind(request: HttpRequest, month: str, figure: str) -> HttpResponse:
    """The patients behind one figure of the report, with what of theirs is in it."""
    wanted = month_of(month)
    if wanted > timezone.localdate():
        raise Http404
    found = unit_report(wanted, today=timezone.localdate())
    title = title_of(found, figure)
    if title is None:
        raise Http404
    words = found.behind.get(figure, {})
    people = Patient.objects.visible_to(request.user).filter(pk__in=words).order_by("name")
    note_reading(request, *(each.pk for each in people))
    rows = [(each, words[each.pk]) for each in people]
    return render(request, "dosing/unit_behind.html", {"title": title, "month": wanted, "rows": rows})


@clinical_only
@require_http_methods(["GET", "POST"])
def outcomes(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Infections, hospital stays and leaving of one patient: seen and noted."""
    person = shown_patient(request, patient_id)
    forms_ = _forms(request, person)
    what = request.POST.get("what", "")
    if request.method == "POST" and what in forms_ and _kept(request, forms_[what], person):
        messages.success(request, gettext("Noted."))
        return redirect("dosing:outcomes", person.pk)
    context = {"patient": person, "forms": forms_} | {
        f"{name}s": _rows(request, name, person).standing() for name in MODELS
    }
    context["taken_back"] = [row for name in MODELS for row in _rows(request, name, person).exclude(taken_back="")]
    return render(request, "dosing/outcomes.html", context)


@clinical_only
@require_http_methods(["GET", "POST"])
def outcome(request: HttpRequest, patient_id: uuid.UUID, what: str, row: int) -> HttpResponse:
    """One infection or stay: put right, or taken back with a reason."""
    person = shown_patient(request, patient_id)
    found = _rows(request, what, person).standing().filter(pk=row).first() if what in MODELS else None
    if found is None:
        raise Http404
    if request.POST.get("task") == "take back":
        return _taken_back(request, found, person)
    form = _form_of(found, request.POST or None, person)
    if request.method == "POST" and _kept(request, form, person):
        messages.success(request, gettext("Corrected."))
        return redirect("dosing:outcomes", person.pk)
    context = {"patient": person, "form": form, "row": found, "title": TITLES[what]}
    return render(request, "dosing/outcome.html", context)


MODELS: dict[str, type[AccessInfection | HospitalStay]] = {"infection": AccessInfection, "stay": HospitalStay}
TITLES = {"infection": _("Infection of the access"), "stay": _("Stay in hospital")}


def _rows(request: HttpRequest, what: str, person: Patient) -> Any:
    rows = MODELS[what].objects.visible_to(signed_in(request)).select_related("entered_by")
    return rows.filter(**{rows.path_to_patient: person})


def _taken_back(request: HttpRequest, row: AccessInfection | HospitalStay, person: Patient) -> HttpResponse:
    if not taken_back(request, row):
        return redirect(request.path)
    messages.success(request, gettext("Taken back: it counts no more."))
    return redirect("dosing:outcomes", person.pk)


def _forms(request: HttpRequest, person: Patient) -> dict[str, Any]:
    """Each form, bound when it is the one that was sent."""
    what = request.POST.get("what", "")
    data = {name: request.POST if name == what else None for name in ("infection", "stay", "leave")}
    in_hospital = HospitalStay.objects.standing().filter(patient=person, discharged_on=None).first()
    start = {"left_on": person.left_on, "left_reason": person.left_reason}
    return {
        "infection": _form_of(AccessInfection(), data["infection"], person),
        "stay": _form_of(in_hospital or HospitalStay(patient=person), data["stay"], person),
        "leave": LeaveForm(data["leave"], prefix="leave", initial=start),
    }


def _form_of(row: AccessInfection | HospitalStay, data: Any, person: Patient) -> NotedForm:
    if isinstance(row, HospitalStay):
        return StayForm(data, instance=row, prefix="stay")
    form = InfectionForm(data, instance=row, prefix="infection")
    form.fields["access"].queryset = VascularAccess.objects.filter(patient=person)  # type: ignore[attr-defined]
    return form


def _judged(form: Any, person: Patient) -> bool:
    """Whether what was sent can be kept; otherwise the form says at which field it cannot, and why."""
    if not form.is_valid():
        return False
    if access := form.cleaned_data.get("access"):
        _not_before(
            form, "began_on", access.created_on, gettext("The access was made on %(first)s; %(given)s was given.")
        )
    for name in ("admitted_on", "discharged_on", "left_on"):
        first = person.joined_on if name == "left_on" else person.birth_date
        joined = gettext("In the programme since %(first)s; %(given)s was given.")
        born = gettext("Born on %(first)s; %(given)s was given.")
        _not_before(form, name, first, joined if name == "left_on" else born)
    return not form.errors


def _kept(request: HttpRequest, form: Any, person: Patient) -> bool:
    if not _judged(form, person):
        return False
    if isinstance(form, NotedForm):
        return form.saved(by=signed_in(request), at=timezone.now())
    person.left_on, person.left_reason = form.cleaned_data["left_on"], form.cleaned_data["left_reason"]
    with transaction.atomic():
        person.save(update_fields=["left_on", "left_reason"])
    return True
