"""Forms of the month: ranges, the review, its plan and addenda."""

from __future__ import annotations

from typing import Any

from django import forms

from dosing.services.month.ranges import choices
from homedialysis.accounts.models import CLINICAL_ROLES, User


class RangeForm(forms.Form):
    number = forms.ChoiceField(choices=choices)
    low = forms.FloatField(label="Lower end", required=False, help_text="Empty: open. A share as a fraction of 1.")
    high = forms.FloatField(label="Upper end", required=False, help_text="Empty: open.")
    default = forms.BooleanField(label="Back to the published range", required=False)
    why = forms.CharField(label="Why", max_length=500)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        low, high, default = data.get("low"), data.get("high"), data.get("default")
        if not default and low is None and high is None:
            self.add_error("low", "Give at least one end, or go back to the published range.")
        if low is not None and high is not None and low > high:
            self.add_error("high", f"The upper end must not lie below the lower one, {low:g}; {high:g} was given.")
        return data


class ReviewForm(forms.Form):
    words = forms.CharField(
        label="Judgement", required=False, max_length=10_000, widget=forms.Textarea(attrs={"rows": 6})
    )
    for_patient = forms.CharField(
        label="In plain words, for the patient",
        required=False,
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="The patient sees it once it is signed and released.",
    )


class PlanForm(forms.Form):
    words = forms.CharField(label="What", max_length=300)
    owner = forms.ModelChoiceField(label="Who", queryset=User.objects.none(), empty_label="Choose")
    due_on = forms.DateField(label="Until", widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "plan_%s"} | kwargs)  # beside the review's form on the same page
        owner = self.fields["owner"]
        assert isinstance(owner, forms.ModelChoiceField)
        owner.queryset = User.objects.filter(role__in=CLINICAL_ROLES, is_active=True)


class WordsForm(forms.Form):
    """An addendum."""

    words = forms.CharField(label="Words", max_length=5_000, widget=forms.Textarea(attrs={"rows": 3}))
