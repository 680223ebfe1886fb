"""Forms for what surrounds the treatment: water, machines, supplies, training, how often things come round."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.models import User
from homedialysis.accounts.pages.asking_again import AsksAgain
from homedialysis.accounts.pages.forms import AskingForm, MomentInput
from homedialysis.accounts.pages.typed_numbers import NumberField, WholeNumberField
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.facts.choices_surroundings import FIGURES, WATER_UNITS, WaterFluid, WaterKind
from sessions.models import (
    BloodsDue,
    Interval,
    Machine,
    Patient,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    Training,
    WaterStandard,
    WaterTest,
)
from sessions.models.supplies import months_after
from sessions.pages.forms import DateInput
from sessions.services.surroundings import usual_fluid
from sessions.texts.ready import words_of


class SurroundingsForm(AsksAgain, AskingForm[Any]):
    """A form whose row already knows its patient, if it has one."""

    def put_errors(self, problem: ValidationError) -> None:
        """Show what the model refuses: at its field where the form has it, else on top."""
        if not hasattr(problem, "error_dict"):
            self.add_error(None, problem)
            return
        for name, faults in problem.error_dict.items():
            self.add_error(name if name in self.fields else None, faults)


class WaterTestForm(SurroundingsForm):
    class Meta:
        model = WaterTest
        fields: ClassVar = ["kind", "sampled_at", "place", "fluid", "value", "below_detection", "note"]
        widgets: ClassVar = {"sampled_at": MomentInput()}
        help_texts: ClassVar = {
            "value": _("Chlorine and hardness in mg/L, cultures in CFU/mL, endotoxin in EU/mL, conductivity in µS/cm."),
            "fluid": _("Left empty: by the place, and by whether its machine is kept as ultrapure."),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fluid"].required = False

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not data.get("fluid") and data.get("place") and data.get("sampled_at"):
            data["fluid"] = usual_fluid(self.instance.patient, data["place"], data["sampled_at"].date())
        return data

    def unusual(self) -> list[str]:
        """What is possible but unusual about the result, in words, so that it is asked about once more."""
        limits, value = plausible.WATER[self.cleaned_data["kind"]], self.cleaned_data["value"]
        return [words] if (words := limits.asked_words(value)) else []


class MachineForm(SurroundingsForm):
    class Meta:
        model = Machine
        fields: ClassVar = ["kind", "name", "serial", "ultrapure", "since", "until"]
        widgets: ClassVar = {"since": DateInput(), "until": DateInput()}


class TaskDoneForm(SurroundingsForm):
    class Meta:
        model = TaskDone
        fields: ClassVar = ["kind", "done_at", "note"]
        widgets: ClassVar = {"done_at": MomentInput()}


class DeliveryForm(SurroundingsForm):
    class Meta:
        model = SupplyDelivery
        fields: ClassVar = ["item", "count", "expected_on", "arrived_at", "arrived"]
        widgets: ClassVar = {"expected_on": DateInput(), "arrived_at": MomentInput()}
        help_texts: ClassVar = {"arrived": _("Only where another number came.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        listed = SupplyItem.objects.filter(models.Q(in_use=True) | models.Q(pk=self.instance.item_id))
        self.fields["item"] = forms.ModelChoiceField(listed, label=self.fields["item"].label)


class TrainingForm(SurroundingsForm):
    months = WholeNumberField(
        label=_("Good for so many months"), required=False, help_text=_("Or say below on which day it is due again.")
    )

    class Meta:
        model = Training
        fields: ClassVar = ["partner", "topic", "done_on", "months", "valid_until", "trained_by"]
        widgets: ClassVar = {"done_on": DateInput(), "valid_until": DateInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        patient: Patient = self.instance.patient
        if self.instance.topic:
            self.initial["topic"] = words_of(self.instance.topic)
        helpers = User.objects.filter(pk__in=patient.carepartner_set.values("user"))
        self.fields["partner"] = forms.ModelChoiceField(
            helpers, label=_("Who was trained"), required=False, empty_label=patient.name
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        months = data.get("months")
        if months is not None and (why := plausible.SURROUNDINGS["months"].refusal(months)):
            self.add_error("months", why)
        elif months is not None and data.get("valid_until"):
            self.add_error("months", gettext("Say how many months, or the day: not both."))
        elif months is not None and data.get("done_on"):
            data["valid_until"] = months_after(data["done_on"], months)
        return data


class IntervalForm(SurroundingsForm):
    class Meta:
        model = Interval
        fields: ClassVar = ["kind", "every_days", "every_treatments", "first_tests", "first_days", "stopped"]
        help_texts: ClassVar = {
            "every_treatments": _("With both, whichever comes first."),
            "first_tests": _(
                "Cultures and endotoxin only: from a new water treatment and from its service on, until so many days "
                "of sampling in a row were clean. Empty: 3, common practice; 0: not denser."
            ),
            "first_days": _("Empty: 30, common practice."),
        }


class BloodsDueForm(SurroundingsForm):
    analytes = forms.MultipleChoiceField(
        choices=Analyte.choices, label=_("Results in it"), widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = BloodsDue
        fields: ClassVar = ["name", "every_weeks", "analytes", "stopped"]
        help_texts: ClassVar = {"name": _("A patient's own panel takes the place of the unit's of the same name.")}


class SupplyItemForm(SurroundingsForm):
    class Meta:
        model = SupplyItem
        fields: ClassVar = ["name", "unit_word", "per_treatment", "cover_days", "pack_size", "in_use"]


class WaterStandardForm(SurroundingsForm):
    """The edition, and beside it figures of the unit's own: what is left empty is the edition's."""

    class Meta:
        model = WaterStandard
        fields: ClassVar = ["edition"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for fluid, kind in FIGURES:
            held = self.instance.figures.get(fluid, {}).get(kind, [None, None])
            words = {"test": kind.label, "fluid": fluid.label, "unit": WATER_UNITS[kind]}
            labels = (
                _("%(test)s in %(fluid)s, limit (%(unit)s)") % words,
                _("%(test)s in %(fluid)s, action from (%(unit)s)") % words,
            )
            for name, label, value in zip(_names(fluid, kind), labels, held, strict=True):
                self.fields[name] = NumberField(label=label, required=False, min_value=0, initial=value)

    @property
    def figure_rows(self) -> list[dict[str, Any]]:
        """label, fields (limit and action level) of each figure, for a table."""
        return [
            {
                "label": f"{kind.label}, {fluid.label} ({WATER_UNITS[kind]})",
                "fields": [self[name] for name in _names(fluid, kind)],
            }
            for fluid, kind in FIGURES
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        figures: dict[str, dict[str, list[float | None]]] = {}
        for fluid, kind in FIGURES:
            limit, action = (data.get(name) for name in _names(fluid, kind))
            if limit is not None:
                figures.setdefault(str(fluid), {})[str(kind)] = [limit, action]
            elif action is not None:
                self.add_error(_names(fluid, kind)[0], gettext("An action level needs its limit."))
        self.instance.figures = figures
        return data


def _names(fluid: WaterFluid, kind: WaterKind) -> tuple[str, str]:
    return f"{fluid}_{kind}_limit", f"{fluid}_{kind}_action"


class CountForm(forms.Form):
    """One count of everything on the list: what is left empty was not counted."""

    counted_at = forms.DateTimeField(label=_("Counted at"), widget=MomentInput())

    def __init__(self, *args: Any, items: Iterable[SupplyItem], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.items = list(items)
        for item in self.items:
            label = f"{item.name} ({item.unit_word})"
            self.fields[f"item_{item.pk}"] = WholeNumberField(label=label, required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for item in self.items:
            given = data.get(f"item_{item.pk}")
            if given is not None and (why := plausible.SURROUNDINGS["count"].refusal(given)):
                self.add_error(f"item_{item.pk}", why)
        if not self.errors and all(data.get(f"item_{item.pk}") is None for item in self.items):
            raise ValidationError(gettext("Enter at least one count."))
        return data

    def counts(self, patient: Patient) -> list[SupplyCount]:
        """The counts, ready to be noted."""
        counted_at: datetime = self.cleaned_data["counted_at"]
        given = [(item, self.cleaned_data[f"item_{item.pk}"]) for item in self.items]
        return [
            SupplyCount(patient=patient, item=item, counted_at=counted_at, count=count)
            for item, count in given
            if count is not None
        ]
