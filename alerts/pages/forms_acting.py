"""Forms by which people act on alerts: on some of a patient's at once, on a call, on the rota."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.utils.timezone import localtime
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.models import Absence, RotaTurn, Routine
from alerts.models.choices import CallResult, Outcome
from homedialysis.accounts.models import User
from homedialysis.accounts.pages.forms import MOMENT, AskingForm, MomentInput
from homedialysis.accounts.services.dates import short_day, short_moment, told_clock
from sessions.pages.forms import DateInput

MOST_WORDS = 4000
ABOUT = "about"
"""The name under which a browser sends what a call was about."""


class TimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self) -> None:
        super().__init__(format="%H:%M")


def _words(label: StrOrPromise, hint: StrOrPromise = "", *, required: bool = True, rows: int = 3) -> forms.CharField:
    widget = forms.Textarea(attrs={"rows": rows})
    return forms.CharField(label=label, help_text=hint, max_length=MOST_WORDS, widget=widget, required=required)


class Parts(forms.MultipleChoiceField):
    """Which alerts, each as "id-newest step": the step that the person saw last of it."""

    widget = forms.CheckboxSelectMultiple

    def valid_value(self, value: Any) -> bool:
        """Any alert of the patient: which step was seen last is judged under lock."""
        known = {str(key).partition("-")[0] for key, _ in self.widget.choices}
        alert, _, step = str(value).partition("-")
        return alert in known and step.isascii() and step.isdigit() and len(step) < 19

    def clean(self, value: Any) -> dict[int, int]:
        chosen = super().clean(value)
        return {int(alert): int(step) for alert, _, step in (one.partition("-") for one in chosen)}


@dataclass(frozen=True, slots=True)
class OfferedAlert:
    """An alert that may be acted on. part: as in `Parts`; why_not: why it cannot be closed, "" where it can."""

    part: str
    title: str
    why_not: str = ""

    @property
    def key(self) -> int:
        return int(self.part.partition("-")[0])


class PartsForm(forms.Form):
    """A form about some of a patient's alerts. offered: those that may be chosen.

    Both forms of a patient's page are sent together, so that no button loses what stands in the other one; so the
    browser must not ask for what only the other button needs.
    """

    use_required_attribute = False
    parts = Parts(label=_("About"), error_messages={"required": _("Tick what it is about.")})

    def __init__(self, offered: Iterable[OfferedAlert], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.offered = list(offered)
        field = self.fields["parts"]
        assert isinstance(field, Parts)
        field.choices = [(each.part, each.title) for each in self.offered]


class ActForm(PartsForm):
    """What is done with alerts: which button was pressed decides what must be filled in.

    Nothing is ticked beforehand, and each alert that is closed says for itself what came of it.
    """

    DEEDS: ClassVar = {
        "close": _("Close"),
        "aside": _("Set aside"),
        "assign": _("Give to"),
        "note": _("Save as a note"),
        "seen": _("I have looked at it"),
    }
    words = _words(
        _("Words"), _("What was done, why it is set aside, or what the next reader should know."), required=False
    )
    until = forms.DateField(label=_("Until the morning of"), widget=DateInput(), required=False)
    to = forms.ModelChoiceField(
        label=_("Person"), queryset=User.objects.none(), empty_label=_("Choose…"), required=False
    )

    def __init__(self, offered: Iterable[OfferedAlert], people: Iterable[User], *args: Any, **kwargs: Any) -> None:
        super().__init__(offered, *args, **kwargs)
        only_people(self.fields["to"], people)
        self.fields["parts"].label = gettext("What it is about")
        for each in self.offered:
            self.fields[outcome_name(each.key)] = forms.ChoiceField(
                label=gettext("What came of “%(title)s”") % {"title": each.title},
                choices=[("", gettext("not closed")), *Outcome.choices],
                required=False,
            )

    @property
    def rows(self) -> list[dict[str, Any]]:
        """Each alert with its box and, where it can be closed, what came of it: for the page."""
        ticks = {str(box.data["value"]).partition("-")[0]: box for box in self["parts"]}
        return [
            {"offered": each, "tick": ticks[str(each.key)], "outcome": self[outcome_name(each.key)]}
            for each in self.offered
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        deed = self.data.get("do", "")
        if deed not in self.DEEDS:
            raise ValidationError(gettext("Press one of the buttons below, so that it is clear what to do."))
        needs = {"close": ("words",), "aside": ("until", "words"), "assign": ("to",), "note": ("words",)}
        for name in needs.get(deed, ()):
            if not data.get(name) and name not in self.errors:
                self.add_error(name, gettext("Needed for “%(deed)s”.") % {"deed": self.DEEDS[deed]})
        return data | {"do": deed, "outcomes": self._outcomes(data) if deed == "close" else {}}

    def _outcomes(self, data: dict[str, Any]) -> dict[int, str]:
        """By alert; what is ticked and says nothing, or says something and is not ticked, is an error there."""
        chosen, found = data.get("parts", {}), {}
        for each in self.offered:
            given = data.get(outcome_name(each.key), "")
            if each.key in chosen and not given and not each.why_not:
                self.add_error(outcome_name(each.key), gettext("Say what came of it."))
            elif given and each.key not in chosen:
                self.add_error(outcome_name(each.key), gettext("Tick it too, or say “not closed”."))
            elif each.key in chosen:
                found[each.key] = given or Outcome.OTHER
        return found


def outcome_name(alert: int) -> str:
    return f"outcome_{alert}"


class CallForm(PartsForm):
    """A call with the patient."""

    result = forms.ChoiceField(label=_("Result"), choices=CallResult.choices, widget=forms.RadioSelect)
    said = _words(_("What was said"), required=False)
    plan = _words(_("Plan"), required=False, rows=2)
    next_call_at = forms.DateTimeField(
        label=_("Next call"), widget=MomentInput(), required=False, input_formats=[MOMENT]
    )

    def __init__(self, offered: Iterable[OfferedAlert], *args: Any, **kwargs: Any) -> None:
        super().__init__(offered, *args, **kwargs)
        self.auto_id = "call_%s"
        self.fields["parts"].required = False
        self.fields["parts"].label = gettext("It was about")

    def add_prefix(self, field_name: str) -> str:
        """Its boxes have a name of their own beside those of `ActForm`."""
        return ABOUT if field_name == "parts" else super().add_prefix(field_name)


class RotaTurnForm(AskingForm[RotaTurn]):
    class Meta:
        model = RotaTurn
        fields: ClassVar = ["person", "weekday", "begins", "ends", "place"]
        widgets: ClassVar = {"begins": TimeInput(), "ends": TimeInput()}
        help_texts: ClassVar = {"place": _("1 is told first.")}

    def __init__(self, people: Iterable[User], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        only_people(self.fields["person"], people)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        begins, ends = data.get("begins"), data.get("ends")
        if begins and ends and ends <= begins:
            self.add_error(
                "ends",
                gettext("Must be after %(begins)s; %(ends)s was given.")
                % {"begins": told_clock(begins), "ends": told_clock(ends)},
            )
        return data


class AbsenceForm(AskingForm[Absence]):
    class Meta:
        model = Absence
        fields: ClassVar = ["person", "first_day", "last_day"]
        widgets: ClassVar = {"first_day": DateInput(), "last_day": DateInput()}

    def __init__(self, people: Iterable[User], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = "absence_%s"
        only_people(self.fields["person"], people)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("first_day"), data.get("last_day")
        if isinstance(first, date) and isinstance(last, date) and last < first:
            self.add_error(
                "last_day",
                gettext("Must not be before %(first)s; %(last)s was given.")
                % {"first": short_day(first), "last": short_day(last)},
            )
        return data


class RoutineForm(AskingForm[Routine]):
    class Meta:
        model = Routine
        fields: ClassVar = ["seen_within_minutes", "reopen_days"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = "routine_%s"


class SinceForm(forms.Form):
    """Since when the hand-over tells."""

    since = forms.DateTimeField(label=_("Since"), widget=MomentInput(), input_formats=[MOMENT])

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.now = now

    def clean_since(self) -> datetime:
        since: datetime = self.cleaned_data["since"]
        if since >= self.now:
            raise ValidationError(
                gettext("Must be before now; %(since)s was given.") % {"since": short_moment(localtime(since))}
            )
        return since


def only_people(field: forms.Field, people: Iterable[User]) -> None:
    """Let a field offer these people and nobody else."""
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = User.objects.filter(pk__in=[person.pk for person in people])
