"""One row each of the unit's own texts: a check, a step, an emergency card, first-aid words; and their saving."""

from __future__ import annotations

import re
from typing import Any, ClassVar

from django import forms
from django.utils.text import format_lazy, slugify
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from homedialysis.accounts.pages.typed_numbers import NumberField, WholeNumberField
from sessions.facts.choices import CheckPart, EventKind, SiteUse
from sessions.facts.local_number import plain
from sessions.texts import checklist, run_sheets
from sessions.texts.cards import FirstCall
from sessions.texts.flows import MEASURE_AGAIN_MINUTES, WAITS, kind_of

KEY = re.compile(r"[a-z0-9_]{1,40}")
ASKED_OF_A_NEEDLE = ("needle", "flash", "flush", "tape", "attempts", "pain")
ASKS = (
    ("", _("nothing, only done")),
    ("needle", _("which needle")),
    ("flash", _("whether blood came back")),
    ("flush", _("whether it flushes")),
    ("tape", _("whether it is taped")),
    ("attempts", _("how many attempts")),
    ("pain", _("pain, 0 to 10")),
    ("pump_speed", _("the speed of the pump, typed")),
    ("prescribed_speed", _("whether tonight's speed is reached")),
    ("bolus", _("the heparin bolus, where one is prescribed")),
    ("set_machine", _("whether the machine is set: fluid, length, heparin")),
)
FOR_WHOM = (
    (checklist.EVERYBODY, _("everybody")),
    (checklist.NEEDLES, _("with needles (fistula or graft)")),
    (checklist.CATHETER, _("with a catheter")),
)
MOST_LINES, LONGEST_LINE = 8, 200


def _few_lines(rows: int = 2) -> forms.Textarea:
    return forms.Textarea(attrs={"rows": rows})


class RowForm(forms.Form):
    """A row: `name_of` is the field that people call it by; `key` stays the same while the words change."""

    name_of: ClassVar[str]
    key = forms.CharField(max_length=40, required=False, widget=forms.HiddenInput)

    def clean_key(self) -> str:
        given: str = self.cleaned_data["key"]
        if given and not KEY.fullmatch(given):
            raise forms.ValidationError(
                gettext("A key is made of a to z, 0 to 9 and _; “%(given)s” was given.") % {"given": given}
            )
        return given

    @property
    def called(self) -> str:
        return str(self[self.name_of].value() or "")

    @property
    def facts(self) -> list[tuple[str, str]]:
        """What else the row says, label and words, for reading."""
        told = []
        for field in self.visible_fields():
            value = field.value()
            choices = dict(getattr(field.field, "choices", ()))
            if field.name != self.name_of and value not in (None, "", False):
                told.append((str(field.label), gettext("yes") if value is True else str(choices.get(value, value))))
        return told

    def as_row(self) -> dict[str, Any]:
        """The valid row as it is kept in the text, its key still as given."""
        return dict(self.cleaned_data)


