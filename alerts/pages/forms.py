"""Forms behind the pages of alerts."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.limits.kinds import KINDS
from alerts.models.choices import Outcome
from homedialysis.accounts.pages.typed_numbers import NumberField
from sessions.pages.forms import DateInput


def _words(label: StrOrPromise, hint: StrOrPromise = "") -> forms.CharField:
    return forms.CharField(label=label, help_text=hint, max_length=4000, widget=forms.Textarea(attrs={"rows": 3}))


class NoteForm(forms.Form):
    """It stands beside CloseForm, whose field has the same name: so its elements get ids of their own."""

    words = _words(_("Note"))
    newest_step = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = "note_%s"


class CloseForm(forms.Form):
    outcome = forms.ChoiceField(label=_("What came of it"), choices=[("", _("Choose…")), *Outcome.choices])
    words = _words(_("What was done"), _("So that the next reader needs nothing else."))
    newest_step = forms.IntegerField(widget=forms.HiddenInput, label=_("Newest step"))


class LimitForm(forms.Form):
    """One limit, from now on. `names`: those that may be set here."""

    name = forms.ChoiceField(label=_("Limit"))
    value = NumberField(
        label=_("New value"), required=False, help_text=_("Empty: what holds for the unit, or the default, again.")
    )
    until = forms.DateField(label=_("Up to and including"), required=False, widget=DateInput())
    why = _words(_("Why"))

    def __init__(self, names: list[str], data: Any = None, initial: Any = None) -> None:
        super().__init__(data, initial=initial)
        choice = self.fields["name"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [(name, KINDS[name].title) for name in names]

    def clean(self) -> dict[str, Any]:
        """The value in the limit's own unit: it was typed in the one that the page shows."""
        data = super().clean() or {}
        if data.get("value") is not None and data.get("name") in KINDS:
            data["value"] = KINDS[data["name"]].as_kept(data["value"])
        return data

    def clean_until(self) -> datetime | None:
        """The end of the day, on the unit's clock."""
        return _end_of(self.cleaned_data["until"])


def _end_of(day: date | None) -> datetime | None:
    return None if day is None else timezone.make_aware(datetime.combine(day + timedelta(days=1), time()))


class OnForm(forms.Form):
    """A day of which something is asked."""

    on = forms.DateField(label=_("In force on"), required=False, widget=DateInput())


class MuteForm(forms.Form):
    """A rule, until when it is quiet, and why. `rules`: those that may be muted."""

    rule = forms.ChoiceField(label=_("Rule"))
    until = forms.DateField(label=_("Up to and including"), widget=DateInput())
    why = _words(_("Why"))

    def __init__(self, rules: list[tuple[str, list[tuple[str, str]]]], data: Any = None, initial: Any = None) -> None:
        super().__init__(data, initial=initial, prefix="mute")
        choice = self.fields["rule"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [("", gettext("Choose…")), *rules]

    def clean_until(self) -> datetime | None:
        """The end of the day, on the unit's clock."""
        return _end_of(self.cleaned_data["until"])


class WhyForm(forms.Form):
    """Why something is done."""

    why = _words(_("Why"))
