"""Forms for a laboratory's messages, and for how its tables are read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, ClassVar

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from dosing.science.bloods import analyte_of_loinc
from dosing.services.importing.csv_table import EXAMPLE, NEEDED, OPTIONAL
from dosing.services.importing.line_words import FIELDS
from dosing.services.importing.rows import MOST_BYTES
from dosing.services.numbers.blood_units import spoken_of
from homedialysis.accounts.pages.asking_again import AsksAgain
from homedialysis.accounts.pages.forms import AskingForm
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.facts.ranges import Range
from sessions.models import Laboratory, UrineCollection
from sessions.pages.forms import refuse_impossible, unusual_of

WALL = "%Y-%m-%dT%H:%M"


class UploadForm(forms.Form):
    laboratory = forms.ModelChoiceField(
        label=_("Laboratory"), queryset=Laboratory.objects.all(), empty_label=_("Choose one")
    )
    file = forms.FileField(
        label=_("File"),
        help_text=_("A table (CSV), HL7 v2 ORU^R01 or a FHIR R4 Bundle, up to 2 MB."),
        allow_empty_file=True,
    )

    def clean_file(self) -> Any:
        given = self.cleaned_data["file"]
        if given.size > MOST_BYTES:
            raise forms.ValidationError(
                gettext("At most %(most)s MB; the file has %(given)s bytes.")
                % {"most": MOST_BYTES // 1_000_000, "given": given.size}
            )
        return given


DAYS_WRITTEN = ("%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m/%d/%Y", "%Y%m%d", "%d %b %Y")
TIMES_WRITTEN = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p")
NUMBERS_WRITTEN = {"1234.5": (False, ""), "1,234.5": (False, ","), "1'234.5": (False, "'"), "1234,5": (True, ""),
                   "1.234,5": (True, "."), "1 234,5": (True, " ")}  # fmt: skip
"""By example: whether a comma is the decimal sign, and what stands between thousands."""
LETTERS = {
    "utf-8-sig": _("any letter (UTF-8)"),
    "cp1252": _("Windows, western Europe: ä é ñ"),
    "cp1250": _("Windows, central Europe: ą č ő"),
    "iso8859-15": _("Unix, western Europe: ä é ñ €"),
    "cp850": _("old MS-DOS: ä é ñ"),
}
MOMENTS_WRITTEN = (
    *(f"{day} {time}" for day in DAYS_WRITTEN for time in TIMES_WRITTEN),
    *("%Y-%m-%dT%H:%M:%S", "%Y%m%d%H%M", "%Y%m%d%H%M%S"),
)


def ways_of_writing(ways: Sequence[str], kept: str) -> list[tuple[str, str]]:
    """Choices by example; one that is kept and not among them stays, as it is."""
    known = [(way, EXAMPLE.strftime(way)) for way in ways]
    return known if kept in ways else [(kept, EXAMPLE.strftime(kept)), *known]


class LaboratoryForm(AskingForm[Laboratory]):
    """A laboratory, with one field for each column and its own codes a line each."""

    own_codes = forms.CharField(
        label=_("Its own codes"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_(
            "Of tests for which it sends no LOINC code, or one that is not known here: one a line, K = 2823-3."
        ),
    )

    class Meta:
        model = Laboratory
        fields = ("name", "encoding", "date_format", "time_format")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field, label, ways in (
            ("date_format", gettext("How it writes a day"), DAYS_WRITTEN),
            ("time_format", gettext("How it writes a day with its time"), MOMENTS_WRITTEN),
        ):
            written = ways_of_writing(ways, getattr(self.instance, field))
            self.fields[field] = forms.ChoiceField(label=label, choices=written)
        self.fields["encoding"] = forms.ChoiceField(
            label=gettext("Which letters its tables have"), choices=LETTERS.items()
        )
        style = (self.instance.decimal_comma, self.instance.thousands)
        self.fields["numbers"] = forms.ChoiceField(
            label=gettext("How it writes a number"),
            choices=[(each, each) for each in NUMBERS_WRITTEN],
            initial=next((each for each, known in NUMBERS_WRITTEN.items() if known == style), ""),
        )
        for name in (*NEEDED, *OPTIONAL):
            self.fields[f"column_{name}"] = forms.CharField(
                label=capfirst(FIELDS[name]), required=False, max_length=60, initial=self.instance.columns.get(name)
            )
        self.fields["own_codes"].initial = "\n".join(f"{own} = {loinc}" for own, loinc in self.instance.codes.items())

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in (*self._meta.fields, "numbers", "own_codes")]  # type: ignore[misc,union-attr]

    @property
    def column_fields(self) -> list[forms.BoundField]:
        return [self[f"column_{name}"] for name in (*NEEDED, *OPTIONAL)]

    def clean_own_codes(self) -> dict[str, str]:
        codes: dict[str, str] = {}
        for line in filter(None, map(str.strip, self.cleaned_data["own_codes"].splitlines())):
            own, equals, loinc = (part.strip() for part in line.rpartition("="))
            if not equals or not own:
                raise forms.ValidationError(
                    gettext("“%(line)s”: write its own code, =, and the LOINC code.") % {"line": line[:60]}
                )
            if analyte_of_loinc(loinc) is None:
                raise forms.ValidationError(
                    gettext("“%(loinc)s” is no LOINC code that this record knows.") % {"loinc": loinc[:20]}
                )
            codes[own] = loinc
        return codes

    def save(self, commit: bool = True) -> Laboratory:
        named = {name: self.cleaned_data[f"column_{name}"].strip() for name in (*NEEDED, *OPTIONAL)}
        self.instance.columns = {name: column for name, column in named.items() if column}
        self.instance.codes = self.cleaned_data["own_codes"]
        self.instance.decimal_comma, self.instance.thousands = NUMBERS_WRITTEN[self.cleaned_data["numbers"]]
        return super().save(commit)


class UrineForm(AsksAgain, AskingForm[UrineCollection]):
    class Meta:
        model = UrineCollection
        fields = ("began_at", "ended_at", "volume_ml", "urea_mmol_l", "creatinine_mmol_l")
        widgets: ClassVar = {
            "began_at": forms.DateTimeInput(attrs={"type": "datetime-local"}, format=WALL),
            "ended_at": forms.DateTimeInput(attrs={"type": "datetime-local"}, format=WALL),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, (_factor, unit) in self._in_mg().items():
            self.fields[name].label = f"{gettext(plausible.URINE[name].label)} ({unit})"

    @staticmethod
    def _in_mg() -> dict[str, tuple[float, str]]:
        """What is typed in mg/dL where that is spoken: how many of it make 1 mmol/L, and how it is written."""
        urea, creatinine = spoken_of(Analyte.UREA), spoken_of(Analyte.CREATININE)
        if urea.factor == 1:
            return {}
        return {
            "urea_mmol_l": (urea.factor, urea.unit),
            "creatinine_mmol_l": (creatinine.factor * 1000, creatinine.unit),
        }

    def _limits(self) -> dict[str, Range]:
        """The limits of typing, in the units in which it is typed."""
        limits = dict(plausible.URINE)
        for name, (factor, unit) in self._in_mg().items():
            known = limits[name]
            limits[name] = replace(known, unit=unit, hard=_times(factor, known.hard), usual=_times(factor, known.usual))
        return limits

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        refuse_impossible(self, self._limits())
        self._odd = unusual_of(data, self._limits())
        for name, (factor, _unit) in self._in_mg().items():
            if data.get(name) is not None:
                data[name] /= factor
        return data

    def unusual(self) -> list[str]:
        return self._odd


def _times(factor: float, ends: tuple[float, float]) -> tuple[float, float]:
    return round(ends[0] * factor, 1), round(ends[1] * factor, 1)
