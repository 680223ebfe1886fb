"""What is watched for one patient, rule by rule: its limit, what it cannot judge, and whether it is muted."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.limits.book import LimitInForce
from alerts.models import Mute, RecordJudgement
from alerts.models.choices import Family
from alerts.pages.forms import MuteForm, WhyForm
from alerts.rules import RULES
from alerts.rules.base import History, Rule
from alerts.services.history import SURROUNDINGS, history_of
from alerts.services.muting import LONGEST, MuteBook, NotMuted, lift, mute, mutes_of
from alerts.showing.alert_words import named, title_of_rule, why_not
from homedialysis.accounts.models import User
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from sessions.models import Patient
from sessions.services.prescribing import prescription_in_force
from sessions.services.reading_log import note_reading


@dataclass(frozen=True, slots=True)
class Watched:
    """One rule as it stands for one patient. unknown: why nothing can be said of the patient at all."""

    rule: Rule
    limits: list[LimitInForce]
    muted: Mute | None
    unknown: str

    @property
    def family(self) -> str:
        return str(Family(self.rule.family).label)


@staff_only
@require_http_methods(["GET", "POST"])
def mutes_of_patient(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponseBase:
    """The rules of one patient and the mutes among them: a page, or the part that the patient's page takes in."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    if request.method == "POST" and not getattr(request.user, "is_clinical", False):
        return clinical_only(_page)(request, patient)
    if request.headers.get("HX-Request") == "true":
        in_force = mutes_of(patient).in_force(timezone.now())
        return render(request, "alerts/_mutes.html", {"patient": patient, "mutes": named(in_force)})
    note_reading(request, patient.pk)
    return _page(request, patient)


@clinical_only
@require_POST
def lift_mute(request: HttpRequest, patient_id: uuid.UUID, rule: str) -> HttpResponse:
    """Hear a rule again."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    form = WhyForm(request.POST)
    if not form.is_valid():
        messages.warning(request, "Say why the rule is heard again.")
        return redirect("alerts:mutes-of-patient", patient.pk)
    assert isinstance(request.user, User)
    try:
        lift(patient=patient, rule=rule, why=form.cleaned_data["why"], by=request.user, at=timezone.now())
    except NotMuted:
        messages.warning(request, _("It is not muted any more: somebody was faster, or its time is over."))
    else:
        messages.success(
            request,
            _("Heard again: %(rule)s.") % {"rule": title_of_rule(rule)},
        )
    return redirect("alerts:mutes-of-patient", patient.pk)


def _page(request: HttpRequest, patient: Patient) -> HttpResponse:
    now = timezone.now()
    wanted = {"rule": request.GET.get("rule", "")}
    form = MuteForm(_choices(), request.POST or None, initial=wanted)
    if form.is_valid() and _was_muted(request, form, patient, now):
        return redirect("alerts:mutes-of-patient", patient.pk)
    book = mutes_of(patient)
    rows = _watched(history_of(patient, at=now, parts=frozenset({SURROUNDINGS})), book, now)
    context = {
        "patient": patient,
        "families": [(name, list(rules)) for name, rules in groupby(rows, lambda one: one.family)],
        "mutes": named(book.in_force(now)),
        "so_far": named(book.rows),
        "form": form,
        "lift_form": WhyForm(auto_id=False),
        "never": [rule.title for rule in RULES if not rule.may_be_muted],
        "longest": LONGEST.days,
        "judgement": _latest(patient),
    }
    return render(request, "alerts/mutes.html", context, status=400 if form.errors else 200)


def _choices() -> list[tuple[str, list[tuple[str, str]]]]:
    mutable = [rule for rule in RULES if rule.may_be_muted]
    by_family = groupby(mutable, lambda rule: str(Family(rule.family).label))
    return [(family, [(rule.key, str(rule.title)) for rule in rules]) for family, rules in by_family]


def _watched(history: History, book: MuteBook, now: datetime) -> list[Watched]:
    ordered = prescription_in_force(history.patient, now)
    return [
        Watched(
            rule,
            [history.limits.at(name, now, ordered) for name in rule.limits],
            book.at(rule.key, now),
            _unknown(rule, history) if rule.by_time else "",
        )
        for rule in RULES
    ]


def _unknown(rule: Rule, history: History) -> str:
    return "; ".join(why_not(rule, missed.why) for missed in rule.not_judged(history) if missed.night is None)


def _latest(patient: Patient) -> RecordJudgement | None:
    """What the rules could not judge of the newest record."""
    rows = RecordJudgement.objects.filter(record__patient=patient).select_related("record")
    return rows.order_by("-record__started_at").first()


def _was_muted(request: HttpRequest, form: MuteForm, patient: Patient, now: datetime) -> bool:
    assert isinstance(request.user, User)
    given: dict[str, Any] = form.cleaned_data
    try:
        row = mute(patient=patient, by=request.user, at=now, **given)
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    messages.success(
        request,
        _("Muted for %(patient)s: %(rule)s. It goes on being judged.")
        % {"patient": patient.name, "rule": title_of_rule(row.rule)},
    )
    return True
