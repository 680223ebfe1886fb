"""The page of long pieces of work: ask for one, see how far it is, stop it, go on, fetch what it made."""

from __future__ import annotations

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from dosing.models import Job
from dosing.pages.month import month_of
from dosing.services import jobs
from dosing.tasks import work_on_jobs
from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import nephrologist_only
from sessions.facts.months import first_of, month_before
from sessions.models import Patient
from sessions.services.reading_log import note_reading

SHOWN = 30


@nephrologist_only
@require_http_methods(["GET", "POST"])
def job_list(request: HttpRequest) -> HttpResponse:
    """What was asked for, newest first; a POST asks for another."""
    if request.method == "POST":
        return _ask(request)
    last = month_before(first_of(timezone.localdate()))
    return render(request, "dosing/jobs.html", {"jobs": _shown(), "last": last, "kinds": Job.Kind})


def _shown() -> list[Job]:
    return list(Job.objects.select_related("asked_by")[:SHOWN])


def _ask(request: HttpRequest) -> HttpResponse:
    kind = request.POST.get("kind", "")
    if kind not in Job.Kind.values:
        messages.error(request, _("Choose what to make."))
        return redirect("dosing:jobs")
    params = {"month": f"{month_of(request.POST.get('month', '')):%Y-%m}"} if kind == Job.Kind.REPORTS else {}
    job = jobs.ask(kind=kind, params=params, by=signed_in(request), at=timezone.now())
    work_on_jobs.delay_on_commit()
    messages.success(
        request,
        _("Asked for: %(kind)s, %(total)s patients.") % {"kind": job.get_kind_display(), "total": job.total},
    )
    return redirect("dosing:jobs")


@nephrologist_only
@require_GET
def progress(request: HttpRequest) -> HttpResponse:
    """The rows of the list, asked for again while something is under way."""
    return render(request, "dosing/_jobs.html", {"jobs": _shown()})


@nephrologist_only
@require_POST
def stop(request: HttpRequest, job_id: int) -> HttpResponse:
    jobs.stop(job=get_object_or_404(Job, pk=job_id), at=timezone.now())
    return redirect("dosing:jobs")


@nephrologist_only
@require_POST
def go_on(request: HttpRequest, job_id: int) -> HttpResponse:
    jobs.go_on(job=get_object_or_404(Job, pk=job_id))
    work_on_jobs.delay_on_commit()
    return redirect("dosing:jobs")


@nephrologist_only
@require_GET
def fetch(request: HttpRequest, job_id: int) -> FileResponse:
    """What a job made. It holds everybody's record, so it is noted as a reading of everybody's."""
    job = get_object_or_404(Job, pk=job_id)
    if not job.result or not jobs.result_path(job).exists():
        raise Http404
    note_reading(request, *Patient.objects.visible_to(request.user).values_list("pk", flat=True))
    return FileResponse(jobs.result_path(job).open("rb"), as_attachment=True, filename=job.result)
