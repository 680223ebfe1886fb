"""What is known of a patient beside treatments and bloods: viruses, transplant, access, fluid, pressures at home."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.pages.guards import clinical_only
from homedialysis.accounts.pages.typed_numbers import NumberField
from sessions.facts.findings import SPECS, FindingField, FindingKind, refusals
from sessions.models import Finding, Patient, VascularAccess
from sessions.pages.kept_rows import kept, taken_back
from sessions.pages.persons import shown_patient
from sessions.services.findings import concern_of, findings_of
from sessions.services.noted_versions import noted_versions

SHOWN = 6
"""Of each kind; older ones stand behind them."""


class FindingForm(forms.Form):
    """The values of one kind, on one day."""

    found_on = forms.DateField(label=gettext_lazy("On"), widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args: Any, row: Finding, **kwargs: Any) -> None:
        kwargs["initial"] = {"found_on": row.found_on, "words": row.words, "access": row.access_id, **row.values}
        super().__init__(*args, **kwargs)
        self.row = row
        for key, each in SPECS[row.kind].fields.items():
            self.fields[key] = _field(each)
        if SPECS[row.kind].of_access:
            mine = VascularAccess.objects.filter(patient=row.patient).order_by("-created_on")
            self.fields["access"] = forms.ModelChoiceField(mine, label=_("Access"), empty_label=_("Choose"))
        self.fields["words"] = forms.CharField(label=_("In words"), max_length=300, required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        values = {key: data[key] for key in SPECS[self.row.kind].fields if data.get(key) not in (None, "")}
        for key, why in refusals(self.row.kind, values).items():
            if key not in self.errors:
                self.add_error(key or None, why)
        if data.get("found_on") and data["found_on"] > timezone.localdate():
            self.add_error("found_on", _("This day lies ahead."))
        self.row.values, self.row.words = values, data.get("words", "")
        self.row.found_on, self.row.access = data.get("found_on") or self.row.found_on, data.get("access")
        return data

    def saved(self, request: HttpRequest) -> bool:
        return self.is_valid() and kept(request, self, self.row)


def _field(each: FindingField) -> forms.Field:
    label = capfirst(str(each.label))
    if each.limits is not None:
        named = f"{label} ({each.limits.unit})" if each.limits.unit else label
        return NumberField(label=named, required=each.needed)
    choices = [("", _("Choose")), *each.choices.items()]
    return forms.ChoiceField(label=label, choices=choices, required=each.needed)


@clinical_only
@require_http_methods(["GET", "POST"])
def findings(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """All that was found, by kind, with what calls for a look; and a form for one more."""
    person = shown_patient(request, patient_id)
    asked = request.POST.get("kind") or request.GET.get("kind", "")
    kind = asked if asked in SPECS else ""
    form = _form(request, person, kind) if kind else None
    if request.method == "POST" and form is not None and form.saved(request):
        messages.success(request, _("Noted."))
        return redirect("treatments:findings", person.pk)
    found = findings_of(person)
    context = {
        "patient": person,
        "kinds": [(each.value, each.label) for each in FindingKind],
        "kind": kind,
        "kind_name": FindingKind(kind).label if kind else "",
        "form": form,
        "groups": list(_groups(found)),
        "taken_back": person.findings.exclude(taken_back="").select_related("entered_by", "access"),
    }
    return render(request, "sessions/findings.html", context)


def _form(request: HttpRequest, person: Patient, kind: str) -> FindingForm:
    in_use = person.accesses.in_use().first() if SPECS[kind].of_access else None
    row = Finding(patient=person, kind=kind, found_on=timezone.localdate(), access=in_use)
    return FindingForm(request.POST if request.method == "POST" else None, row=row)


def _groups(found: list[Finding]) -> Iterator[tuple[str, str, list[Any], list[Any]]]:
    """Each kind with its newest and its older rows, each with its concern."""
    for kind in FindingKind:
        rows = [(each, concern_of(each, found)) for each in found if each.kind == kind]
        yield kind.value, str(kind.label), rows[:SHOWN], rows[SHOWN:]


@clinical_only
@require_http_methods(["GET", "POST"])
def finding(request: HttpRequest, patient_id: uuid.UUID, row: int) -> HttpResponse:
    """One finding: put right or taken back, and what was noted of it before."""
    person = shown_patient(request, patient_id)
    found = get_object_or_404(person.findings.select_related("access"), pk=row)
    task = request.POST.get("task", "") if not found.taken_back else ""
    form = FindingForm(request.POST if task == "correct" else None, row=found)
    if (task == "correct" and form.saved(request)) or (task == "take back" and taken_back(request, found)):
        messages.success(request, _("Saved."))
        return redirect("treatments:findings", person.pk)
    standing = person.findings.select_related("access").get(pk=row)
    context = {"patient": person, "row": standing, "form": form, "versions": noted_versions(standing)}
    return render(request, "sessions/finding.html", context)
