"""The planner: schedules tried on a patient's model, compared, and left as a draft for the nephrologist."""

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

from dosing.pages.forms_planner import DraftForm, PlannerForm, asked_of, read_back, read_number, written
from dosing.pages.planner_solutes import beyond_urea
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.numbers.reasons import reason_words
from dosing.services.numbers.shares import percent
from dosing.services.planner import figures
from dosing.services.planner.candidates import Candidate, FewestHours, RateMap, Tried, least_flow, map_of, try_out
from dosing.services.planner.drafting import keep_draft, values_of
from dosing.services.planner.expecting import (
    DOSE_WANTED,
    Expectation,
    Wanted,
    expect,
    expectations,
    known_patient,
)
from dosing.services.planner.fluid_history import GAINS_COUNT_FOR, fluid_held_against
from dosing.services.planner.fluid_of_schedule import NightFluid
from dosing.services.planner.patterns import nights_words, pattern_of
from dosing.services.planner.solutes_of_schedule import (
    LEAST_WEEKLY_HOURS,
    SolutesNow,
    phosphate_map,
    solutes_now,
)
from dosing.services.planner.urea_model import UreaModel
from homedialysis.accounts.models import Weekday, signed_in
from homedialysis.accounts.pages.guards import clinical_only
from homedialysis.accounts.services.dates import place_in_week
from sessions.facts.choices import Analyte
from sessions.facts.local_number import decimals, plain
from sessions.models import Patient, Prescription
from sessions.pages.persons import shown_patient
from sessions.services.prescribing import prescription_in_force
from sessions.services.prescription_kept import kept_by, phosphate_asked, questions_of

MOST_COMPARED = 4
LEFT_OUT = (
    _("Bloods that change, weeks that are not steady, treatments missed, cut short or moved."),
    _("Recirculation in the access, clotting, a dialyser that clears less than its data sheet says."),
    _("Gains that change with the schedule: each night gains as the patient's nights did, by the time off treatment."),
    _("What people eat and which binders they take: beyond urea it decides more than the schedule does."),
    _("How the person sleeps, works and feels, and what the household can bear."),
)


@dataclass(frozen=True, slots=True)
class AsWanted:
    """Whether dose or fluid is as wanted: a word, a tone for its badge, and with what chance."""

    name: str
    word: str
    tone: str
    words: str


@dataclass(frozen=True, slots=True)
class ScheduleRow:
    """One schedule on the page: its name, its word in addresses, and what it leads to."""

    name: str
    word: str
    expected: Expectation
    nights: list[tuple[str, NightFluid]]
    figures: list[tuple[str, str]]
    why: str
    verdicts: list[AsWanted]


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
    weight = prescription.target_weight_kg
    known = known_patient(prescription, timezone.now(), weight_kg=weight)
    model, nights = known.model, known.nights
    wanted = Wanted(form.cleaned_data["dose"], form.cleaned_data["uf_rate"], weight)
    others = [each for word in words[: MOST_COMPARED - 1] if (each := read_back(word))]
    usual = in_force(prescription)
    schedules = _named(form.candidate(), usual, others)
    all_of_them = [each for _, each in schedules]
    chosen = all_of_them[0]
    tried = try_out(all_of_them, model)
    expected = expectations(all_of_them, tried, model, nights, wanted)
    before = solutes_now(prescription, usual, known.course, model, timezone.now()) if usual else None
    found = map_of(chosen, model, nights, weight_kg=weight, dose=wanted.dose, uf_rate=wanted.limit)
    rows = [_row(at, name, each, tried, expected[at]) for at, (name, each) in enumerate(schedules)]
    return {
        "model": model,
        "urea": spoken_of(Analyte.UREA),
        "checks": model.checks,
        "drifted": _drifted(model),
        "beyond": beyond_urea(schedules, before, tried, drifted=_drifted(model)),
        "fluid_checks": fluid_held_against(known.course),
        "fluid_days": GAINS_COUNT_FOR.days,
        "rows": rows,
        "lines": [
            {"label": parts[0][0], "texts": [text for _, text in parts]}
            for parts in zip(*(row.figures for row in rows), strict=True)
        ],
        "compared": [written(each) for each in others],
        "may_compare": len(others) < MOST_COMPARED - 1,
        **_draft_asks(prescription, values_of(chosen, prescription)),
        **_fewest(found, chosen, before),
        "least_flow": least_flow(chosen, model, dose=wanted.dose),
        "week": figures.week([name for name, _ in schedules], all_of_them, model),
        "dose_map": figures.heat_map(found, chosen, found.dose, expected[0].dose, good=expected[0].good),
        "rate_map": figures.heat_map(
            found, chosen, found.uf_rate, expected[0].fluid.worst.most_rate, good=expected[0].good
        ),
        "wanted": wanted,
    }


