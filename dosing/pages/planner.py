"""The planner: schedules tried on a patient's urea model, compared, and left as a draft for the nephrologist."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from dosing.pages.forms_planner import PlannerForm, asked_of, read_back, written
from dosing.services.numbers.reasons import reason_words
from dosing.services.planner import figures
from dosing.services.planner.candidates import Candidate, Tried, least_flow, map_of, try_out
from dosing.services.planner.drafting import keep_draft
from dosing.services.planner.patterns import nights_words
from dosing.services.planner.urea_model import habits_of, held_against, urea_model
from homedialysis.accounts.models import Weekday, signed_in
from homedialysis.accounts.pages.guards import clinical_only
from sessions.facts.local_number import decimals, plain
from sessions.models import Patient, Prescription
from sessions.pages.persons import shown_patient
from sessions.services.prescribing import prescription_in_force

MOST_COMPARED = 4
LEFT_OUT = (
    _("Bloods that change, weeks that are not steady, treatments missed, cut short or moved."),
    _("Recirculation in the access, clotting, a dialyser that clears less than its data sheet says."),
    _("Potassium, phosphate and acid: no published model of them is carried here, so no number is given."),
    _("How the person sleeps, works and feels, and what the household can bear."),
)


@dataclass(frozen=True, slots=True)
class ScheduleRow:
    """One schedule on the page: its name, its word in addresses, and what it leads to."""

    name: str
    word: str
    candidate: Candidate
    figures: list[tuple[str, str]]
    why: str
    good: bool
    short_of: str
    directions: str


@clinical_only
@require_GET
def planner(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The form, and what the schedules lead to; htmx asks for the results alone."""
    person = shown_patient(request, patient_id)
    now = timezone.now()
    prescription = prescription_in_force(person, now)
    if prescription is None:
        return render(request, "dosing/planner_nothing.html", {"patient": person})
    form = PlannerForm(request.GET if "minutes" in request.GET else asked_of(prescription))
    context: dict[str, Any] = {"patient": person, "form": form, "prescription": prescription, "left_out": LEFT_OUT}
    if form.is_valid():
        context |= results(person, prescription, form, request.GET.getlist("with"))
        alone = request.GET.copy()
        alone.pop("with", None)
        context |= {"query": request.GET.urlencode() or _first_query(form), "query_alone": alone.urlencode()}
    part = request.headers.get("HX-Request") and not request.headers.get("HX-History-Restore-Request")
    return render(request, "dosing/_planner_results.html" if part else "dosing/planner.html", context)


def _first_query(form: PlannerForm) -> str:
    """The address of what is shown before anything was changed."""
    data = form.cleaned_data
    plain = {name: data[name] for name in ("nights", "weekdays", "minutes", "qb", "qd", "dose", "uf_rate")}
    return urlencode(plain | {"dialyser": data["dialyser"].pk}, doseq=True)


def results(person: Patient, prescription: Prescription, form: PlannerForm, words: Sequence[str]) -> dict[str, Any]:
    """Everything the results show, of one model: the schedules, the map, the answers and the figures."""
    habits = habits_of(person, prescription, timezone.now())
    model = urea_model(habits)
    dose, limit = form.cleaned_data["dose"], form.cleaned_data["uf_rate"]
    weight = prescription.target_weight_kg
    chosen = form.candidate()
    others = [each for word in words[: MOST_COMPARED - 1] if (each := read_back(word))]
    all_of_them = [chosen, *others]
    names = [
        gettext("This schedule"),
        *(gettext("Schedule %(letter)s") % {"letter": letter} for letter in "BCD"[: len(others)]),
    ]
    tried = try_out(all_of_them, model, weight_kg=weight)
    spread = [try_out(all_of_them, model, weight_kg=weight, volumes=side) for side in (1, -1)] if model.fitted else []
    found = map_of(chosen, model, weight_kg=weight, dose=dose, uf_rate=limit)
    rows = [
        _row(at, name, each, tried, spread, dose=dose, limit=limit, now=all_of_them[0])
        for at, (name, each) in enumerate(zip(names, all_of_them, strict=True))
    ]
    checks = held_against(habits)
    return {
        "model": model,
        "checks": checks,
        "drifted": bool(checks) and checks[-1].drifted,
        "rows": rows,
        "lines": [
            {"label": parts[0][0], "texts": [text for _, text in parts]}
            for parts in zip(*(row.figures for row in rows), strict=True)
        ],
        "compared": [written(each) for each in others],
        "may_compare": len(others) < MOST_COMPARED - 1,
        "least_hours": _least_hours(found.least_hours()),
        "least_flow": least_flow(chosen, model, weight_kg=weight, dose=dose),
        "week": figures.week(names, all_of_them, model),
        "dose_map": figures.heat_map(found, chosen, found.dose),
        "rate_map": figures.heat_map(found, chosen, found.uf_rate),
        "dose": dose,
        "limit": limit,
    }


