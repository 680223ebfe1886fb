"""The unit's dialysers: entered from their data sheets, corrected, taken out of use; with every change kept."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_http_methods

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import staff_only, technologist_or_clinical
from sessions.facts import plausible
from sessions.models import Dialyser
from sessions.pages.forms import unusual_of
from sessions.pages.forms_surroundings import SurroundingsForm
from sessions.services.dialysers import keep_dialyser, prescribed_now, story_of, was_prescribed


class DialyserForm(SurroundingsForm):
    class Meta:
        model = Dialyser
        fields: ClassVar = [
            "name", "koa_ml_min", "surface_m2", "uf_ml_h_mmhg", "phosphate_koa_ml_min", "b2m_koa_ml_min", "source",
            "in_use",
        ]  # fmt: skip
        help_texts: ClassVar = {
            "name": _("As it is ordered, with its size."),
            "koa_ml_min": _("As the data sheet states it, in vitro: numbers take less of it for a patient."),
            "uf_ml_h_mmhg": _("Where the unit uses it."),
            "phosphate_koa_ml_min": _("Where the data sheet has it."),
            "b2m_koa_ml_min": _("Where the data sheet has it."),
            "source": _("For example: maker's data sheet, edition of May 2026."),
            "in_use": _("Only those in use can be prescribed."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["source"].required = True

    def unusual(self) -> list[str]:
        """What is possible but unusual, in words, so that it is asked about once more."""
        return unusual_of(self.cleaned_data, plausible.DIALYSER)


@staff_only
@require_GET
def dialysers(request: HttpRequest) -> HttpResponse:
    """All of them, those in use first, with how many patients each is prescribed for."""
    found = Dialyser.objects.visible_to(request.user).with_patients(timezone.now())
    return render(request, "sessions/dialysers.html", {"dialysers": found.order_by("-in_use", "name", "pk")})


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def new_dialyser(request: HttpRequest) -> HttpResponse:
    """Enter one from its data sheet."""
    return _page(request, Dialyser())


@technologist_or_clinical
@require_http_methods(["GET", "POST"])
def dialyser(request: HttpRequest, dialyser_id: int) -> HttpResponse:
    """Change one, or take it out of use; and see what it was before."""
    return _page(request, get_object_or_404(Dialyser.objects.visible_to(request.user), pk=dialyser_id))


def _page(request: HttpRequest, row: Dialyser) -> HttpResponse:
    form = DialyserForm(request.POST or None, instance=row)
    if form.is_sure() and _saved(request, form):
        return redirect("treatments:dialysers")
    stands = None if row.pk is None else Dialyser.objects.get(pk=row.pk)
    context = {
        "form": form,
        "stands": stands,
        "prescribed": bool(stands and was_prescribed(stands)),
        "held": prescribed_now(stands, at=timezone.now()) if stands else [],
        "story": story_of(stands) if stands else [],
    }
    return render(request, "sessions/dialyser.html", context)


def _saved(request: HttpRequest, form: DialyserForm) -> bool:
    before = form.instance.pk
    try:
        kept = keep_dialyser(form.instance, by=signed_in(request), at=timezone.now())
    except ValidationError as problem:
        form.instance.pk = before
        form.put_errors(problem)
        return False
    messages.success(request, gettext("Saved: %(what)s.") % {"what": kept.name})
    if kept.replaces is not None and kept.replaces_id == before:
        held = prescribed_now(kept.replaces, at=timezone.now())
        words = ngettext(
            "%(count)s prescription keeps the figures it was signed with: sign the next one to use the new figures.",
            "%(count)s prescriptions keep the figures they were signed with: sign the next to use the new figures.",
            len(held),
        )
        messages.info(request, words % {"count": len(held)})
    return True
