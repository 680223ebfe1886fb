"""What is said of a line of a laboratory's message: kept as a code with its parts, put into words when it is read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any

from django.utils.timezone import is_aware, localtime
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from homedialysis.accounts.services.dates import short_day, short_moment
from sessions.facts import plausible
from sessions.facts.local_number import plain

WORDS: dict[str, StrOrPromise] = {
    # Where a line stands.
    "line": _("line %(line)s"),
    "obx": _("message %(message)s, OBX %(obx)s"),
    "entry": _("entry %(entry)s"),
    # What a parser finds wrong with it.
    "cells": _("It has %(given)s cells; the head has %(needed)s."),
    "no_value": _("There is no value."),
    "no_number": _("“%(given)s” is not a number."),
    "written": _("“%(given)s” (%(field)s) is not written as in %(written)s."),
    "timing": _("“%(given)s” says neither before nor after: write before, after or apart."),
    "version": _("The version must be a whole number; “%(given)s” was given."),
    "hl7_time": _("“%(given)s” (OBR-7 or OBX-14) is not a time."),
    "no_observation": _("It is no Observation of FHIR R4: %(where)s: %(why)s."),
    "no_time_given": _("effectiveDateTime, when it was drawn, is missing."),
    "no_patient_there": _("The Patient it speaks of is not in the Bundle: number and date of birth are needed."),
    "no_patient": _("The Patient it speaks of is no Patient of FHIR R4: %(why)s."),
    # Why it cannot be taken.
    "number_missing": _("The patient's number is missing."),
    "number_unknown": _("No patient here has the number %(numbers)s."),
    "birth_missing": _("The date of birth is missing: a number alone is not enough."),
    "birth_other": _("The patient with the number %(number)s was not born on %(day)s."),
    "status": _("The laboratory calls it “%(status)s”: only final and corrected results are taken."),
    "no_time": _("When it was drawn is missing, or has no time of day."),
    "time": _("It was drawn on %(at)s, which lies ahead of now or too far back."),
    "own_code": _("The laboratory's own code “%(code)s” has no LOINC code set for it."),
    "code": _("The code “%(code)s” is none that this record knows."),
    "code_mistyped": _("The code “%(code)s” is no LOINC code: its last digit does not fit the others."),
    "not_kept": _("The code %(code)s stands for what is not kept in this record."),
    "no_unit": _("The unit is missing; with the code %(code)s it can be %(units)s."),
    "unit": _("The code %(code)s goes with %(units)s; “%(given)s” was given."),
    "unit_of_others": _("With %(unit)s it could be %(others)s, each with a code of its own."),
    "by_hand": _("%(value)s was entered by hand for this sample and stands: correct it by hand."),
    "stands": _("%(value)s stands for this sample, and this line is no later version of it."),
    "corrects": _("takes the place of %(value)s"),
    # What is asked about it.
    "as_other": _("As %(unit)s it would be %(value)s."),
    "which_timing": _("Whether it was drawn before or after a treatment is not said."),
}
FIELDS: dict[str, StrOrPromise] = {
    "identifier": _("the patient's number"),
    "birth_date": _("date of birth"),
    "code": _("code of the test"),
    "value": _("value"),
    "unit": _("unit"),
    "drawn_at": _("drawn at"),
    "name": _("name of the test"),
    "timing": _("before or after"),
    "reference": _("reference range"),
    "flag": _("flag"),
    "specimen": _("specimen"),
    "version": _("version"),
    "status": _("state"),
    "comment": _("comment"),
}
"""What a table may hold of a result."""


@dataclass(frozen=True, slots=True)
class Said:
    """One sentence: its code, one of WORDS or SENTENCES, and the parts that stand in it."""

    code: str
    parts: Mapping[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Said:
        return cls(data["code"], data["parts"])

    def __str__(self) -> str:
        if self.code in SENTENCES:
            return SENTENCES[self.code](self.parts)
        parts = dict(self.parts)
        if "field" in parts:
            parts["field"] = FIELDS[parts["field"]]
        if "day" in parts:
            parts["day"] = short_day(date.fromisoformat(parts["day"]))
        if "at" in parts:
            parts["at"] = short_moment(_on_the_page(parts["at"]))
        return str(WORDS[self.code]) % parts


def _on_the_page(iso: str) -> datetime:
    moment = datetime.fromisoformat(iso)
    return localtime(moment) if is_aware(moment) else moment


def said(code: str, /, **parts: Any) -> Said:
    return Said(code, parts)


def in_words(stored: Iterable[Mapping[str, Any]]) -> str:
    """Stored sentences in the language of the reader."""
    return " ".join(str(Said.from_json(each)) for each in stored)


def _refused(parts: Mapping[str, Any]) -> str:
    return plausible.BLOOD[parts["analyte"]].refusal(parts["value"])


def _impossible(parts: Mapping[str, Any]) -> str:
    told = {"given": f"{plain(parts['given'])} {parts['unit']}", "why": _refused(parts)}
    return gettext("%(given)s is not possible: %(why)s") % told


def _unusual(parts: Mapping[str, Any]) -> str:
    limits = plausible.BLOOD[parts["analyte"]]
    told = {
        "given": f"{plain(parts['given'])} {parts['unit']}",
        "number": gettext(limits.label).lower(),
        "usual": limits.usual_words,
    }
    return gettext("%(given)s is unusual for %(number)s (%(usual)s).") % told


SENTENCES: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "refused": _refused,
    "impossible": _impossible,
    "unusual": _unusual,
}
"""Those that hold a limit: parts are analyte, value in its canonical unit, and what was given in which unit."""