def _least_hours(found: tuple[float, float] | None) -> dict[str, Any] | None:
    if found is None:
        return None
    nights, hours = found
    return {"nights": nights_words(nights), "each": _hours(hours), "weekly": f"{nights * hours:.1f}"}


def _hours(hours: float) -> str:
    minutes = round(hours * 60)
    return (
        gettext("%(hours)s h %(minutes)s min") % {"hours": minutes // 60, "minutes": f"{minutes % 60:02d}"}
        if minutes % 60
        else gettext("%(hours)s h") % {"hours": minutes // 60}
    )


def _row(
    at: int,
    name: str,
    candidate: Candidate,
    tried: Tried,
    spread: list[Tried],
    *,
    dose: float,
    limit: float,
    now: Candidate,
) -> ScheduleRow:
    reached, rate = float(tried.dose[at]), float(tried.uf_rate[at])
    between = sorted(float(each.dose[at]) for each in spread)
    dose_words = decimals(reached, 2)
    if between and between[0] == between[0]:
        ends = {"value": dose_words, "low": decimals(between[0], 2), "high": decimals(between[1], 2)}
        dose_words = gettext("%(value)s (%(low)s to %(high)s)") % ends
    shown = [
        (gettext("Nights"), nights_words(candidate.pattern.per_week) + _days(candidate)),
        (gettext("Each"), _hours(candidate.minutes / 60)),
        (
            gettext("Qb, Qd"),
            gettext("%(qb)s, %(qd)s mL/min") % {"qb": plain(candidate.qb_ml_min), "qd": plain(candidate.qd_ml_min)},
        ),
        (gettext("Dialyser"), candidate.dialyser.name),
        (gettext("Weekly standard Kt/V"), dose_words),
        (gettext("of it by the kidney"), decimals(tried.of_kidney[at], 2)),
        (gettext("Urea before, highest"), f"{decimals(tried.pre[at], 1)} mmol/L"),
        (gettext("Urea after, lowest"), f"{decimals(tried.post[at], 1)} mmol/L"),
        (gettext("Fluid a night, most"), f"{decimals(tried.uf_l[at], 2)} L"),
        (gettext("UF rate, highest"), f"{decimals(rate, 1)} mL/kg/h"),
        (gettext("Hours a week"), decimals(candidate.weekly_hours, 1)),
        (gettext("Blood processed a week"), f"{candidate.blood_l_week:.0f} L"),
        (gettext("Dialysate a week"), f"{candidate.dialysate_l_week:.0f} L"),
    ]
    return ScheduleRow(
        name=name,
        word=written(candidate),
        candidate=candidate,
        figures=shown,
        why=reason_words(tried.why[at]),
        good=reached >= dose and rate <= limit,
        short_of=_short_of(reached, rate, dose=dose, limit=limit),
        directions="" if at == 0 else _directions(now, candidate),
    )


def _short_of(reached: float, rate: float, *, dose: float, limit: float) -> str:
    """What is not as wanted, in words; to two places, so that a near miss reads as one."""
    faults = []
    if reached < dose:
        parts = {"reached": decimals(reached, 2), "dose": plain(dose)}
        faults.append(gettext("dose %(reached)s is below %(dose)s") % parts)
    if rate > limit:
        faults.append(
            gettext("UF rate %(rate)s is above %(limit)s") % {"rate": decimals(rate, 2), "limit": plain(limit)}
        )
    return "; ".join(faults)


def _days(candidate: Candidate) -> str:
    if candidate.pattern.cycle_days != 7 or candidate.pattern.per_week == 7:
        return ""
    return ": " + ", ".join(str(Weekday(day).label)[:2] for day in candidate.pattern.days)


def _directions(first: Candidate, other: Candidate) -> str:
    """Which way phosphate and potassium move, where hours and flows all point one way; else that it is unclear."""
    changes = (
        other.weekly_hours - first.weekly_hours,
        other.blood_l_week - first.blood_l_week,
        other.dialysate_l_week - first.dialysate_l_week,
    )
    if max(changes) <= 0 > min(changes):
        return gettext("Less potassium and phosphate removed than by this schedule.")
    if min(changes) >= 0 < max(changes):
        return gettext("More potassium and phosphate removed than by this schedule.")
    return gettext("Whether more or less potassium and phosphate is removed is not clear from hours and flows alone.")


@clinical_only
@require_POST
def draft(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Keep a schedule as a draft of the next prescription, with what the model expects of it."""
    person = shown_patient(request, patient_id)
    candidate = read_back(request.POST.get("schedule", ""))
    prescription = prescription_in_force(person, timezone.now())
    if candidate is None or prescription is None:
        messages.error(request, gettext("That schedule cannot be kept: it is outside the planner's limits."))
        return redirect("dosing:planner", person.pk)
    words = request.POST.get("words", "")
    keep_draft(candidate=candidate, prescription=prescription, words=words, by=signed_in(request), at=timezone.now())
    messages.success(request, gettext("Kept as a draft. A nephrologist can sign it on the prescription's page."))
    return redirect("treatments:prescribe", person.pk)
