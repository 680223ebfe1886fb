"""Pages on which the unit writes its own texts for the bedside, and the training nurse adapts a run sheet."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only, staff_only
from sessions.facts.choices import Technique, TextKind
from sessions.models import Patient, UnitText
from sessions.models.local_time import zone_of
from sessions.pages.forms_texts import SaveForm
from sessions.pages.list_rows import SPECS, ListRows
from sessions.services.reading_log import note_reading
from sessions.services.text_signing import parts, unsigned_parts
from sessions.services.unit_texts import (
    DEFAULTS,
    Content,
    StandingText,
    TextMovedOn,
    TextPlace,
    Texts,
    technique_of,
    write_text,
)
from sessions.texts import run_sheets

TITLES = {
    TextKind.CHECKLIST: _("Checks around each treatment"),
    TextKind.RUN_SHEET: _("Run sheet"),
    TextKind.CARDS: _("Emergency cards"),
    TextKind.FIRST_AID: _("First aid for each event"),
    TextKind.FLOWS: _("Trouble, step by step"),
}
CONNECTIONS = {
    run_sheets.BOTH_NEEDLES: _("both lines at once"),
    run_sheets.BLEED_OUT: _("venous line after the saline has run out"),
}


def _title(place: TextPlace) -> str:
    technique = f", {Technique(place.technique).label}" if place.technique else ""
    return f"{TITLES[TextKind(place.kind)]}{technique}"


def _address(place: TextPlace) -> str:
    if place.patient:
        return reverse("treatments:patient-run-sheet", args=[place.patient.pk])
    if place.technique:
        return reverse("treatments:run-sheet", args=[place.technique])
    return reverse("treatments:unit-text", args=[place.kind])


@staff_only
@require_GET
def unit_texts(request: HttpRequest) -> HttpResponse:
    """Which version of each text holds, and which patients have a run sheet of their own."""
    texts = Texts()
    places = [
        TextPlace(TextKind.CHECKLIST),
        *(TextPlace(TextKind.RUN_SHEET, technique) for technique in Technique.values),
        TextPlace(TextKind.CARDS),
        TextPlace(TextKind.FIRST_AID),
        TextPlace(TextKind.FLOWS),
    ]
    rows = [(_title(place), _address(place), texts.standing(place)) for place in places]
    unsigned = len(unsigned_parts(texts, timezone.localdate()))
    context = {"rows": rows, "adapted": _adapted(request), "unsigned": unsigned, "parts": len(parts(texts))}
    return render(request, "sessions/lists/index.html", context)


def _adapted(request: HttpRequest) -> list[UnitText]:
    visible = Patient.objects.visible_to(request.user).in_programme()
    own = UnitText.objects.filter(kind=TextKind.RUN_SHEET, patient__in=visible)
    newest = own.order_by("patient_id", "technique", "-version").distinct("patient_id", "technique")
    held = [row for row in newest.select_related("patient", "made_by") if row.content is not None]
    note_reading(request, *(row.patient_id for row in held if row.patient_id))
    return held


@staff_only
@require_http_methods(["GET", "POST"])
def unit_text(request: HttpRequest, kind: str) -> HttpResponse:
    """The unit's checks, emergency cards or first-aid words."""
    if kind not in TITLES or kind == TextKind.RUN_SHEET:
        raise Http404
    return _work_on(request, TextPlace(kind))


@staff_only
@require_http_methods(["GET", "POST"])
def run_sheet(request: HttpRequest, technique: str) -> HttpResponse:
    """The unit's run sheet for one technique."""
    if technique not in Technique.values:
        raise Http404
    return _work_on(request, TextPlace(TextKind.RUN_SHEET, technique))


