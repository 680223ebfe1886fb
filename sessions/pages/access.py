"""The page of one patient's vascular access: what is in use, its sites, where they lie, and when they were used."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.pages.guards import clinical_only
from sessions.facts.findings import FindingKind
from sessions.models import AccessSite, Patient, VascularAccess
from sessions.models.local_time import zone_of
from sessions.pages.forms import AccessForm, DrawnForm, SiteChangeForm, SiteForm
from sessions.pages.limbs import drawing_of, touched
from sessions.services.findings import findings_of, flows_of
from sessions.services.reading_log import note_reading
from sessions.services.site_uses import NEVER, uses_of

Forms = dict[str, Any]


@clinical_only
@require_http_methods(["GET", "POST"])
def access(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The access in use with its sites; a new access takes the place of the one given up."""
    patient = get_object_or_404(Patient.objects.visible_to(request.user), pk=patient_id)
    note_reading(request, patient.pk)
    in_use = patient.accesses.in_use().first()
    task = request.POST.get("task", "")
    if task == "access" and in_use:
        messages.error(request, _("%(access)s is in use: give that one up first.") % {"access": in_use})
        task = ""
    forms = _forms(request, patient, in_use, task)
    here = reverse("treatments:access", args=[patient.pk])
    do = TASKS.get(task)
    if do and (in_use or task == "access"):
        with transaction.atomic():
            onward = do(request, in_use, forms)
        if onward is not None:
            return redirect(here + onward)
    return render(request, "sessions/access.html", _shown(patient, in_use, forms))


def _forms(request: HttpRequest, patient: Patient, in_use: VascularAccess | None, task: str) -> Forms:
    """The forms of the page, the one that was sent bound to what was sent."""

    def sent(name: str) -> Any:
        return request.POST if task == name else None

    named = request.POST.get("site") if task in ("change", "rest", "touch") else request.GET.get("site")
    site = _site(in_use, named) if in_use and named is not None else None
    return {
        "new_access": AccessForm(sent("access"), instance=VascularAccess(patient=patient)),
        "new_site": SiteForm(sent("site")),
        "drawn": DrawnForm(sent("drawn"), instance=in_use) if in_use else None,
        "site": site,
        "change": SiteChangeForm(sent("change"), instance=site, prefix="change") if site else None,
    }


def _site(in_use: VascularAccess, named: str) -> AccessSite:
    pk = named if named.isdecimal() and len(named) < 19 else None
    found: AccessSite = get_object_or_404(in_use.sites, pk=pk)
    return found


Task = Callable[[HttpRequest, Any, Forms], str | None]
"""Does one thing; answers what is added to the page's address, or None where something stands against it."""


def _note_access(request: HttpRequest, in_use: None, forms: Forms) -> str | None:
    if not forms["new_access"].is_valid():
        return None
    forms["new_access"].save()
    return ""


def _give_up(request: HttpRequest, in_use: VascularAccess, forms: Forms) -> str:
    in_use.abandoned_on = timezone.localdate()
    in_use.save(update_fields=["abandoned_on"])
    messages.success(request, _("%(access)s is marked as given up today.") % {"access": in_use})
    return ""


def _add_site(request: HttpRequest, in_use: VascularAccess, forms: Forms) -> str | None:
    form = forms["new_site"]
    form.instance.access = in_use
    if not form.is_valid() or not _own_name(form, in_use, None):
        return None
    return f"?site={form.save().pk}#site"


def _own_name(form: SiteForm | SiteChangeForm, in_use: VascularAccess, pk: int | None) -> bool:
    name = form.cleaned_data["name"]
    if in_use.sites.filter(name=name).exclude(pk=pk).exists():
        form.add_error("name", _("This access already has a site called “%(name)s”.") % {"name": name})
        return False
    return True


def _change_site(request: HttpRequest, in_use: VascularAccess, forms: Forms) -> str | None:
    form = forms["change"]
    if form is None or not form.is_valid() or not _own_name(form, in_use, form.instance.pk):
        return None
    form.save()
    messages.success(request, _("%(site)s is noted.") % {"site": form.instance.name})
    return ""


def _rest(request: HttpRequest, in_use: VascularAccess, forms: Forms) -> str:
    site = forms["site"] or _site(in_use, "")
    site.resting, site.rest_until = not site.rests_on(timezone.localdate()), None
    site.save(update_fields=["resting", "rest_until"])
    return ""


def _touch(request: HttpRequest, in_use: VascularAccess, forms: Forms) -> str | None:
    """The drawing was touched: the site lies there now."""
    site = forms["site"] or _site(in_use, "")
    place = touched(request.POST.get("spot.x", ""), request.POST.get("spot.y", ""))
    if place is None:
        messages.error(request, _("That was no place on the drawing: touch it again, or write the numbers."))
        return None
    site.x, site.y = place
    site.save(update_fields=["x", "y"])
    return f"?site={site.pk}#site"


def _draw(request: HttpRequest, in_use: VascularAccess, forms: Forms) -> str | None:
    if not forms["drawn"].is_valid():
        return None
    forms["drawn"].save()
    return ""


TASKS: dict[str, Task] = {
    "access": _note_access,
    "give up": _give_up,
    "site": _add_site,
    "change": _change_site,
    "rest": _rest,
    "touch": _touch,
    "drawn": _draw,
}


def _shown(patient: Patient, in_use: VascularAccess | None, forms: Forms) -> dict[str, Any]:
    today = timezone.now().astimezone(zone_of(patient)).date()
    return {
        "patient": patient,
        "in_use": in_use,
        "earlier": patient.accesses.exclude(abandoned_on=None).order_by("-created_on"),
        **forms,
        "flows": flows_of(in_use, findings_of(patient, [FindingKind.ACCESS_FLOW])) if in_use else [],
        **(_sites(in_use, today) if in_use else {}),
    }


def _sites(in_use: VascularAccess, today: date) -> dict[str, Any]:
    """The sites numbered as on the drawing, each with its uses and whether it rests."""
    uses = uses_of(in_use, today)
    sites = list(enumerate(in_use.sites.all(), start=1))
    rows = [(number, site, uses.get(site.pk, NEVER), site.rests_on(today)) for number, site in sites]
    marks = [(number, site.name, site.x, site.y, rests) for number, site, _, rests in rows]
    return {"rows": rows, "drawing": drawing_of(in_use, marks)}
