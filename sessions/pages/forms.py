"""Forms behind the unit's pages. Limits of numbers come from `plausible`, as everywhere."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any, ClassVar

from django import forms
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.models import Weekday
from homedialysis.accounts.pages.asking_again import AsksAgain
from homedialysis.accounts.pages.forms import AskingForm
from homedialysis.accounts.pages.typed_numbers import NumberField, ToldField
from homedialysis.accounts.pages.zones import ZoneField
from homedialysis.accounts.services.dates import short_day
from sessions.facts import plausible
from sessions.facts.choices import AccessKind, Limb
from sessions.facts.local_number import plain
from sessions.facts.ordered import NUMBERS, ORDERED
from sessions.facts.ranges import Range
from sessions.models import AccessSite, Dialyser, Patient, Prescription, VascularAccess
from sessions.texts.run_sheets import FOUR_HOURS_ML_MIN, LONG_NIGHT_ML_MIN

TARGET_MOVES = 0.03
"""Share of the target weight in force, beyond which another one is asked about (common practice, no source)."""
MOST_AHEAD = timedelta(days=92)
"""How far ahead a prescription may begin."""


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


def refuse_impossible(form: forms.BaseForm, limits: Mapping[str, Range]) -> None:
    """Put the refusal of every impossible number at its field."""
    for name, each in limits.items():
        given = form.cleaned_data.get(name)
        if isinstance(given, int | float) and (why := each.refusal(given)):
            form.add_error(name, why)


def unusual_of(data: Mapping[str, Any], limits: Mapping[str, Range]) -> list[str]:
    """What is possible but unusual among the numbers that a form took, in words."""
    given = ((each, data.get(name)) for name, each in limits.items())
    return [words for each, number in given if number is not None and (words := each.asked_words(number))]


class EnrolForm(AsksAgain, AskingForm[Patient]):
    class Meta:
        model = Patient
        fields: ClassVar = [
            "name", "hospital_number", "birth_date", "sex", "height_cm", "phone", "time_zone", "joined_on",
        ]  # fmt: skip
        widgets: ClassVar = {"birth_date": DateInput(), "joined_on": DateInput()}
        help_texts: ClassVar = {"time_zone": _("Only when it is not the unit's.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["time_zone"] = ZoneField(
            label=_("Time zone"), unset=_("that of the unit"), held=self.instance.time_zone, required=False,
            help_text=self.fields["time_zone"].help_text,
        )  # fmt: skip

    def unusual(self) -> list[str]:
        return unusual_of(self.cleaned_data, {"height_cm": plausible.HEIGHT_CM})

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        refuse_impossible(self, {"height_cm": plausible.HEIGHT_CM})
        today = timezone.now().date()
        if data.get("birth_date") and data["birth_date"] >= today:
            self.add_error(
                "birth_date",
                gettext("Must lie before today, %(today)s; %(given)s was given.")
                % {"today": short_day(today), "given": short_day(data["birth_date"])},
            )
        return data


class InvitePatientForm(forms.Form):
    email = forms.EmailField(label=_("Patient's e-mail address"))


class InviteCarePartnerForm(forms.Form):
    prefix = "partner"
    name = forms.CharField(max_length=120, label=_("Name"))
    email = forms.EmailField(label=_("E-mail address"))


class AccessForm(AskingForm[VascularAccess]):
    """`limb` begins empty, so that "as the place says" holds until somebody chooses a picture."""

    limb = forms.ChoiceField(
        choices=[("", _("as the place says")), *Limb.choices], required=False, label=_("Drawn as"),
        help_text=_("The picture on which sites are marked."),
    )  # fmt: skip

    class Meta:
        model = VascularAccess
        fields: ClassVar = ["kind", "side", "place", "limb", "created_on"]
        widgets: ClassVar = {"created_on": DateInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk is None:
            self.initial["limb"] = ""

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        data["limb"] = data.get("limb") or limb_of(data.get("kind", ""), data.get("place", ""))
        return data


def limb_of(kind: str, place: str) -> Limb:
    """The picture that goes with the words for a place; the forearm where they name none."""
    words = place.lower()
    if kind == AccessKind.CATHETER and not any(part in words for part in ("thigh", "groin")):
        return Limb.NECK_CHEST
    named = {"thigh": Limb.THIGH, "groin": Limb.THIGH, "upper": Limb.UPPER_ARM, "elbow": Limb.UPPER_ARM}
    return next((limb for part, limb in named.items() if part in words), Limb.FOREARM)


class DrawnForm(AskingForm[VascularAccess]):
    prefix = "drawn"

    class Meta:
        model = VascularAccess
        fields: ClassVar = ["limb", "flow"]


class SiteForm(AskingForm[AccessSite]):
    class Meta:
        model = AccessSite
        fields: ClassVar = ["name", "use", "technique", "resting"]
        help_texts: ClassVar = {"name": _("As the patient calls it, for example: lower, near the wrist.")}


class SiteChangeForm(AskingForm[AccessSite]):
    x = NumberField(required=False, min_value=0, max_value=1, label=_("Across the drawing, 0 left to 1 right"))
    y = NumberField(required=False, min_value=0, max_value=1, label=_("Down the drawing, 0 top to 1 bottom"))

    class Meta:
        model = AccessSite
        fields: ClassVar = ["name", "technique", "resting", "rest_until", "x", "y"]
        widgets: ClassVar = {"rest_until": DateInput()}
        help_texts: ClassVar = {"rest_until": _("The last day of rest.")}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        given = {name: data.get(name) for name in ("x", "y")}
        if not self.errors and list(given.values()).count(None) == 1:
            missing = next(name for name, value in given.items() if value is None)
            self.add_error(missing, gettext("Give both places on the drawing, or neither."))
        return data


class PrescriptionForm(AskingForm[Prescription]):
    weekdays = forms.TypedMultipleChoiceField(
        choices=Weekday.choices,
        coerce=int,
        required=False,
        help_text=_("None marked: the patient chooses the days."),
        widget=forms.CheckboxSelectMultiple,
    )
    starts_on = forms.DateField(
        label=_("In force from"),
        required=False,
        widget=DateInput(),
        help_text=_("The first day on which it holds. Empty: from the moment of signing."),
    )

    class Meta:
        model = Prescription
        fields: ClassVar = list(ORDERED)
        widgets: ClassVar = {"note": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ORDERED:
            self.fields[name].label = ORDERED[name].heading
        weight = NUMBERS["target_weight_kg"]
        if weight.told.differs:
            label = ORDERED["target_weight_kg"].heading
            self.fields["target_weight_kg"] = ToldField(told=weight.told, label=label)
        buffer = self.fields["dialysate_buffer"]
        assert isinstance(buffer, forms.ChoiceField)
        given: Any = buffer.choices
        buffer.choices = [("", gettext("Choose")), *(each for each in given if each[0])]
        self.fields["qb_ml_min"].help_text = gettext(
            "Long nights usually run near %(long)s, four hours at %(four)s and more (common practice, no source)."
        ) % {"long": LONG_NIGHT_ML_MIN, "four": FOUR_HOURS_ML_MIN}
        dialyser = self.fields["dialyser"]
        assert isinstance(dialyser, forms.ModelChoiceField)
        dialyser.queryset = Dialyser.objects.to_prescribe()
        words = gettext("Those in use; a new one is entered among the")
        place = format_html('<a href="{}">{}</a>', reverse("treatments:dialysers"), gettext("dialysers of the unit"))
        dialyser.help_text = format_html("{} {}.", words, place)

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields as the page lays them out."""
        found: dict[str, list[forms.BoundField]] = {}
        for name, each in ORDERED.items():
            found.setdefault(gettext(each.group), []).append(self[name])
        return [*found.items(), (gettext("Beginning"), [self["starts_on"]])]

    def clean_starts_on(self) -> date | None:
        """Not in the past, and not so far ahead that nobody thinks of it any more. The day of today means at once."""
        given: date | None = self.cleaned_data["starts_on"]
        today = timezone.localdate()
        last = today + MOST_AHEAD
        if given is not None and not today <= given <= last:
            parts = {"today": short_day(today), "last": short_day(last), "given": short_day(given)}
            raise forms.ValidationError(
                gettext("Must lie between today, %(today)s, and %(last)s; %(given)s was given.") % parts
            )
        return None if given == today else given

    def clean_target_weight_kg(self) -> float | None:
        """What was not touched is not moved by the way to pounds and back."""
        given: float | None = self.cleaned_data["target_weight_kg"]
        field = self.fields["target_weight_kg"]
        return field.unmoved(given, self.initial.get("target_weight_kg")) if isinstance(field, ToldField) else given

    @property
    def begins(self) -> datetime | None:
        """The first moment of the day on which it begins, where the patient lives; None: at once."""
        day = self.cleaned_data["starts_on"]
        return day and timezone.make_aware(datetime.combine(day, time.min))

    def unusual(self, last: Prescription | None) -> list[str]:
        """What is possible but unusual, in words, so that the signer is asked once more. last: what is in force."""
        given = self.cleaned_data
        of_its_own = (_target_moved(last, given.get("target_weight_kg")), self._needle(given.get("needle_gauge")))
        return [words for words in of_its_own if words] + unusual_of(given, NUMBERS)

    def _needle(self, gauge: float | None) -> str:
        """A needle ordered for a catheter: kept, for a fistula may be used from the day on which this begins."""
        access = self.instance.patient.accesses.in_use().first() if gauge is not None else None
        if gauge is None or access is None or access.kind != AccessKind.CATHETER:
            return ""
        parts = {"label": NUMBERS["needle_gauge"].label, "given": plain(gauge), "unit": NUMBERS["needle_gauge"].unit}
        return gettext("%(label)s: %(given)s %(unit)s, and the access in use is a catheter") % parts


def _target_moved(last: Prescription | None, given: float | None) -> str:
    """A slip of the hand in a weight lies within its usual range: it is held against the one in force."""
    if last is None or given is None:
        return ""
    off = abs(given - last.target_weight_kg)
    if off <= TARGET_MOVES * last.target_weight_kg:
        return ""
    limits = NUMBERS["target_weight_kg"]
    parts = {"label": limits.label, "given": limits.figure(given), "now": limits.figure(last.target_weight_kg)}
    words = gettext("%(label)s: %(given)s %(unit)s, %(off)s %(unit)s off the %(now)s %(unit)s that holds now")
    change = plain(round(limits.told.change(off), 2))
    return words % (parts | {"off": change, "unit": limits.unit_told})
