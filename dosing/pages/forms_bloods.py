"""Forms whose numbers the science converts: bloods, in the units that the unit's screens use."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.services.numbers.blood_units import spoken_of
from homedialysis.accounts.pages.asking_again import AsksAgain
from homedialysis.accounts.pages.typed_numbers import NumberField
from homedialysis.accounts.services.dates import short_day, short_moment
from sessions.facts import plausible
from sessions.facts.choices import Analyte, BloodBound, PostSampleMethod, SampleTiming
from sessions.models import BloodResult, Patient
from sessions.services.bloods import says_the_same, standing_for


class TypedBound(float):
    """A number that was typed behind the sign of a bound: the value lies beyond it."""

    bound: str

    def __new__(cls, number: float, bound: str) -> TypedBound:
        made = super().__new__(cls, number)
        made.bound = bound
        return made


class BoundedField(NumberField):
    """A number, or a bound such as >1650 or <0.3, which is kept as that."""

    def to_python(self, value: Any) -> float | None:
        given = str(value or "").strip().replace("≤", "<=").replace("≥", ">=")
        bound = next((each for each in BOUNDS if given.startswith(each)), "")
        number = super().to_python(given.removeprefix(bound))
        return TypedBound(number, bound) if bound and number is not None else number


BOUNDS = sorted(BloodBound.values, key=len, reverse=True)


def bound_of(number: float) -> str:
    return number.bound if isinstance(number, TypedBound) else ""


class CorrectionForm(AsksAgain, forms.Form):
    """Another value for a result that stands, in the unit that is spoken, and why."""

    number = BoundedField()
    why = forms.CharField(label=_("Why it is corrected"), max_length=200)

    def __init__(self, *args: Any, result: BloodResult, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shown = spoken_of(result.analyte)
        self.fields["number"].label = gettext("Right value (%(unit)s)") % {"unit": self.shown.unit}

    def clean_number(self) -> float:
        given: float = self.cleaned_data["number"]
        if why := self.shown.refusal(given):
            raise forms.ValidationError(why)
        return given

    def unusual(self) -> list[str]:
        given = self.cleaned_data["number"]
        words = "" if bound_of(given) else self.shown.asked_words(given)
        return [words] if words else []

    def canonical(self) -> tuple[float, str]:
        """The value in the canonical unit, and its bound."""
        given = self.cleaned_data["number"]
        return self.shown.to_canonical(given), bound_of(given)


class BloodsForm(AsksAgain, forms.Form):
    """A set of results of one drawing; urea may come as a pair around a treatment. Units as the unit shows them."""

    pre_drawn_at = forms.DateTimeField(
        label=_("Drawn at"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    timing = forms.ChoiceField(label=_("Drawn"), choices=[c for c in SampleTiming.choices if c[0] != SampleTiming.POST])
    post_drawn_at = forms.DateTimeField(
        label=_("Drawn at"),
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    post_urea = NumberField(label="Urea", required=False)
    post_method = forms.ChoiceField(
        label=_("How the sample after was drawn"),
        choices=PostSampleMethod.choices,
        required=False,
        initial="neither",
    )
    post_minutes = NumberField(
        label=_("Minutes after the end"),
        required=False,
        help_text=_("Of a late sample; left empty, the times of drawing and of the end say so."),
    )

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.patient = patient
        self.shown = {analyte.value: spoken_of(analyte.value) for analyte in Analyte}
        for analyte in Analyte:
            label = f"{analyte.label} ({self.shown[analyte.value].unit})"
            self.fields[analyte.name.lower()] = BoundedField(label=label, required=False)
        self.fields["post_urea"].label = gettext("Urea (%(unit)s)") % {"unit": self.shown[Analyte.UREA.value].unit}

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields as the page lays them out."""
        second = ("post_drawn_at", "post_urea", "post_method", "post_minutes")
        first = [name for name in self.fields if name not in second]
        layout = ((gettext("First sample"), first), (gettext("Second sample, after the treatment"), second))
        return [(title, [self[name] for name in names]) for title, names in layout]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        given = [analyte for analyte in Analyte if data.get(analyte.name.lower()) is not None]
        for name, analyte in [*((each.name.lower(), each) for each in given), ("post_urea", Analyte.UREA)]:
            if data.get(name) is not None and (why := self.shown[analyte.value].refusal(data[name])):
                self.add_error(name, why)
        if not given and data.get("post_urea") is None:
            raise forms.ValidationError(gettext("Enter at least one result."))
        if data.get("post_urea") is not None and not data.get("post_drawn_at"):
            self.add_error("post_drawn_at", gettext("Say when the second sample was drawn."))
        self._judge_minutes(data)
        now = timezone.now()
        for name in ("pre_drawn_at", "post_drawn_at"):
            if data.get(name) and data[name] > now:
                self.add_error(
                    name, gettext("Lies ahead of now, %(now)s.") % {"now": short_moment(timezone.localtime(now))}
                )
            if data.get(name) and data[name] < plausible.EARLIEST:
                self.add_error(
                    name, gettext("Must not lie before %(earliest)s.") % {"earliest": short_day(plausible.EARLIEST)}
                )
        return data

    def unusual(self) -> list[str]:
        """Each result that is possible but unusual, and each that would correct one that stands, in words."""
        names = [*((each.name.lower(), each) for each in Analyte), ("post_urea", Analyte.UREA)]
        given = [(self.shown[each.value], self.cleaned_data.get(name)) for name, each in names]
        plain = [(shown, number) for shown, number in given if number is not None and not bound_of(number)]
        odd = [words for shown, number in plain if (words := shown.asked_words(number))]
        return odd + [words for result in self.results() if (words := self._corrects(result))]

    def _corrects(self, result: BloodResult) -> str:
        """What stands for the same analyte and time, by whom, and what it would become; "" where nothing changes."""
        there = standing_for(result)
        if there is None or says_the_same(result, there):
            return ""
        shown = self.shown[result.analyte]
        words = gettext(
            "%(name)s drawn %(drawn)s: %(was)s %(unit)s stands, entered by %(by)s on %(at)s. This corrects it to "
            "%(new)s %(unit)s; what stood is kept below."
        )
        return words % {
            "name": shown.label,
            "drawn": short_moment(timezone.localtime(there.drawn_at)),
            "was": shown.text(there),
            "new": shown.text(result),
            "unit": shown.unit,
            "by": there.entered_by.name,
            "at": short_moment(timezone.localtime(there.entered_at)),
        }

    def _judge_minutes(self, data: dict[str, Any]) -> None:
        minutes = data.get("post_minutes")
        if minutes is None:
            return
        if data.get("post_method") != PostSampleMethod.LATE:
            self.add_error("post_minutes", gettext("Only a late sample has minutes."))
        elif why := plausible.MINUTES_AFTER_END.refusal(minutes):
            self.add_error("post_minutes", why)

    def results(self) -> list[BloodResult]:
        """The results in canonical units, ready to be entered."""
        data = self.cleaned_data
        rows = [
            self._result(analyte, data[analyte.name.lower()], data["pre_drawn_at"], data["timing"], "")
            for analyte in Analyte
            if data.get(analyte.name.lower()) is not None
        ]
        if data.get("post_urea") is not None:
            method = data["post_method"] or PostSampleMethod.NEITHER
            rows.append(self._result(Analyte.UREA, data["post_urea"], data["post_drawn_at"], SampleTiming.POST, method))
            rows[-1].post_minutes = data["post_minutes"]
        return rows

    def _result(self, analyte: Analyte, given: float, drawn_at: datetime, timing: str, method: str) -> BloodResult:
        value = self.shown[analyte.value].to_canonical(given)
        return BloodResult(
            patient=self.patient,
            analyte=analyte,
            value=value,
            bound=bound_of(given),
            drawn_at=drawn_at,
            timing=timing,
            post_method=method,
        )
