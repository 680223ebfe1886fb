"""The rota: who is told of an urgent alert that nobody has looked at; who is away; and the unit's times."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.models import Absence, RotaTurn, Routine
from alerts.pages.forms_acting import AbsenceForm, RotaTurnForm, RoutineForm
from alerts.services.acting import may_take_care
from alerts.services.rota import order_at
from homedialysis.accounts.models import Unit, Weekday
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from homedialysis.accounts.services.dates import week
from homedialysis.accounts.services.opening import is_open, opens_next

FORMS = {"turn": "turn_form", "absence": "absence_form", "routine": "routine_form"}


@staff_only
@require_http_methods(["GET", "POST"])
def rota(request: HttpRequest) -> HttpResponseBase:
    """The week as it is told; nurse and nephrologist change it."""
    if request.method == "POST" and not getattr(request.user, "is_clinical", False):
        return clinical_only(rota)(request)
    made = _forms(request.POST if request.method == "POST" else None)
    wanted = made.get(FORMS.get(request.POST.get("what", ""), ""))
    if wanted is not None and wanted.is_valid():
        assert isinstance(wanted, forms.ModelForm)
        wanted.save()
        messages.success(request, _("Saved."))
        return redirect("alerts:rota")
    if wanted is not None:
        made = _forms(None) | {FORMS[request.POST["what"]]: wanted}
    return render(request, "alerts/rota.html", _context(request) | made, status=400 if wanted is not None else 200)


@clinical_only
@require_POST
def drop_turn(request: HttpRequest, turn_id: int) -> HttpResponse:
    """Take a turn off the rota."""
    get_object_or_404(RotaTurn.objects.visible_to(request.user), pk=turn_id).delete()
    messages.success(request, _("Taken off the rota."))
    return redirect("alerts:rota")


@clinical_only
@require_POST
def drop_absence(request: HttpRequest, absence_id: int) -> HttpResponse:
    """Somebody is there after all."""
    get_object_or_404(Absence.objects.visible_to(request.user), pk=absence_id).delete()
    messages.success(request, _("The absence is taken out."))
    return redirect("alerts:rota")


def _forms(data: Any) -> dict[str, forms.BaseForm]:
    people = may_take_care()
    what = data.get("what") if data is not None else ""
    routine = Routine.objects.current()
    return {
        "turn_form": RotaTurnForm(people, data if what == "turn" else None),
        "absence_form": AbsenceForm(people, data if what == "absence" else None),
        "routine_form": RoutineForm(data if what == "routine" else None, instance=routine),
    }


def _context(request: HttpRequest) -> dict[str, Any]:
    now, unit = timezone.now(), Unit.objects.current()
    turns = list(RotaTurn.objects.visible_to(request.user).select_related("person"))
    today = timezone.localdate(now)
    open_now = unit is not None and is_open(unit, now)
    moment = now if open_now or unit is None else opens_next(unit, now)
    return {
        "week": [(day.label, [turn for turn in turns if turn.weekday == day]) for day in map(Weekday, week())],
        "absences": Absence.objects.visible_to(request.user).filter(last_day__gte=today).select_related("person"),
        "routine": Routine.objects.current(),
        "open_now": open_now,
        "moment": moment,
        "order": order_at(unit, moment) if unit and moment else [],
    }