def _draft_asks(prescription: Prescription, values: dict[str, Any]) -> dict[str, Any]:
    """What a draft of the schedule asks for besides, and what it leaves as it is without asking."""
    asked = questions_of(prescription, values)
    form = DraftForm(initial={each.name: each.stays for each in asked}, prescription=prescription)
    return {
        "draft_asks": [(form[each.name], each.why) for each in asked],
        "phosphate_asked": phosphate_asked(prescription, values),
        "kept": [each for each in kept_by(prescription, values) if each.name not in form.initial],
    }


def _drifted(model: UreaModel) -> bool:
    return bool(model.checks) and model.checks[-1].drifted


def _fewest(found: RateMap, like: Candidate, before: SolutesNow | None) -> dict[str, Any]:
    """The fewest hours that are as wanted, and what bounds them: without a schedule of now no phosphate does."""
    phosphate = None if before is None else phosphate_map(like, before, found.hours)
    return {
        "least_hours": _least_hours(found.least_hours(LEAST_WEEKLY_HOURS, phosphate)),
        "bound_by_phosphate": before is not None,
        "least_weekly": plain(LEAST_WEEKLY_HOURS),
    }


def in_force(prescription: Prescription) -> Candidate | None:
    """The schedule of now; None where it has a number of treatments that no pattern has."""
    try:
        pattern = pattern_of(prescription.days_per_week, prescription.weekdays)
    except ValueError:
        return None
    flows = (prescription.qb_ml_min, prescription.qd_ml_min)
    return Candidate(pattern, prescription.minutes, *flows, prescription.dialyser)


def _named(chosen: Candidate, now: Candidate | None, others: Sequence[Candidate]) -> list[tuple[str, Candidate]]:
    """The schedules with their names: the one asked for, the one in force where it is another, those kept beside."""
    first = gettext("In force, as tried") if chosen == now else gettext("This schedule")
    beside = [(gettext("In force"), now)] if now and chosen != now else []
    lettered = [
        (gettext("Schedule %(letter)s") % {"letter": letter}, each) for letter, each in zip("BCD", others, strict=False)
    ]
    return [(first, chosen), *beside, *lettered]


def _least_hours(found: FewestHours | None) -> dict[str, Any] | None:
    if found is None:
        return None
    weekly = f"{found.nights * found.hours:.1f}"
    return {"nights": nights_words(found.nights), "each": _hours(found.hours), "weekly": weekly, "edge": found.at_edge}


