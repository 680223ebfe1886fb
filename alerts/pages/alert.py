"""One alert: its evidence, its steps, and what the reader does about it."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_POST, require_safe

from alerts.models import Alert, RecordJudgement
from alerts.pages.bundle import CLOSED_MEANWHILE, MOVED_ON, back_to
from alerts.pages.forms import CloseForm, NoteForm
from alerts.services import acting
from alerts.services.muting import mutes_of
from alerts.showing.alert_words import name_of
from alerts.showing.presenting import ShownAlert, of_paper
from alerts.showing.sparklines import courses_of, drawn
from homedialysis.accounts.models import User
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from sessions.models import Patient, TreatmentRecord
from sessions.models.local_time import zone_of
from sessions.services.reading_log import note_reading


@staff_only
@require_safe
def detail(request: HttpRequest, alert_id: int) -> HttpResponse:
    """Everything about one alert."""
    return _page(request, alert_id)


@clinical_only
@require_POST
def seen(request: HttpRequest, alert_id: int) -> HttpResponse:
    """The reader has looked at it."""
    alert = _alert(request, alert_id)
    try:
        acting.see(alert=alert, by=_person(request), at=timezone.now())
    except acting.AlreadyClosed as problem:
        messages.warning(request, str(problem))
    return redirect("alerts:detail", alert.pk)


@clinical_only
@require_POST
def note(request: HttpRequest, alert_id: int) -> HttpResponse:
    """Words beside the alert, open or closed."""
    alert = _alert(request, alert_id)
    form = NoteForm(request.POST)
    if not form.is_valid():
        return _page(request, alert_id, status=400, note_form=form)
    newest = _newest(alert, form.cleaned_data["newest_step"])
    try:
        acting.note(
            alerts=[alert], by=_person(request), words=form.cleaned_data["words"], at=timezone.now(), newest=newest
        )
    except acting.MovedOn as problem:
        again = NoteForm(initial={"words": form.cleaned_data["words"]})
        return _page(request, alert_id, status=409, note_form=again, note_problem=MOVED_ON, meanwhile=problem.steps)
    messages.success(request, gettext("Noted."))
    return redirect("alerts:detail", alert.pk)


@clinical_only
@require_POST
def close(request: HttpRequest, alert_id: int) -> HttpResponse:
    """Close it with what was done, unless somebody else has just acted: then their step is shown first."""
    alert = _alert(request, alert_id)
    form = CloseForm(request.POST)
    if not form.is_valid():
        return _page(request, alert_id, status=400, close_form=form)
    try:
        given = dict(form.cleaned_data)
        newest = _newest(alert, given.pop("newest_step"))
        acting.close(alerts=[alert], by=_person(request), at=timezone.now(), newest=newest, **given)
    except acting.NotDone as problem:
        form.add_error(None, str(problem))
        return _page(request, alert_id, status=400, close_form=form)
    except acting.MovedOn as problem:
        again = CloseForm(initial={name: form.cleaned_data[name] for name in ("outcome", "words")})
        return _page(request, alert_id, status=409, close_form=again, close_problem=MOVED_ON, meanwhile=problem.steps)
    except acting.AlreadyClosed as problem:
        kept = NoteForm(initial={"words": form.cleaned_data["words"]})
        words = CLOSED_MEANWHILE % {"who": problem}
        meanwhile = acting.steps_since(newest or {alert.pk: 0})
        return _page(request, alert_id, status=409, note_form=kept, note_problem=words, meanwhile=meanwhile)
    messages.success(request, gettext("Closed: %(alert)s.") % {"alert": name_of(alert)})
    return redirect("alerts:triage")


@clinical_only
@require_POST
def reopen(request: HttpRequest, alert_id: int) -> HttpResponse:
    """Open again what was closed: at once for whoever closed it just now, else with a reason."""
    alert = _alert(request, alert_id)
    try:
        acting.reopen(alert=alert, by=_person(request), at=timezone.now(), words=request.POST.get("words", "")[:4000])
    except acting.WordsMissing:
        return _page(request, alert_id, status=400, reopen_problem=gettext("Say why it is opened again."))
    except acting.OpenAlready as problem:
        messages.warning(request, str(problem))
        return redirect("alerts:bundle", alert.patient_id)
    messages.success(request, gettext("Open again: %(alert)s.") % {"alert": name_of(alert)})
    return back_to(request, alert.patient_id)


@clinical_only
@require_POST
def take_up(request: HttpRequest, alert_id: int) -> HttpResponse:
    """Put what was set aside back on the list before its day."""
    alert = _alert(request, alert_id)
    acting.take_up(alert=alert, by=_person(request), at=timezone.now())
    return redirect("alerts:bundle", alert.patient_id)


@staff_only
@require_safe
def of_patient(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """A patient's alerts, open ones first: a page, or the part of it that the patient's page takes in."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    timezone.activate(zone_of(patient))
    alerts = Alert.objects.visible_to(request.user).filter(patient=patient).for_page()
    context = {
        "patient": patient,
        "open": [ShownAlert(alert) for alert in alerts.open()],
        "closed": alerts.closed().order_by("-closed_at")[: 5 if _is_part(request) else 100],
    }
    if _is_part(request):
        return render(request, "alerts/_of_patient.html", context)
    note_reading(request, patient.pk)
    return render(request, "alerts/of_patient.html", context)