@clinical_only
@require_http_methods(["GET", "POST"])
def patient_run_sheet(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The run sheet of one patient: the unit's for the access in use, or adapted from it."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    if request.POST.get("do") == "short":
        return _in_short(request, patient)
    access = patient.accesses.in_use().first()
    today = timezone.now().astimezone(zone_of(patient)).date()
    free = [site.technique for site in access.free_sites(today)] if access else []
    return _work_on(request, TextPlace(TextKind.RUN_SHEET, technique_of(access, free), patient))


def _in_short(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Let an experienced patient go through the sheets in short, or no longer."""
    patient.short_sheets = request.POST.get("short") == "yes"
    patient.save(update_fields=["short_sheets"])
    messages.success(request, gettext("Saved; the phone gets it when it next has a network."))
    return redirect("treatments:patient-run-sheet", patient.pk)


def _work_on(request: HttpRequest, place: TextPlace) -> HttpResponse:
    """Show the rows; answer a button without saving; or save the next version."""
    if request.method == "POST" and not signed_in(request).is_clinical:
        raise PermissionDenied
    texts = Texts(place.patient)
    standing, newest = texts.standing(place), texts.newest(place)
    base = newest.version if newest else 0
    do = request.POST.get("do", "") if request.method == "POST" else "show"
    rows, save, overtaken = (
        ListRows.of_content(SPECS[place.kind], standing.content),
        SaveForm(initial={"base": base}),
        "",
    )
    saving = do in ("save", "withdraw")
    if do != "show":
        rows = ListRows.sent(SPECS[place.kind], request.POST, standing.content)
        save = SaveForm(request.POST if saving else None, initial=_kept(request, base))
    if saving:
        try:
            if _saved(request, place, rows, save, standing):
                return redirect(_address(place) + "#content")
        except TextMovedOn as problem:
            save = SaveForm(initial=_kept(request, base) | {"base": problem.standing.version})
            overtaken = str(problem)
    elif do != "show":
        rows = _from_program(place, do) if do.startswith("default") else rows.after(do)
    context = _context(request, place, texts, standing)
    context |= {"rows": rows, "save": save, "working": do != "show", "overtaken_by": overtaken}
    return render(request, "sessions/lists/rows.html", context, status=400 if saving else 200)


def _kept(request: HttpRequest, base: int) -> dict[str, Any]:
    """What stands in the saving form, carried from one answer to the next."""
    given = request.POST.get("base", "")
    return {"why": request.POST.get("why", ""), "base": int(given) if given.isdecimal() else base}


def _from_program(place: TextPlace, do: str) -> ListRows:
    """The rows that come with the program; "default-…" of a run sheet names the way to connect."""
    content = Texts().standing(place.wider).content if place.patient else _built_in(place, do)
    rows = ListRows.of_content(SPECS[place.kind], content)
    rows.told = (
        gettext("These are the unit's words.")
        if place.patient
        else gettext("These are the words that come with the program.")
    )
    return rows


def _built_in(place: TextPlace, do: str) -> Content:
    connection = do.partition("-")[2]
    if place.kind == TextKind.RUN_SHEET and connection in CONNECTIONS:
        return run_sheets.default_content(place.technique, connection)
    return DEFAULTS[place.kind](place.technique)


def _saved(request: HttpRequest, place: TextPlace, rows: ListRows, save: SaveForm, standing: StandingText) -> bool:
    """Whether the next version was written; what stood against it is said at its field. Raises MovedOn."""
    withdraw = request.POST.get("do") == "withdraw"
    valid = [save.is_valid(), withdraw or rows.is_valid()]
    content = rows.content(standing.content) if all(valid) and not withdraw else None
    if not rows.forms:
        save.add_error(None, str(rows.spec.needed))
    elif withdraw and (standing.row is None or standing.row.patient_id is None):
        save.add_error(None, gettext("There are no words of its own to take back."))
    elif content is not None and ListRows.alike(rows.spec, content, standing.content):
        save.add_error(None, gettext("Nothing is different from what holds, so no version was saved."))
    if not all(valid) or save.errors:
        return False
    given = save.cleaned_data
    row = write_text(place=place, content=content, by=signed_in(request), at=timezone.now(), **given)
    messages.success(
        request,
        gettext("Version %(version)s holds from now on; phones get it when they next have a network.")
        % {"version": row.version},
    )
    return True


def _context(request: HttpRequest, place: TextPlace, texts: Texts, standing: StandingText) -> dict[str, Any]:
    versions = UnitText.objects.filter(kind=place.kind, technique=place.technique, patient=place.patient)
    own, units = texts.newest(place), texts.newest(place.wider)
    adapted = own is not None and own.content is not None
    overtaken = bool(place.patient and adapted and units and own and units.made_at > own.made_at)
    return {
        "title": _title(place),
        "patient": place.patient,
        "standing": standing,
        "own": own if adapted and place.patient else None,
        "overtaken": units if overtaken else None,
        "versions": versions.select_related("made_by")[:30],
        "may_write": signed_in(request).is_clinical,
        "connections": CONNECTIONS if place.kind == TextKind.RUN_SHEET and not place.patient else {},
    }


@staff_only
@require_GET
def text_version(request: HttpRequest, text_id: int) -> HttpResponse:
    """One version as it was written, also when a newer one holds: a record names the version it followed."""
    row = get_object_or_404(UnitText.objects.select_related("made_by", "patient"), pk=text_id)
    if row.patient_id:
        get_object_or_404(Patient.objects.visible_to(request.user), pk=row.patient_id)
        note_reading(request, row.patient_id)
    place = TextPlace(row.kind, row.technique, row.patient)
    spec = SPECS[row.kind]
    rows = ListRows.of_content(spec, row.content).forms if row.content else []
    context = {"row": row, "title": _title(place), "forms": rows, "back": _address(place)}
    return render(request, "sessions/lists/version.html", context)
