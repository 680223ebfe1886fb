"""Forms behind the pages of people and the unit."""

from __future__ import annotations

from typing import Any, TypeVar, cast

from django import forms
from django.contrib.auth.forms import SetPasswordForm
from django.db.models import Model
from django.db.models.fields import BLANK_CHOICE_DASH
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.choices.tokens import TokenScope
from homedialysis.accounts.models import BEDSIDE_ROLES, Role
from homedialysis.accounts.pages.typed_numbers import typed
from homedialysis.accounts.services.dates import laid_out

M = TypeVar("M", bound=Model)
MOMENT = "%Y-%m-%dT%H:%M"
"""How a browser sends a day and a time of day."""
DASHES = BLANK_CHOICE_DASH[0][1]
STAFF_ROLES = [(role.value, role.label) for role in Role if role not in BEDSIDE_ROLES]


class AskingForm(forms.ModelForm[M]):
    """A form of a model: a choice that nobody made yet is said in words, and numbers are typed with comma or point."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, field in list(self.fields.items()):
            self.fields[name] = typed(field)
            words = _("Choose") if field.required else _("not said")
            if name in ("weekday", "weekdays") and isinstance(field, forms.ChoiceField):
                field.choices = laid_out(cast("Any", field.choices))
            if isinstance(field, forms.ModelChoiceField):
                field.empty_label = words if field.empty_label == DASHES else field.empty_label
            elif isinstance(field, forms.ChoiceField):
                given: Any = field.choices
                field.choices = [(value, words if label == DASHES else label) for value, label in given]


class MomentInput(forms.DateTimeInput):
    """A day and a time of day, on the clock of the page."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format=MOMENT)


class InviteStaffForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=120)
    email = forms.EmailField(label=_("E-mail address"))
    role = forms.ChoiceField(label=_("Role"), choices=STAFF_ROLES)


class FirstPasswordForm(SetPasswordForm):  # type: ignore[type-arg]
    """The first password of an invited person."""


class DeviceForm(forms.Form):
    name = forms.CharField(max_length=80, label=_("What is it?"), help_text=_("For example: scale at the bedside."))
    scopes = forms.MultipleChoiceField(
        choices=TokenScope,
        widget=forms.CheckboxSelectMultiple,
        label=_("What is it for?"),
        help_text=_("It does nothing else of what you may do."),
    )
