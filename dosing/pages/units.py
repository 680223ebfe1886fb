"""In which unit each analyte is read and typed: that of the unit's system, or one chosen for it alone."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.views.decorators.http import require_http_methods

from dosing.services.numbers.blood_units import units_known, usual_unit, written_unit
from homedialysis.accounts.models import Unit
from homedialysis.accounts.pages.guards import administrator_only
from sessions.facts.choices import Analyte


class AnalyteUnitsForm(forms.Form):
    """One choice for each analyte that is written in more than one unit; empty is the system's own."""

    def __init__(self, *args: Any, unit: Unit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.unit = unit
        for analyte in Analyte:
            names = units_known(analyte.value)
            if len(names) < 2:
                continue
            usual = written_unit(usual_unit(analyte.value, unit.unit_system))
            unset = gettext("as the system has it: %(unit)s") % {"unit": usual}
            self.fields[analyte.value] = forms.ChoiceField(
                label=str(analyte.label),
                required=False,
                choices=[("", unset), *((name, written_unit(name)) for name in names)],
                initial=unit.analyte_units.get(analyte.value, ""),
            )

    def save(self) -> None:
        self.unit.analyte_units = {loinc: name for loinc, name in self.cleaned_data.items() if name}
        self.unit.save(update_fields=["analyte_units"])


@administrator_only
@require_http_methods(["GET", "POST"])
def analyte_units(request: HttpRequest) -> HttpResponse:
    """The choices. What is kept, judged and exchanged stays as it is."""
    unit = Unit.objects.current()
    if unit is None:
        return redirect("accounts:unit")
    form = AnalyteUnitsForm(request.POST or None, unit=unit)
    if form.is_valid():
        form.save()
        messages.success(request, gettext("Saved."))
        return redirect("dosing:analyte-units")
    return render(request, "dosing/analyte_units.html", {"form": form, "unit": unit})
