"""What is known of an enrolled patient is corrected: every state stays, with who changed it and when."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Iterator
from typing import Any, ClassVar

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.models import User
from homedialysis.accounts.pages.guards import clinical_only
from homedialysis.accounts.services.people import correct_person
from sessions.models import Patient
from sessions.pages.forms import EnrolForm
from sessions.pages.persons import shown_patient


class PatientFactsForm(EnrolForm):
    email = forms.EmailField(label=_("E-mail address"), help_text=_("With which the patient signs in."))

    class Meta(EnrolForm.Meta):
        help_texts: ClassVar = {
            "height_cm": _("Body water and every dose of the past months are worked out again."),
            "time_zone": _("Where the patient lives now. Treatments that were recorded keep their day."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        account = self.instance.account
        if account is None:
            del self.fields["email"]
        else:
            self.fields["email"].initial = account.email


@clinical_only
@require_http_methods(["GET", "POST"])
def facts(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Correct name, number, birth, sex, height, telephone, zone and address."""
    patient = shown_patient(request, patient_id)
    form = PatientFactsForm(request.POST or None, instance=patient)
    if form.is_sure() and _saved(form):
        messages.success(request, gettext("Saved."))
        return redirect("treatments:patient-facts", patient.pk)
    stands = Patient.objects.get(pk=patient_id)
    context = {"patient": stands, "form": form, "story": story_of(stands)}
    return render(request, "sessions/patient_facts.html", context)


def _saved(form: PatientFactsForm) -> bool:
    account = form.instance.account
    try:
        with transaction.atomic():
            form.save()
            if account is not None:
                correct_person(account, name=form.cleaned_data["name"], email=form.cleaned_data["email"])
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    return True


SHOWN = ("name", "hospital_number", "birth_date", "sex", "height_cm", "phone", "time_zone", "joined_on", "left_on",
         "left_reason")  # fmt: skip
OF_ACCOUNT = ("email",)


def story_of(patient: Patient) -> list[dict[str, Any]]:
    """Each change of the patient and of the account, newest first: when, by whom, and what became of what in words."""
    told = list(_changes(patient, SHOWN))
    if patient.account is not None:
        told += _changes(patient.account, OF_ACCOUNT)
    return sorted(told, key=lambda change: change["at"], reverse=True)


def _changes(row: Patient | User, names: tuple[str, ...]) -> Iterator[dict[str, Any]]:
    events: list[Any] = list(row.events.select_related("pgh_context").order_by("pgh_id"))  # type: ignore[union-attr]
    for before, after in itertools.pairwise(events):
        lines = [_line(row, before, after, name) for name in names if getattr(before, name) != getattr(after, name)]
        if lines:
            yield {"at": after.pgh_created_at, "by": _who(after), "lines": lines}


def _line(row: Patient | User, before: Any, after: Any, name: str) -> str:
    field: Any = row._meta.get_field(name)
    named = dict(field.flatchoices)
    old, new = (named.get(value := getattr(each, name), value) or "–" for each in (before, after))
    return f"{capfirst(str(field.verbose_name))}: {old} → {new}"


def _who(event: Any) -> str:
    user = (event.pgh_context.metadata or {}).get("user") if event.pgh_context else None
    found = User.objects.filter(pk=user).first() if user else None
    return found.name if found else "–"