def _hours(hours: float) -> str:
    minutes = round(hours * 60)
    return (
        gettext("%(hours)s h %(minutes)s min") % {"hours": minutes // 60, "minutes": f"{minutes % 60:02d}"}
        if minutes % 60
        else gettext("%(hours)s h") % {"hours": minutes // 60}
    )


def _row(at: int, name: str, candidate: Candidate, tried: Tried, expected: Expectation) -> ScheduleRow:
    shown = [
        *_of_dose(at, tried, expected),
        *_of_fluid(expected),
        (gettext("Nights"), nights_words(candidate.pattern.per_week) + _days(candidate)),
        (gettext("Each"), _hours(candidate.minutes / 60)),
        (
            gettext("Qb, Qd"),
            gettext("%(qb)s, %(qd)s mL/min") % {"qb": plain(candidate.qb_ml_min), "qd": plain(candidate.qd_ml_min)},
        ),
        (gettext("Dialyser"), candidate.dialyser.name),
        (gettext("Urea before, highest"), _urea_words(tried.pre[at])),
        (gettext("Urea after, lowest"), _urea_words(tried.post[at])),
        (gettext("Hours a week"), decimals(candidate.weekly_hours, 1)),
        (gettext("Blood processed a week"), f"{candidate.blood_l_week:.0f} L"),
        (gettext("Dialysate a week"), f"{candidate.dialysate_l_week:.0f} L"),
    ]
    return ScheduleRow(
        name=name,
        word=written(candidate),
        expected=expected,
        nights=[(_day_name(candidate, night.day), night) for night in expected.fluid.nights],
        figures=shown,
        why=reason_words(expected.why),
        verdicts=[_dose_verdict(expected), _fluid_verdict(expected)],
    )


def _urea_words(mmol_l: float) -> str:
    """Urea of plasma in the unit of the reader."""
    urea = spoken_of(Analyte.UREA)
    return f"{decimals(urea.from_canonical(mmol_l), 1)} {urea.unit}"


def _of_dose(at: int, tried: Tried, expected: Expectation) -> list[tuple[str, str]]:
    ends = {name: decimals(value, 2) for name, value in (("low", expected.dose_low), ("high", expected.dose_high))}
    dose = decimals(expected.dose, 2)
    if expected.why is None:
        dose = gettext("%(value)s (%(low)s to %(high)s)") % {"value": dose, **ends}
    return [
        (gettext("Weekly standard Kt/V, and its range"), dose),
        (gettext("of it by the kidney, by its share of the urea"), decimals(tried.of_kidney[at], 2)),
    ]


def _of_fluid(expected: Expectation) -> list[tuple[str, str]]:
    """Of the night that has most to take off, and how many of all nights pass the limit."""
    worst = expected.fluid.worst
    litres = {"usual": decimals(worst.usual_l, 2), "most": decimals(worst.most_l, 2)}
    rates = {"usual": decimals(worst.usual_rate, 1), "most": decimals(worst.most_rate, 1)}
    return [
        (gettext("Fluid, hardest night"), gettext("%(usual)s L, nine in ten under %(most)s L") % litres),
        (gettext("UF rate, hardest night"), gettext("%(usual)s, nine in ten under %(most)s mL/kg/h") % rates),
        (gettext("Of 100 nights, above the limit"), percent(expected.fluid.over)),
    ]


def _dose_verdict(expected: Expectation) -> AsWanted:
    name = gettext("Dose")
    if expected.why is not None:
        return AsWanted(name, gettext("unknown"), "", "")
    chance = {"dose": plain(expected.wanted.dose), "chance": percent(expected.chance)}
    words = gettext("at least %(dose)s with %(chance)s chances in 100") % chance
    return _verdict(name, expected.dose_good, words, sure=expected.fitted)


def _fluid_verdict(expected: Expectation) -> AsWanted:
    worst = expected.fluid.worst
    parts = {"over": percent(worst.over), "limit": plain(expected.wanted.limit)}
    words = gettext("of the hardest nights %(over)s in 100 above %(limit)s mL/kg/h") % parts
    return _verdict(gettext("Fluid"), expected.fluid_good, words, sure=expected.fluid_known)


def _verdict(name: str, good: bool, words: str, *, sure: bool) -> AsWanted:
    if not good:
        return AsWanted(name, gettext("no"), "tone-this-week", words)
    if not sure:
        return AsWanted(
            name, gettext("perhaps"), "tone-unknown", gettext("%(words)s, if it is as assumed") % {"words": words}
        )
    return AsWanted(name, gettext("yes"), "tone-done", words)


def _day_name(candidate: Candidate, day: int) -> str:
    return gettext("every treatment") if candidate.pattern.cycle_days != 7 else str(Weekday(day).label)


def _days(candidate: Candidate) -> str:
    if candidate.pattern.cycle_days != 7 or candidate.pattern.per_week == 7:
        return ""
    return ": " + ", ".join(str(Weekday(day).label)[:2] for day in sorted(candidate.pattern.days, key=place_in_week))


@clinical_only
@require_GET
def expected(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What is expected of the schedule, limit and target weight that the address names: for whoever signs them."""
    person = shown_patient(request, patient_id)
    now = timezone.now()
    prescription = prescription_in_force(person, now)
    form = PlannerForm({"dose": DOSE_WANTED} | request.GET.dict() | {"weekdays": request.GET.getlist("weekdays")})
    weight = read_number(request.GET.get("weight", ""))
    context: dict[str, Any] = {"patient": person, "first": prescription is None}
    if prescription is not None and weight is not None and form.is_valid():
        known = known_patient(prescription, now, weight_kg=weight)
        wanted = Wanted(form.cleaned_data["dose"], form.cleaned_data["uf_rate"], weight)
        context |= {"expected": expect(form.candidate(), known.model, known.nights, wanted).as_json()}
    part = bool(request.headers.get("HX-Request"))
    return render(request, "dosing/_expected.html" if part else "dosing/expected.html", context)


@clinical_only
@require_POST
def draft(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """Keep a schedule as a draft of the next prescription, with what the model expects of it."""
    person = shown_patient(request, patient_id)
    prescription = prescription_in_force(person, timezone.now())
    form = DraftForm(request.POST, prescription=prescription)
    if not form.is_valid() or prescription is None:
        said = list(dict.fromkeys(str(error) for errors in form.errors.values() for error in errors))
        messages.error(request, " ".join(said) or gettext("No prescription is in force."))
        return redirect("dosing:planner", person.pk)
    keep_draft(**form.cleaned_data, prescription=prescription, by=signed_in(request), at=timezone.now())
    messages.success(request, gettext("Kept as a draft. A nephrologist can sign it on the prescription's page."))
    return redirect("treatments:prescribe", person.pk)
