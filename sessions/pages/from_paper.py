"""Staff type a treatment from paper for a patient whose phone did not record it."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.guards import clinical_only
from sessions.pages.bedside import sheets, words_of_scripts
from sessions.pages.persons import shown_patient
from sessions.services.kit import kit


@clinical_only
@require_safe
def from_paper(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """The bedside's own screens for a sheet of paper, with this patient's kit; they send to the API as a phone does."""
    patient = shown_patient(request, patient_id)
    get_token(request)  # sets the cookie that the script needs for sending
    nothing = uuid.UUID(int=0)
    context = {
        "patient": patient,
        "kit": kit(patient, signed_in(request), timezone.now()),
        "words": _words(),
        "treatment": reverse("api:treatment", args=[nothing]),
        "night": reverse("dosing:night", args=[nothing]),
        "nothing": nothing,
        "sheets": [*sheets(), static("sessions/css/from_paper.css")],
        "script_words": words_of_scripts(),
        "zone": timezone.get_current_timezone_name(),
    }
    return render(request, "sessions/from_paper.html", context)


def _words() -> dict[str, str]:
    """Why the record was not taken, by the kind of answer: what was typed stands in the window meanwhile."""
    return {
        "refused": _("Not kept yet: the server refuses what stands below. Nothing that you typed is lost."),
        "signedOut": _(
            "Not kept yet: you are signed out. Sign in in another window, then hand over here once more. Nothing that "
            "you typed is lost."
        ),
        "unreachable": _("Not kept yet: the server cannot be reached. Nothing that you typed is lost; try again."),
        "failed": _("Not kept yet: the server could not take it. Nothing that you typed is lost; try again."),
    }
