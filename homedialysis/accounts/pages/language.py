"""A person's own account: what leads on from it, and in which language the pages shall be."""

from __future__ import annotations

import json
from typing import Any, ClassVar

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from homedialysis.accounts.choices import TemperatureUnit, WeightUnit
from homedialysis.accounts.models import BEDSIDE_ROLES, User, signed_in
from homedialysis.accounts.services.language import languages_for


@login_required
@require_GET
def account(request: HttpRequest) -> HttpResponse:
    """What belongs to this person alone. A language is asked for where there is more than one for them."""
    user = signed_in(request)
    known = languages_for(user)
    context = {
        "base": "phone_base.html" if user.role in BEDSIDE_ROLES else "unit_base.html",
        "languages": [(code, name) for code, name in settings.LANGUAGES if code in known],
        "record": getattr(user, "patient", None) and user.patient.pk,
        "chosen": user.language if user.language in known else "",
        "form": OwnUnitsForm(instance=user),
    }
    return render(request, "accounts/account.html", context)


class OwnUnitsForm(forms.ModelForm[User]):
    """Weight and temperature of the body as this person reads and types them."""

    class Meta:
        model = User
        fields: ClassVar = ["weight_unit", "temperature_unit"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        labels = {"weight_unit": _("Weight in"), "temperature_unit": _("Temperature in")}
        for name, kind in (("weight_unit", WeightUnit), ("temperature_unit", TemperatureUnit)):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.label = labels[name]
            field.choices = [("", _("As the unit has them")), *kind.choices]


@login_required
@require_POST
def choose_units(request: HttpRequest) -> HttpResponse:
    """Takes weight_unit and temperature_unit; "" goes by the unit again."""
    form = OwnUnitsForm(request.POST, instance=signed_in(request))
    if form.is_valid():
        form.save()
        messages.success(request, _("Saved."))
    else:
        messages.error(request, " ".join(str(each) for errors in form.errors.values() for each in errors))
    return redirect("accounts:account")


@login_required
@require_POST
def choose_language(request: HttpRequest) -> HttpResponse:
    """Takes {"language": code} as JSON or from the page; "" goes by the browser again. Twice changes nothing.

    JSON is answered by JSON; the page is shown again, in the language that was chosen.
    """
    given = _given(request)
    user = signed_in(request)
    known = languages_for(user)
    if given != "" and given not in known:
        words = _("Language must be one of %(known)s; %(given)r was given.")
        return _refused(request, given, words % {"known": ", ".join(known), "given": given})
    user.language = given
    user.save(update_fields=["language"])
    return JsonResponse({"language": given}) if _is_json(request) else redirect("accounts:account")


def _refused(request: HttpRequest, given: Any, message: str) -> HttpResponse:
    if _is_json(request):
        return JsonResponse({"errors": [{"field": "language", "message": message, "given": given}]}, status=400)
    messages.error(request, message)
    return redirect("accounts:account")


def _is_json(request: HttpRequest) -> bool:
    return request.content_type == "application/json"


def _given(request: HttpRequest) -> Any:
    if not _is_json(request):
        return request.POST.get("language")
    try:
        return json.loads(request.body)["language"]
    except (ValueError, KeyError, TypeError):
        return None
