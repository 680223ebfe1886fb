"""Write down a patient's allergies and dangers; every state stays, with who wrote it and when."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from homedialysis.accounts.models import signed_in
from homedialysis.accounts.pages.forms import AskingForm
from homedialysis.accounts.pages.guards import clinical_only
from sessions.models import Caution
from sessions.pages.persons import shown_patient
from sessions.services.cautions import WrittenMeanwhile, lines_of, write_cautions


class CautionForm(AskingForm[Caution]):
    class Meta:
        model = Caution
        fields: ClassVar = ["allergies", "no_allergies", "dangers", "no_dangers"]


@clinical_only
@require_http_methods(["GET", "POST"])
def cautions(request: HttpRequest, patient_id: uuid.UUID) -> HttpResponse:
    """What holds, a form that begins with it, and what stood before."""
    patient = shown_patient(request, patient_id)
    rows = list(patient.cautions.select_related("written_by"))
    form = CautionForm(request.POST or None, instance=Caution(patient=patient), initial=_initial(rows))
    if form.is_valid() and _written(form, request):
        messages.success(request, _("Saved."))
        return redirect("treatments:cautions", patient.pk)
    context = {
        "patient": patient,
        "form": form,
        "after": rows[0].pk if rows else "",
        "story": [(row, lines_of(row)) for row in rows],
    }
    return render(request, "sessions/cautions.html", context)


def _initial(rows: list[Caution]) -> dict[str, Any]:
    return {name: getattr(rows[0], name) for name in CautionForm.Meta.fields} if rows else {}


def _written(form: CautionForm, request: HttpRequest) -> bool:
    after = request.POST.get("after", "")
    try:
        write_cautions(
            form.instance, after=int(after) if after.isdecimal() else None, by=signed_in(request), at=timezone.now()
        )
    except WrittenMeanwhile as problem:
        who, said = problem.newest.written_by.name, "; ".join(map(str, lines_of(problem.newest)))
        words = _("%(who)s wrote meanwhile: %(said)s. What you typed stands below: look, and save again.")
        form.add_error(None, words % {"who": who, "said": said})
        return False
    except ValidationError as problem:
        form.add_error(None, problem)
        return False
    return True
