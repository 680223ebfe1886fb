"""Forms behind the pages of people and the unit."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.contrib.auth.forms import SetPasswordForm
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.models import BEDSIDE_ROLES, OpeningHours, Role, Unit

STAFF_ROLES = [(role.value, role.label) for role in Role if role not in BEDSIDE_ROLES]


class InviteStaffForm(forms.Form):
    name = forms.CharField(max_length=120)
    email = forms.EmailField(label="E-mail address")
    role = forms.ChoiceField(choices=STAFF_ROLES)


class FirstPasswordForm(SetPasswordForm):  # type: ignore[type-arg]
    """The first password of an invited person."""


class UnitForm(forms.ModelForm[Unit]):
    class Meta:
        model = Unit
        fields: ClassVar = ["name", "time_zone", "unit_system", "emergency_number", "on_call_number"]
        help_texts: ClassVar = {"time_zone": "For example Europe/Lisbon. Nights are dated in it."}


class OpeningHoursForm(forms.ModelForm[OpeningHours]):
    opens = forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    closes = forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))

    class Meta:
        model = OpeningHours
        fields: ClassVar = ["weekday", "opens", "closes"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("opens") and data.get("closes") and data["closes"] <= data["opens"]:
            self.add_error("closes", f"Must be after {data['opens']:%H:%M}; {data['closes']:%H:%M} was given.")
        return data


OpeningHoursForms = forms.inlineformset_factory(Unit, OpeningHours, form=OpeningHoursForm, extra=1, can_delete=True)


class DeviceForm(forms.Form):
    name = forms.CharField(max_length=80, label=_("What is it?"), help_text=_("For example: scale at the bedside."))
