"""Pages of what surrounds the treatment, with the judgement of water by the standard that the unit works by.

Limits that the unit sets for its alerts live in `alerts`; the marks here are those of the standard itself.
"""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from dosing.science.water import Grade
from dosing.services.results.water import JudgedTest, mark_of, standard_in_use
from homedialysis.accounts.pages.guards import staff_only
from sessions.facts.choices_surroundings import MACHINE_OF_TASK, DueKind, MachineKind
from sessions.models import Interval, Machine, Patient, SupplyDelivery, TaskDone, Training, WaterTest
from sessions.pages.persons import shown_patient
from sessions.services.due import due_of
from sessions.services.reading_log import note_reading
from sessions.services.stock import stock_of
from sessions.services.surroundings_facts import SurroundingsFacts, facts_of, facts_of_many

PATIENTS_A_PAGE = 50
TESTS_A_PAGE = 20
LAST_TASKS = 12
WHOLE_YEAR = 366


@staff_only
@require_GET
def patient(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """One patient's water, supplies, machines, training and due days."""
    person = shown_patient(request, patient_id)
    facts = facts_of(person, timezone.localdate())
    tests = WaterTest.objects.standing().filter(patient=person).select_related("entered_by")
    page = Paginator(tests, TESTS_A_PAGE).get_page(request.GET.get("page"))
    standard = standard_in_use()
    own: Any = Interval.objects.filter(patient=person)
    context = {
        "patient": person,
        "held": facts.held,
        "released": person.water_releases.select_related("released_by").first(),
        "due": due_of(facts),
        "later": [each for each in due_of(facts, ahead=WHOLE_YEAR) if each.due_on > facts.today + timedelta(days=7)],
        "page": page,
        "tests": [(test, mark_of(test, standard)) for test in page],
        "edition": standard.label,
        "stock": stock_of(facts),
        "per_week": facts.per_week,
        "deliveries": SupplyDelivery.objects.standing().filter(patient=person, arrived_at=None).select_related("item"),
        "machines": Machine.objects.filter(patient=person).order_by("-until", "kind"),
        "intervals": _intervals(facts, {row.kind: row for row in own}),
        "done": TaskDone.objects.standing().filter(patient=person).select_related("entered_by")[:LAST_TASKS],
        "trainings": Training.objects.standing().filter(patient=person).select_related("partner", "patient"),
        "panels": facts.panels,
        "today": facts.today,
    }
    return render(request, "dosing/surroundings.html", context)


def _intervals(facts: SurroundingsFacts, own: dict[str, Interval]) -> list[dict[str, Any]]:
    """How often each thing comes round here: those whose machine is at home, water and counting."""
    machine_of = {str(task): kind for task, kind in MACHINE_OF_TASK.items()}
    machine_of |= {DueKind.BACTERIA: MachineKind.WATER, DueKind.ENDOTOXIN: MachineKind.WATER}
    there = [kind for kind in DueKind if machine_of.get(kind) in (None, *facts.machines)]
    return [{"kind": kind, "every": facts.intervals[kind], "row": own.get(kind)} for kind in there]


@staff_only
@require_GET
def everybody(request: HttpRequest) -> HttpResponse:
    """What is overdue or short, and whose newest water test is over a limit, patient by patient."""
    people = Patient.objects.visible_to(request.user).in_programme().order_by("name")
    page = Paginator(people, PATIENTS_A_PAGE).get_page(request.GET.get("page"))
    note_reading(request, *(person.pk for person in page))
    facts = facts_of_many(list(page), timezone.localdate())
    standard = standard_in_use()
    rows = [_row(each, [mark_of(test, standard) for test in _told(each)]) for each in facts]
    rows.sort(key=_trouble)
    context = {"rows": rows, "page": page, "edition": standard.label}
    return render(request, "dosing/surroundings_all.html", context)


def _told(facts: SurroundingsFacts) -> list[WaterTest]:
    """The newest of each test, and besides what is beyond at a place: a clean sample elsewhere clears nothing."""
    told = {test.pk: test for test in (*facts.water.values(), *(test for test, _grade in facts.beyond))}
    return list(told.values())


def _trouble(row: dict[str, Any]) -> tuple[bool, bool, bool]:
    """Of a page, homes whose water is held back first, then results beyond or unknown, then what is overdue."""
    return (not row["held"], not row["water"], not row["overdue"])


def _row(facts: SurroundingsFacts, marks: list[JudgedTest]) -> dict[str, Any]:
    due = due_of(facts)
    return {
        "patient": facts.patient,
        "overdue": [each for each in due if each.overdue],
        "soon": [each for each in due if not each.overdue],
        "short": [each for each in stock_of(facts) if each.short],
        "held": facts.held,
        "water": [mark for mark in marks if mark.grade not in (0, Grade.FAIL)],
        "no_water": not marks,
        "no_machine": MachineKind.DIALYSIS not in facts.machines,
        "no_plant": MachineKind.WATER not in facts.machines,
    }
