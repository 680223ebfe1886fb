"""One patient's alerts together: what was seen, what was done, and what the reader does about some or all of it."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from alerts.models import Alert, AlertStep, Call
from alerts.pages.forms_acting import ActForm, CallForm
from alerts.services import acting
from alerts.showing.alert_words import title_of
from alerts.showing.presenting import ShownAlert, in_order, of_paper
from alerts.showing.sparklines import courses_of, drawn, next_treatments
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from sessions.models import Patient
from sessions.models.local_time import zone_of
from sessions.services.reading_log import note_reading

MOVED_ON = _("Something was added since you opened this page. Read it, then send again: your words are kept.")
CALLS_SHOWN = 8
CLOSED_SHOWN = 5


@staff_only
@require_safe
def bundle(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Everything that is open for one patient, and the forms."""
    return _page(request, _patient(request, patient_id))


@staff_only
@require_safe
def live(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The part that tells what happened. Nothing (204) when the page that asks has it already."""
    context = _story(request, _patient(request, patient_id))
    if request.GET.get("have") == context["mark"]:
        return HttpResponse(status=204)
    return render(request, "alerts/_bundle_live.html", context)


@clinical_only
@require_POST
def act(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Close, set aside, give to somebody, note, or say that it was looked at: for the alerts that are chosen."""
    patient = _patient(request, patient_id)
    form = ActForm(_choices(patient, _posted(request)), acting.may_take_care(), request.POST)
    if not form.is_valid():
        return _page(request, patient, status=400, act_form=form)
    try:
        words = _do(request, _chosen(patient, form), form.cleaned_data)
    except ValidationError as problem:
        form.add_error(None, problem)
        return _page(request, patient, status=400, act_form=form)
    except acting.MovedOn:
        messages.warning(request, MOVED_ON)
        return _page(request, patient, status=409, act_form=_again(patient, form))
    except acting.AlreadyClosed as problem:
        messages.warning(request, f"{problem} What you wrote is kept below: send it as a note if it adds something.")
        return _page(request, patient, status=409, act_form=_again(patient, form))
    messages.success(request, words)
    left = Alert.objects.on_the_table().filter(patient=patient).exists()
    return redirect("alerts:bundle", patient.pk) if left else redirect("alerts:triage")


@clinical_only
@require_POST
def log_call(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Write down a call with the patient."""
    patient = _patient(request, patient_id)
    form = CallForm(_choices(patient, _posted(request)), request.POST)
    if not form.is_valid():
        return _page(request, patient, status=400, call_form=form)
    given = dict(form.cleaned_data)
    newest = given.pop("parts")
    alerts = list(Alert.objects.open().filter(patient=patient, pk__in=newest))
    try:
        acting.log_call(
            patient=patient, by=signed_in(request), at=timezone.now(), alerts=alerts, newest=newest, **given
        )
    except ValidationError as problem:
        form.add_error(None, problem)
        return _page(request, patient, status=400, call_form=form)
    except acting.MovedOn:
        messages.warning(request, MOVED_ON)
        again = CallForm(_choices(patient), initial=_kept(patient, form))
        return _page(request, patient, status=409, call_form=again)
    messages.success(request, gettext("The call is noted."))
    return redirect("alerts:bundle", patient.pk)


def _do(request: HttpRequest, alerts: Sequence[Alert], data: Mapping[str, Any]) -> str:
    """Carry out what was asked; what the page says then."""
    person, at, newest = signed_in(request), timezone.now(), data["parts"]
    count = len(alerts)
    words = {"words": data["words"]}
    match data["do"]:
        case "close":
            acting.close(alerts=alerts, by=person, at=at, newest=newest, outcome=data["outcome"], **words)
            return gettext("Closed: %(titles)s.") % {"titles": ", ".join(title_of(alert) for alert in alerts)}
        case "aside":
            acting.set_aside(alerts=alerts, by=person, at=at, newest=newest, until=data["until"], **words)
            return ngettext(
                "Set aside until %(until)s: %(count)s alert. Until then the list leaves it out.",
                "Set aside until %(until)s: %(count)s alerts. Until then the list leaves them out.",
                count,
            ) % {"until": f"{data['until']:%Y-%m-%d}", "count": count}
        case "assign":
            acting.assign(alerts=alerts, by=person, at=at, newest=newest, to=data["to"], **words)
            return ngettext(
                "%(person)s takes care of %(count)s alert.", "%(person)s takes care of %(count)s alerts.", count
            ) % {"person": data["to"], "count": count}
        case "note":
            acting.note(alerts=alerts, by=person, at=at, newest=newest, **words)
            return gettext("Noted.")
        case _:
            for alert in alerts:
                acting.see(alert=alert, by=person, at=at)
            return ngettext("Looked at: %(count)s alert.", "Looked at: %(count)s alerts.", count) % {"count": count}


def _patient(request: HttpRequest, patient_id: uuid.UUID) -> Patient:
    found: Patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    return found


def _open_of(patient: Patient) -> list[ShownAlert]:
    alerts = list(Alert.objects.open().filter(patient=patient).for_page())
    courses, paper = courses_of(alerts, at=timezone.now()), of_paper(alerts)
    return in_order(ShownAlert(alert, drawn(alert, courses), paper=paper) for alert in alerts)


def _posted(request: HttpRequest) -> dict[str, str]:
    """The parts as the page sent them, by alert: a form with a fault keeps what its reader had seen."""
    return {part.partition("-")[0]: part for part in request.POST.getlist("parts")}


def _choices(patient: Patient, posted: Mapping[str, str] | None = None) -> list[tuple[str, str]]:
    parts = [(shown.part, shown.alert) for shown in _open_of(patient)]
    kept = posted or {}
    return [(kept.get(str(alert.pk), part), title_of(alert)) for part, alert in parts]


def _chosen(patient: Patient, form: ActForm) -> list[Alert]:
    return list(Alert.objects.filter(patient=patient, pk__in=form.cleaned_data["parts"]).order_by("pk"))


def _kept(patient: Patient, form: forms.Form) -> dict[str, Any]:
    """What was typed and chosen, with the steps as they stand now."""
    chosen = {str(alert) for alert in form.cleaned_data["parts"]}
    parts = [part for part, _ in _choices(patient) if part.partition("-")[0] in chosen]
    return {**form.cleaned_data, "parts": parts}


def _again(patient: Patient, form: ActForm) -> ActForm:
    return ActForm(_choices(patient), acting.may_take_care(), initial=_kept(patient, form))


def _story(request: HttpRequest, patient: Patient) -> dict[str, Any]:
    """What is open and what happened, with a mark by which a page can tell whether it has changed."""
    timezone.activate(zone_of(patient))
    shown = _open_of(patient)
    steps = AlertStep.objects.filter(alert__in=[one.alert for one in shown])
    steps = steps.select_related("alert", "who", "to", "call")
    context = {
        "patient": patient,
        "open": shown,
        "steps": list(steps.order_by("-pk")),
        "calls": Call.objects.filter(patient=patient).select_related("by")[:CALLS_SHOWN],
        "closed": Alert.objects.closed()
        .filter(patient=patient)
        .select_related("closed_by")
        .order_by("-closed_at")[:CLOSED_SHOWN],
    }
    content = render_to_string("alerts/_bundle_story.html", context, request=request)
    mark = hashlib.blake2b(content.encode(), digest_size=8).hexdigest()
    return {"content": content, "mark": mark, "patient": patient, "open": shown}


def _page(request: HttpRequest, patient: Patient, *, status: int = 200, **filled: forms.Form) -> HttpResponse:
    note_reading(request, patient.pk)
    context = _story(request, patient)
    choices = [(shown.part, title_of(shown.alert)) for shown in context["open"]]
    everything = {"parts": [part for part, _ in choices]}
    now = timezone.now()
    context |= {
        "act_form": ActForm(choices, acting.may_take_care(), initial=everything),
        "call_form": CallForm(choices, initial=everything),
        "next": next_treatments([patient], at=now, zone=zone_of(patient)).get(patient.pk),
    }
    return render(request, "alerts/bundle.html", context | filled, status=status)
