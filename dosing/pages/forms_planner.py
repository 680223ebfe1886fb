"""What the planner is asked: a schedule, and what it should reach."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.science.guidance import GUIDANCE
from dosing.services.numbers.seen import with_status
from dosing.services.planner.candidates import LEAST_HOURS, MOST_HOURS, Candidate
from dosing.services.planner.expecting import DOSE_WANTED
from dosing.services.planner.patterns import NIGHTS, nights_words, pattern_of
from homedialysis.accounts.models import Weekday
from homedialysis.accounts.pages.typed_numbers import NumberField, WholeNumberField
from homedialysis.accounts.services.dates import laid_out
from sessions.facts.local_number import plain
from sessions.facts.ordered import NUMBERS
from sessions.models import Dialyser, Prescription
from sessions.services.prescription_kept import ASKED, MAY_BE_NONE

WEEKLY = GUIDANCE["weekly_standard_ktv"]
LEAST_DOSE, MOST_DOSE = 1, 6
SEPARATOR = "~"


def _ways() -> list[tuple[str, str]]:
    return [(f"{each:g}", nights_words(each)) for each in NIGHTS]


def _dose_help() -> str:
    words = gettext("Aimed at: %(aim)s a week; at least delivered: %(least)s. %(source)s")
    source = with_status(WEEKLY.source, WEEKLY.status)
    return words % {"aim": plain(DOSE_WANTED), "least": plain(WEEKLY.end("low")), "source": source}


class PlannerForm(forms.Form):
    """Numbers are held to the limits of a prescription.

    Days that are marked and are not as many as the nights are left out, and `days_left_out` says so: whoever changes
    the one before the other goes on seeing an answer.
    """

    days_left_out = ""

    nights = forms.ChoiceField(label=_("Nights"), choices=_ways)
    weekdays = forms.TypedMultipleChoiceField(
        label=_("On these days"),
        choices=Weekday.choices,
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Empty: spread over the week."),
    )
    minutes = WholeNumberField(label=_("Minutes each"), min_value=int(60 * LEAST_HOURS), max_value=int(60 * MOST_HOURS))
    qb = NumberField(label=_("Blood flow, Qb (mL/min)"), min_value=100, max_value=500)
    qd = NumberField(label=_("Dialysate flow, Qd (mL/min)"), min_value=80, max_value=800)
    dialyser = forms.ModelChoiceField(label=_("Dialyser"), queryset=Dialyser.objects.none(), empty_label=None)
    dose = NumberField(
        label=_("Dose wanted (weekly standard Kt/V)"),
        min_value=LEAST_DOSE,
        max_value=MOST_DOSE,
        help_text=lazy(_dose_help, str)(),
    )
    uf_rate = NumberField(label=_("UF rate at most (mL/kg/h)"), min_value=3, max_value=20)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        days = self.fields["weekdays"]
        assert isinstance(days, forms.ChoiceField)
        days.choices = laid_out(Weekday.choices)
        dialyser = self.fields["dialyser"]
        assert isinstance(dialyser, forms.ModelChoiceField)
        dialyser.queryset = Dialyser.objects.to_try(timezone.now())

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        days, nights = data.get("weekdays") or [], data.get("nights")
        if days and nights and len(days) != float(nights):
            data["weekdays"] = []
            self.days_left_out = gettext(
                "%(days)s days are marked, but %(nights)s are chosen: what you see is spread over the week."
            ) % {"days": len(days), "nights": nights_words(float(nights))}
        for name, field in (("qb", "qb_ml_min"), ("qd", "qd_ml_min")):
            if data.get(name) is not None and (why := NUMBERS[field].refusal(data[name])):
                self.add_error(name, why)
        return data

    def candidate(self) -> Candidate:
        data = self.cleaned_data
        return Candidate(
            pattern_of(float(data["nights"]), data["weekdays"]),
            data["minutes"],
            data["qb"],
            data["qd"],
            data["dialyser"],
        )


class DraftForm(forms.Form):
    """A schedule to keep: its word, the dose that was wanted of it, why, and the day on which it is meant to begin."""

    schedule = forms.CharField()
    dose = NumberField(min_value=LEAST_DOSE, max_value=MOST_DOSE)
    starts_on = forms.DateField(required=False)
    words = forms.CharField(required=False)

    def __init__(self, *args: Any, prescription: Prescription | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.prescription = prescription
        for name in ASKED:
            self.fields[name] = NumberField(required=False, label=NUMBERS[name].heading)

    def clean_schedule(self) -> Candidate:
        candidate = read_back(self.cleaned_data["schedule"])
        if candidate is None:
            raise forms.ValidationError(gettext("That schedule cannot be kept: it is outside the planner's limits."))
        return candidate

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "schedule" in data:
            data["candidate"] = data.pop("schedule")
        data["besides"] = self._besides({name: data.pop(name, None) for name in ASKED})
        return data

    def _besides(self, given: dict[str, float | None]) -> dict[str, float | None]:
        """What was answered and differs from what is ordered; what was not asked is not among it."""
        found = {}
        for name, value in given.items():
            as_now = name != "max_minutes" and value == getattr(self.prescription, name, None)
            if name not in self.data or name in self.errors or as_now:
                continue
            why = self._why_not(name, value)
            if why:
                self.add_error(name, why)
            else:
                found[name] = value
        return found

    def _why_not(self, name: str, value: float | None) -> str:
        """Why an answer cannot be, or ""."""
        if value is None:
            return "" if name in MAY_BE_NONE else NUMBERS[name].needed
        candidate = self.cleaned_data.get("candidate")
        if name == "max_minutes" and candidate is not None and value < candidate.minutes:
            words = gettext("The longest allowed must not lie below the length, %(minutes)s min; %(given)s was given.")
            return words % {"minutes": plain(candidate.minutes), "given": plain(value)}
        return NUMBERS[name].refusal(value)


def read_number(text: str) -> float | None:
    """A weight out of an address [kg], or None where it is none."""
    try:
        found = float(text)
    except ValueError:
        return None
    return None if NUMBERS["target_weight_kg"].refusal(found) else found


def asked_of(prescription: Prescription) -> dict[str, Any]:
    """What the form shows first: the prescription in force."""
    per_week = prescription.days_per_week if prescription.days_per_week in NIGHTS else 3
    return {
        "nights": f"{per_week:g}",
        "weekdays": prescription.weekdays,
        "minutes": min(max(prescription.minutes, int(60 * LEAST_HOURS)), int(60 * MOST_HOURS)),
        "qb": f"{prescription.qb_ml_min:g}",
        "qd": f"{prescription.qd_ml_min:g}",
        "dialyser": prescription.dialyser_id,
        "dose": DOSE_WANTED,
        "uf_rate": f"{prescription.uf_rate_limit_ml_kg_h:g}",
    }


def written(candidate: Candidate) -> str:
    """A schedule as one word of an address, to be read again by `read_back`."""
    days = "".join(map(str, candidate.pattern.days)) if candidate.pattern.cycle_days == 7 else "x"
    numbers = (candidate.minutes, candidate.qb_ml_min, candidate.qd_ml_min)
    return SEPARATOR.join([days, *(f"{number:g}" for number in numbers), str(candidate.dialyser.pk)])


def read_back(word: str) -> Candidate | None:
    """The schedule that `written` wrote, judged by the form's limits; None for anything else."""
    parts = word.split(SEPARATOR)
    if len(parts) != 5:
        return None
    days, minutes, qb, qd, dialyser = parts
    every_other = days == "x"
    data = {
        "nights": "3.5" if every_other else str(len(days)),
        "weekdays": [] if every_other else list(days),
        "minutes": minutes,
        "qb": qb,
        "qd": qd,
        "dialyser": dialyser,
        "dose": DOSE_WANTED,
        "uf_rate": 10,
    }
    form = PlannerForm(data)
    return form.candidate() if form.is_valid() else None
