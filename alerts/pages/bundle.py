"""One patient's alerts together: what was seen, what was done, and what the reader does about some or all of it."""

from __future__ import annotations

import hashlib
import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from alerts.models import Alert, AlertStep, Call
from alerts.pages import typed_acting
from alerts.pages.forms_acting import ABOUT, ActForm, CallForm, OfferedAlert
from alerts.services import acting
from alerts.services.muting import mutes_of
from alerts.showing.alert_words import named, title_of
from alerts.showing.patient_picture import picture_of_patient
from alerts.showing.presenting import ShownAlert, in_order, not_judged_of, of_paper
from alerts.showing.sparklines import courses_of, drawn, next_treatments
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from homedialysis.accounts.services.dates import short_day
from sessions.models import Patient
from sessions.models.local_time import zone_of
from sessions.services.reading_log import note_reading

MOVED_ON = _("Something was added since you opened this page. Read it, then send again: your words are kept.")
CLOSED_MEANWHILE = _("%(who)s What you wrote is kept: read what happened, and send it as a note if it adds something.")
PART = re.compile(r"([0-9]{1,18})-([0-9]{1,18})")
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


@staff_only
@require_safe
def picture(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What the list opens below a patient's line: the same as the page, without its frame."""
    patient = _patient(request, patient_id)
    note_reading(request, patient.pk)
    return render(request, "alerts/_picture_panel.html", _context(request, patient))


@clinical_only
@require_POST
def act(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Close, set aside, give to somebody, note, or say that it was looked at: for the alerts that are chosen."""
    patient = _patient(request, patient_id)
    posted = _posted(request)
    form = ActForm(_offered(patient, posted), acting.may_take_care(), request.POST)
    if not form.is_valid():
        return _page(request, patient, status=400, act_form=form, meanwhile=_since(patient, posted))
    chosen = _chosen(patient, form)
    try:
        words = _do(request, chosen, form.cleaned_data)
    except ValidationError as problem:
        form.add_error(None, problem)
    except (acting.NotDone, acting.NotSpoken) as problem:
        form.add_error(None, str(problem))
    except (acting.MovedOn, acting.AlreadyClosed) as problem:
        offered = _offered(patient, posted, anew=True)
        again = ActForm(offered, acting.may_take_care(), initial=_kept(offered, form))
        what = CLOSED_MEANWHILE % {"who": problem} if isinstance(problem, acting.AlreadyClosed) else MOVED_ON
        meanwhile = _since(patient, posted)
        return _page(request, patient, status=409, act_form=again, act_problem=what, meanwhile=meanwhile)
    if form.errors:
        return _page(request, patient, status=400, act_form=form)
    messages.success(request, words)
    unused = typed_acting.left_by_deed(request.POST)
    typed_acting.keep(request, patient, unused)
    left = unused or Alert.objects.on_the_table().filter(patient=patient).exists()
    return back_to(request, patient.pk) if left else redirect("alerts:triage")


@clinical_only
@require_POST
def log_call(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Write down a call with the patient."""
    patient = _patient(request, patient_id)
    posted = _posted(request, ABOUT)
    form = CallForm(_offered(patient, posted), request.POST)
    if not form.is_valid():
        return _page(request, patient, status=400, call_form=form)
    given = dict(form.cleaned_data)
    newest = given.pop("parts")
    alerts = list(Alert.objects.filter(patient=patient, pk__in=newest))
    try:
        acting.log_call(
            patient=patient, by=signed_in(request), at=timezone.now(), alerts=alerts, newest=newest, **given
        )
    except ValidationError as problem:
        form.add_error(None, problem)
        return _page(request, patient, status=400, call_form=form)
    except acting.MovedOn:
        offered = _offered(patient, posted, anew=True)
        again = CallForm(offered, initial=_kept(offered, form))
        meanwhile = _since(patient, posted)
        return _page(request, patient, status=409, call_form=again, call_problem=MOVED_ON, meanwhile=meanwhile)
    messages.success(request, gettext("The call is noted."))
    typed_acting.keep(request, patient, typed_acting.left_by_call(request.POST))
    return back_to(request, patient.pk)


def back_to(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Where an act was done: the patient's page, or the line of the list below which the picture stood open."""
    if request.POST.get("back") == "list":
        return redirect(f"{reverse('alerts:triage')}#act-{patient_id}")
    return redirect("alerts:bundle", patient_id)


def _do(request: HttpRequest, alerts: Sequence[Alert], data: Mapping[str, Any]) -> str:
    """Carry out what was asked; what the page says then."""
    person, at, newest = signed_in(request), timezone.now(), data["parts"]
    count = len(alerts)
    words = {"words": data["words"]}
    match data["do"]:
        case "close":
            acting.close_each(outcomes=data["outcomes"], by=person, at=at, newest=newest, **words)
            return gettext("Closed: %(titles)s.") % {"titles": ", ".join(title_of(alert) for alert in alerts)}
        case "aside":
            acting.set_aside(alerts=alerts, by=person, at=at, newest=newest, until=data["until"], **words)
            return ngettext(
                "Set aside until %(until)s: %(count)s alert. Until then the list leaves it out.",
                "Set aside until %(until)s: %(count)s alerts. Until then the list leaves them out.",
                count,
            ) % {"until": short_day(data["until"]), "count": count}
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


def _posted(request: HttpRequest, name: str = "parts") -> dict[int, int]:
    """The step that the page had of each alert it sent: a form with a fault keeps what its reader had seen."""
    pairs = (PART.fullmatch(part) for part in request.POST.getlist(name))
    return {int(pair[1]): int(pair[2]) for pair in pairs if pair}


def _offered(patient: Patient, posted: Mapping[int, int], *, anew: bool = False) -> list[OfferedAlert]:
    """What is open, and what the page sent was about though somebody has closed it meanwhile.

    anew: with the steps as they stand now, not as the page had them.
    """
    rows = Alert.objects.filter(patient=patient)
    shown = in_order(ShownAlert(alert) for alert in rows.open().for_page())
    shown += [ShownAlert(alert) for alert in rows.closed().filter(pk__in=posted).for_page()]
    return [_offer(one, None if anew else posted.get(one.alert.pk)) for one in shown]


def _offer(one: ShownAlert, step: int | None = None) -> OfferedAlert:
    """step: that the page had of it, None for the newest."""
    part = one.part if step is None else f"{one.alert.pk}-{step}"
    return OfferedAlert(part, title_of(one.alert), _why_not_closed(one.alert))


def _why_not_closed(alert: Alert) -> str:
    if not alert.is_open:
        return gettext("closed by %(person)s") % {"person": alert.closed_by}
    return gettext("over when it is done") if acting.to_be_done(alert) else ""


def _since(patient: Patient, posted: Mapping[int, int]) -> list[AlertStep]:
    """What happened to these alerts of the patient after the steps that the page had, newest first."""
    own = Alert.objects.filter(patient=patient, pk__in=posted).values_list("pk", flat=True)
    return acting.steps_since({pk: posted[pk] for pk in own})[::-1]


def _chosen(patient: Patient, form: ActForm) -> list[Alert]:
    return list(Alert.objects.filter(patient=patient, pk__in=form.cleaned_data["parts"]).order_by("pk"))


def _kept(offered: Iterable[OfferedAlert], form: forms.Form) -> dict[str, Any]:
    """What was typed and chosen, with the steps as they stand now."""
    chosen = form.cleaned_data["parts"]
    return {**form.cleaned_data, "parts": [each.part for each in offered if each.key in chosen]}


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


def _page(request: HttpRequest, patient: Patient, *, status: int = 200, **filled: Any) -> HttpResponse:
    note_reading(request, patient.pk)
    return render(request, "alerts/bundle.html", _context(request, patient) | filled, status=status)


def _context(request: HttpRequest, patient: Patient) -> dict[str, Any]:
    context = _story(request, patient)
    offered = [_offer(one) for one in context["open"]]
    now = timezone.now()
    typed = {
        form: typed_acting.as_initial(each, offered) for form, each in typed_acting.typed_of(request, patient).items()
    }
    context |= {
        "act_form": ActForm(offered, acting.may_take_care(), initial=typed.get(typed_acting.ACT)),
        "call_form": CallForm(offered, initial=typed.get(typed_acting.CALL)),
        "unsent": "" if offered else typed.get(typed_acting.ACT, {}).get("words", ""),
        "undo": acting.may_be_undone(by=signed_in(request), at=now),
        "mutes": named(mutes_of(patient).in_force(now)),
        "next": next_treatments([patient], at=now, zone=zone_of(patient)).get(patient.pk),
        "not_judged": not_judged_of(patient, now),
        "picture": picture_of_patient(patient, at=now),
    }
    return context