@staff_only
@require_safe
def of_record(request: HttpRequest, record_id: uuid.UUID) -> HttpResponse:
    """The alerts that rest on one record, and what could not be judged of it: a page, or a part."""
    record = get_object_or_404(TreatmentRecord.objects.visible_to(request.user), pk=record_id)
    timezone.activate(zone_of(record.patient))
    alerts = Alert.objects.visible_to(request.user).filter(patient=record.patient_id)
    context = {
        "record": record,
        "alerts": alerts.filter(evidence__contains=[{"record": str(record.pk)}]),
        "judgement": RecordJudgement.objects.filter(record=record).first(),
    }
    if _is_part(request):
        return render(request, "alerts/_of_record.html", context)
    note_reading(request, record.patient_id)
    return render(request, "alerts/of_record.html", context)


def _is_part(request: HttpRequest) -> bool:
    return request.headers.get("HX-Request") == "true"


def _person(request: HttpRequest) -> User:
    """Who acts; the door lets nobody in who has not signed in."""
    assert isinstance(request.user, User)
    return request.user


def _alert(request: HttpRequest, alert_id: int) -> Alert:
    return get_object_or_404(Alert.objects.visible_to(request.user), pk=alert_id)


def _page(request: HttpRequest, alert_id: int, *, status: int = 200, **filled: Any) -> HttpResponse:
    alert = get_object_or_404(Alert.objects.visible_to(request.user).for_page(), pk=alert_id)
    note_reading(request, alert.patient_id)
    shown = ShownAlert(alert, drawn(alert, courses_of([alert], at=timezone.now())), paper=of_paper([alert]))
    context: dict[str, Any] = {
        "shown": shown,
        "alert": alert,
        "not_judged": _not_judged(shown),
        "note_form": NoteForm(),
        "close_form": CloseForm(),
        "muted": mutes_of(alert.patient).at(alert.rule, timezone.now()),
        "to_be_done": acting.to_be_done(alert),
        "may_undo": acting.may_undo(alert, by=_person(request), at=timezone.now()),
    }
    return render(request, "alerts/detail.html", context | filled, status=status)


def _newest(alert: Alert, step: int | None) -> dict[int, int] | None:
    """The step that the person saw last, where the page said so."""
    return None if step is None else {alert.pk: step}


def _not_judged(shown: ShownAlert) -> list[RecordJudgement]:
    """What could not be judged of the records this alert rests on."""
    records = {line.record for line in shown.lines if line.record}
    rows = RecordJudgement.objects.filter(record__in=records).exclude(not_judged=[]).select_related("record")
    return list(rows.order_by("-record__started_at"))
