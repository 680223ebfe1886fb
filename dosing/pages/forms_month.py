"""Forms of the month: ranges, the review, its plan and addenda."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.ranges import choices
from dosing.services.numbers.blood_units import spoken_of
from homedialysis.accounts.models import CLINICAL_ROLES, User
from homedialysis.accounts.pages.asking_again import AsksAgain
from homedialysis.accounts.pages.typed_numbers import NumberField
from sessions.facts.local_number import plain


class RangeForm(AsksAgain, forms.Form):
    """Ends are typed in the unit that the list names; what comes of `clean` is in the number's own."""

    number = forms.ChoiceField(label=_("Number"), choices=choices)
    low = NumberField(label=_("Lower end"), required=False, help_text=_("Empty: open. A share as a fraction of 1."))
    high = NumberField(label=_("Upper end"), required=False, help_text=_("Empty: open."))
    default = forms.BooleanField(label=_("Back to the published range"), required=False)
    why = forms.CharField(label=_("Why"), max_length=500)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        low, high, default = data.get("low"), data.get("high"), data.get("default")
        if not default and low is None and high is None:
            self.add_error("low", gettext("Give at least one end, or go back to the published range."))
        if low is not None and high is not None and low > high:
            self.add_error(
                "high",
                gettext("The upper end must not lie below the lower one, %(low)s; %(high)s was given.")
                % {"low": plain(low), "high": plain(high)},
            )
        self._odd = list(self._judged(data))
        return data

    def _judged(self, data: dict[str, Any]) -> Iterator[str]:
        """Refuse ends that no result can have, turn the others into the number's own unit; say what is unusual."""
        number = MONTH_NUMBERS.get(data.get("number", ""))
        if number is None or not number.analyte:
            return
        shown = spoken_of(number.analyte)
        for name in ("low", "high"):
            given = data.get(name)
            if given is None:
                continue
            if why := shown.refusal(given):
                self.add_error(name, why)
            elif words := shown.asked_words(given):
                yield words
            data[name] = shown.to_canonical(given)

    def unusual(self) -> list[str]:
        return self._odd


class ReviewForm(forms.Form):
    words = forms.CharField(
        label=_("Judgement"), required=False, max_length=10_000, widget=forms.Textarea(attrs={"rows": 6})
    )
    for_patient = forms.CharField(
        label=_("In plain words, for the patient"),
        required=False,
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("The patient sees it once it is signed and released."),
    )


class PlanForm(forms.Form):
    """It is sent together with the judgement and the signature, so the browser must not ask for it at their buttons."""

    use_required_attribute = False
    prefix = "plan"
    words = forms.CharField(label=_("What"), max_length=300)
    owner = forms.ModelChoiceField(label=_("Who"), queryset=User.objects.none(), empty_label=_("Choose"))
    due_on = forms.DateField(label=_("Until"), widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "plan_%s"} | kwargs)  # beside the review's form on the same page
        owner = self.fields["owner"]
        assert isinstance(owner, forms.ModelChoiceField)
        owner.queryset = User.objects.filter(role__in=CLINICAL_ROLES, is_active=True)
        for field in self.fields.values():
            field.widget.attrs["form"] = "judgement"


class WordsForm(forms.Form):
    """An addendum."""

    words = forms.CharField(label=_("Words"), max_length=5_000, widget=forms.Textarea(attrs={"rows": 3}))