class ItemForm(RowForm):
    name_of = "name"
    name = forms.CharField(max_length=80, label=_("Check"))
    part = forms.ChoiceField(choices=CheckPart.choices, label=_("When"))
    for_whom = forms.ChoiceField(choices=FOR_WHOM, required=False, label=_("For"))
    hint = forms.CharField(max_length=300, required=False, widget=_few_lines(), label=_("Explanation under it"))
    if_failed = forms.CharField(
        max_length=400, required=False, widget=_few_lines(), label=_("What to do when it fails"),
        help_text=_("The phone holds the flow here and shows these words."),
    )  # fmt: skip
    asks_value = forms.BooleanField(required=False, label=_("A number is written down"))
    unit = forms.CharField(max_length=20, required=False, label=_("Unit of the number"))
    limit_low = NumberField(required=False, label=_("Lowest that passes"))
    limit_high = NumberField(required=False, label=_("Highest that passes"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        low, high = data.get("limit_low"), data.get("limit_high")
        if low is not None and high is not None and low > high:
            self.add_error(
                "limit_high",
                gettext("The highest must not lie below the lowest, %(low)s; %(high)s was given.")
                % {"low": plain(low), "high": plain(high)},
            )
        if not data.get("asks_value") and (low is not None or high is not None):
            self.add_error("asks_value", gettext("A limit needs a number to judge: mark this, or empty the limits."))
        return data


class StepForm(RowForm):
    name_of = "words"
    words = forms.CharField(max_length=200, label=_("Step"))
    hint = forms.CharField(max_length=300, required=False, widget=_few_lines(), label=_("Explanation under it"))
    countdown_s = WholeNumberField(
        required=False, min_value=1, max_value=3600, label=_("Wait, in seconds"),
        help_text=_("A countdown runs on the phone."),
    )  # fmt: skip
    asks = forms.ChoiceField(choices=ASKS, required=False, label=_("The phone asks"))
    use = forms.ChoiceField(
        choices=[("", _("both, or neither")), *SiteUse.choices], required=False, label=_("Which needle")
    )
    part = forms.ChoiceField(
        choices=[("", _("to begin a treatment")), (run_sheets.COMING_OFF, _("to end it"))], required=False,
        label=_("When"),
    )  # fmt: skip
    speed_ml_min = WholeNumberField(
        required=False, min_value=10, max_value=600, label=_("Speed of the pump here, mL/min"),
        help_text=_("The phone shows it; nothing is typed."),
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("asks") in ASKED_OF_A_NEEDLE and not data.get("use"):
            self.add_error("use", gettext("Say which needle this is asked of."))
        return data


class LinesField(forms.CharField):
    """Several short things, a line each."""

    def __init__(self, rows: int, **more: Any) -> None:
        super().__init__(widget=_few_lines(rows), **more)

    def clean(self, value: Any) -> list[str]:
        lines = [line.strip() for line in str(super().clean(value)).splitlines() if line.strip()]
        if len(lines) > MOST_LINES:
            raise forms.ValidationError(
                gettext("At most %(most)s lines; %(given)s were given.") % {"most": MOST_LINES, "given": len(lines)}
            )
        if long := [line for line in lines if len(line) > LONGEST_LINE]:
            raise forms.ValidationError(
                gettext("A line has at most %(most)s characters; one of %(given)s was given.")
                % {"most": LONGEST_LINE, "given": len(long[0])}
            )
        return lines


class CardForm(RowForm):
    """The key is the kind of emergency, which is given; so are its events and whom it is for."""

    name_of = "title"
    title = forms.CharField(max_length=60, label=_("Title"))
    signs = forms.CharField(max_length=LONGEST_LINE, required=False, label=_("How it shows itself"))
    now = LinesField(
        6, label=_("What to do now, a line each"), help_text=format_lazy(
            _("At most {most} lines. Somebody reads them frightened, with one hand."), most=MOST_LINES
        ),
    )  # fmt: skip
    never = LinesField(2, required=False, label=_("What never to do, a line each"))
    call = LinesField(
        2, label=_("Whom to call, a line each"),
        help_text=_("Each line names the unit or the emergency number."),
    )  # fmt: skip
    first = forms.ChoiceField(
        choices=[(FirstCall.EMERGENCY.value, _("the emergency number")), (FirstCall.UNIT.value, _("the unit"))],
        label=_("Whose number lies under the thumb"),
    )
    helper = LinesField(2, required=False, label=_("What a helper does, a line each"))
    alone = forms.CharField(max_length=LONGEST_LINE, required=False, label=_("What somebody alone does besides"))
    say = forms.CharField(max_length=LONGEST_LINE, label=_("What to say on the telephone"))


class FirstAidForm(RowForm):
    """The key is the kind of event, which is given."""

    name_of = "key"
    words = forms.CharField(max_length=400, required=False, widget=_few_lines(3), label=_("What to do"))

    @property
    def called(self) -> str:
        return str(EventKind(self.initial["key"]).label)


class FlowForm(RowForm):
    """One step of the way through some trouble. Its place, and what its answers lead to, come with the program."""

    name_of = "words"
    words = forms.CharField(max_length=200, widget=_few_lines(), label=_("Step"))
    hint = forms.CharField(max_length=300, required=False, widget=_few_lines(), label=_("Explanation under it"))
    minutes = WholeNumberField(required=False, min_value=1, max_value=60, label=_("Measured again after, in minutes"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.waits:
            del self.fields["minutes"]

    @property
    def called(self) -> str:
        kind = kind_of(str((self.initial or {}).get("key", "")))
        known = dict(EventKind.choices).get(kind, kind)
        return f"{known}: {super().called}"

    @property
    def waits(self) -> bool:
        return str((self.initial or {}).get("key", "")).endswith(f"_{WAITS}")

    def clean_minutes(self) -> int:
        given: int | None = self.cleaned_data["minutes"]
        return MEASURE_AGAIN_MINUTES if given is None else given

    def as_row(self) -> dict[str, Any]:
        return {"minutes": None} | super().as_row()


class SaveForm(forms.Form):
    why = forms.CharField(max_length=300, label=_("What is changed, and why"))
    base = forms.IntegerField(min_value=0, widget=forms.HiddenInput)


class MessageForm(forms.Form):
    words = forms.CharField(
        max_length=1000, widget=_few_lines(4), label=_("Message"),
        help_text=_("Shown at the bedside when the phone is next opened with a network. Nothing urgent: call instead."),
    )  # fmt: skip


def with_keys(rows: list[dict[str, Any]], name_of: str) -> list[dict[str, Any]]:
    """The rows, each under a key of its own: given ones stay, new ones are made of the words."""
    used: set[str] = set()
    keyed = []
    for row in rows:
        key = row["key"] if row["key"] and row["key"] not in used else _new_key(str(row[name_of]), rows, used)
        used.add(key)
        keyed.append(row | {"key": key})
    return keyed


def _new_key(words: str, rows: list[dict[str, Any]], used: set[str]) -> str:
    stem = slugify(words).replace("-", "_")[:34] or "row"
    taken = used | {row["key"] for row in rows}
    return next(key for key in (stem, *(f"{stem}_{number}" for number in range(2, 1000))) if key not in taken)
