"""Forms of the unit: what it is called, its clock, its numbers, the hours of its week."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any, ClassVar

from django import forms
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.models import ClosedDay, OpeningHours, Unit
from homedialysis.accounts.pages.forms import AskingForm
from homedialysis.accounts.pages.zones import ZoneField
from homedialysis.accounts.services.dates import DAYS_OF_WEEK, told_clock, week

RECENT = timedelta(days=7)
"""How long a closed day that is over stands in the form."""


CHOSEN_BY_A_UNIT = (
    "unit_system",
    "weight_unit",
    "temperature_unit",
    "day_order",
    "hour_clock",
    "week_begins",
    "english",
)


class UnitForm(AskingForm[Unit]):
    class Meta:
        model = Unit
        fields: ClassVar = [
            "name",
            "time_zone",
            "unit_system",
            "weight_unit",
            "temperature_unit",
            "day_order",
            "hour_clock",
            "week_begins",
            "english",
            "emergency_number",
            "on_call_number",
        ]
        help_texts: ClassVar = {
            "weight_unit": _("Each person may choose the other one for themselves."),
            "temperature_unit": _("What is read off the machine stays in the machine’s °C."),
            "day_order": _("On pages, phones and papers. Fields with a calendar follow the browser of whoever types."),
            "emergency_number": _("As patients dial it at home."),
            "on_call_number": _("With the code of the country, as a telephone far away dials it. Ring it once."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["time_zone"] = ZoneField(
            label=_("Time zone"),
            unset=_("Choose"),
            held=self.instance.time_zone,
            help_text=_("Nights are dated in it."),
        )
        if self.instance.pk is None:  # nothing that a unit could take for its own choice
            for name in CHOSEN_BY_A_UNIT:
                field = self.fields[name]
                assert isinstance(field, forms.ChoiceField)
                given: Any = field.choices
                field.choices = [("", _("Choose")), *given]
                self.initial[name] = ""
            self.initial["time_zone"] = ""

    def clean_emergency_number(self) -> str:
        return dialled(self.cleaned_data["emergency_number"], least=2)

    def clean_on_call_number(self) -> str:
        return dialled(self.cleaned_data["on_call_number"], least=5)


def dialled(given: str, *, least: int) -> str:
    """A telephone number as people write it. Raises ValidationError for what no telephone can dial."""
    figures = [sign for sign in given if sign.isdigit()]
    if not re.fullmatch(r"\+?[\d\s().,/x#*-]+", given.strip()):
        words = gettext("“%(given)s” is no telephone number: figures, spaces, + ( ) - . / only.")
        raise forms.ValidationError(words % {"given": given})
    if len(figures) < least:
        words = gettext("“%(given)s” has %(count)s figures; at least %(least)s are needed.")
        raise forms.ValidationError(words % {"given": given, "count": len(figures), "least": least})
    return given.strip()


class OpeningHoursForm(AskingForm[OpeningHours]):
    opens = forms.TimeField(label=_("Opens"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
    closes = forms.TimeField(label=_("Closes"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))

    class Meta:
        model = OpeningHours
        fields: ClassVar = ["weekday", "opens", "closes"]

    def has_changed(self) -> bool:
        """A row of a day that was offered, in which nobody typed a time, is a day on which the unit is closed."""
        typed = any(self[name].data for name in ("opens", "closes"))
        return super().has_changed() and (typed or self.instance.pk is not None)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("opens") and data.get("closes") and data["closes"] <= data["opens"]:
            self.add_error(
                "closes",
                gettext("Must be after %(opens)s; %(closes)s was given.")
                % {"opens": told_clock(data["opens"]), "closes": told_clock(data["closes"])},
            )
        return data


OpeningHoursForms = forms.inlineformset_factory(Unit, OpeningHours, form=OpeningHoursForm, extra=7, can_delete=True)


class ClosedDayForm(AskingForm[ClosedDay]):
    class Meta:
        model = ClosedDay
        fields: ClassVar = ["day", "name"]
        widgets: ClassVar = {"day": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}


ClosedDayForms = forms.inlineformset_factory(Unit, ClosedDay, form=ClosedDayForm, extra=3, can_delete=True)


def closed_days_of(unit: Unit | None, data: Any) -> Any:
    """The forms of the days on which the unit is closed, those to come, and three empty ones.

    A page that sends nothing of them, such as a program's, leaves them as they are.
    """
    given = data if data and "closed_days-TOTAL_FORMS" in data else None
    coming = ClosedDay.objects.filter(day__gte=timezone.localdate() - RECENT)
    return ClosedDayForms(given, instance=unit, queryset=coming)


def _as_laid_out() -> Any:
    """The days that have hours, from that on which a week of the unit begins."""
    begins = week()[0]
    return OpeningHours.objects.order_by((F("weekday") + DAYS_OF_WEEK - begins) % DAYS_OF_WEEK, "opens")


def hours_of(unit: Unit | None, data: Any) -> Any:
    """The forms of a whole week: a row for each day that has hours, and an empty one for each that has none."""
    held = {row.weekday for row in unit.opening_hours.all()} if unit else set()
    free = [{"weekday": day} for day in week() if day not in held]
    forms_ = OpeningHoursForms(data, instance=unit, initial=free, queryset=_as_laid_out())
    forms_.extra = len(free)
    return forms_
