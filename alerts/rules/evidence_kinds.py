"""What evidence can be of: for each code the words, the unit and the digits in which people read it, and its chart.

Codes are kept with alerts for ever; their words may change at any time. A code is either declared in `KINDS`, or made
of a family and what the family knows the words of: "number.uf_rate", "event.cramp", "blood.potassium".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from alerts.rules.base import Evidence
from alerts.rules.wording import day, figure
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.trend_of_patient import WATCHES
from dosing.services.numbers.blood_units import spoken_of
from dosing.services.numbers.reasons import reason_words
from homedialysis.accounts.services.units import Told, told_in
from sessions.facts.choices import Analyte, DialyserLook, EventKind, LeftOutReason
from sessions.facts.choices_surroundings import WaterKind, WaterPlace
from sessions.facts.fields import READING, TREATMENT, Field
from sessions.facts.medicines import medicine_words
from sessions.services.due import label_of, last_time
from sessions.services.event_course import course_words
from sessions.texts.checklist import name_of
from sessions.texts.ready import words_of

MMHG = "mmHg"
PERCENT = "%"
ACTION_LEVEL = "action_level"
"""Among the parts of evidence: its limit is the level at which to act, within the limit itself."""
TAKEN = "taken"
"""Among the parts of evidence: medicines against high pressure that were taken on its day, as `dose_parts` has them."""
CORRECTED_CALCIUM = "blood.corrected_calcium"
Words = Callable[[Evidence], StrOrPromise]


def _nothing(item: Evidence) -> str:
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceKind:
    """label: what it is called; unit: of value and limit, where the evidence does not bring its own; decimals: in
    which people read it, None as it was noted; more: what is said beside the value; drawn_from: the computed number or
    the column of the record whose course its chart draws, "" for the evidence alone; of_machine: as a field says it.
    """

    label: Words
    unit: StrOrPromise = ""
    decimals: int | None = None
    more: Words = _nothing
    drawn_from: str = ""
    of_machine: bool = False

    def shown(self, value: float) -> float:
        """A value as people read it: what reads as the limit is not over it."""
        return value if self.decimals is None else round(value, self.decimals)


def _called(label: StrOrPromise) -> Words:
    return lambda item: label


def _plain(
    label: StrOrPromise, unit: StrOrPromise = "", decimals: int | None = None, drawn_from: str = ""
) -> EvidenceKind:
    return EvidenceKind(label=_called(label), unit=unit, decimals=decimals, drawn_from=drawn_from)


def _check_name(item: Evidence) -> str:
    return name_of(item.place, item.parts["version"], item.parts["name"])


def _check_outcome(item: Evidence) -> str:
    """What was written of a check that failed."""
    if item.parts["overruled"]:
        return gettext("overruled: %(reason)s") % {"reason": words_of(item.parts["reason"])}
    return words_of(item.parts["note"]) or gettext("failed")


def _found_at_access(item: Evidence) -> str:
    return words_of(item.parts["note"] or item.parts["reason"]) or gettext("not as it should be")


def _pain_at(item: Evidence) -> StrOrPromise:
    labels = {"arterial": _("Pain at the arterial needle"), "venous": _("Pain at the venous needle")}
    return labels.get(item.place, _("Pain at a needle"))


def _per_week(item: Evidence) -> str:
    per_week = item.parts.get("per_week")
    return gettext("prescribed %(count)s a week") % {"count": figure(per_week)} if per_week else ""


def _of_four_weeks(item: Evidence) -> str:
    parts = {"done": item.parts["done"], "wanted": figure(item.parts["wanted"])}
    return gettext("%(done)d of %(wanted)s prescribed") % parts


def _how_it_went(item: Evidence) -> str:
    """Of the event that a pressure belongs to."""
    return ", ".join(course_words(item.parts.get("event", ""), item.parts))


def stock_words(item: Evidence) -> str:
    """ "Dialysers for 3 days where 14 are wanted, 20 expected on 4 May"."""
    parts = dict(item.parts)
    if "expected_on" in parts:
        parts["expected_on"] = day(parts["expected_on"])
        words = gettext("%(item)s for %(days)d days where %(wanted)d are wanted, %(count)s expected on %(expected_on)s")
        return words % parts
    return gettext("%(item)s for %(days)d days where %(wanted)d are wanted") % parts


def doubt_words(item: Evidence) -> str:
    """Why a computed number is doubtful, in the language of the reader; "" where it is not."""
    why = "; ".join(reason_words(doubt) for doubt in item.parts.get("doubts", ()))
    return gettext("doubtful: %(why)s") % {"why": why} if why else ""


KINDS: dict[str, EvidenceKind] = {
    "record.unfinished": _plain(_("Record not handed over")),
    "record.late": _plain(_("Hours from the end to the record"), "h", 0),
    "record.missing": EvidenceKind(label=_called(_("Treatment due, no record")), more=_per_week),
    "record.left_out": EvidenceKind(
        label=_called(_("No treatment, as the patient said")),
        more=lambda item: LeftOutReason(item.parts["reason"]).label,
    ),
    "record.dialyser_look": EvidenceKind(
        label=_called(_("Dialyser")), more=lambda item: DialyserLook(item.parts["look"]).label
    ),
    CORRECTED_CALCIUM: _plain(_("Calcium, corrected by albumin,"), "mmol/L", 2),
    "event_systolic": EvidenceKind(label=_called(_("Systolic noted with an event")), unit=MMHG, more=_how_it_went),
    "fall_with_symptoms": _plain(_("Fall with symptoms"), MMHG),
    "standing_fall.systolic": _plain(_("Systolic fall on standing"), MMHG),
    "standing_fall.diastolic": _plain(_("Diastolic fall on standing"), MMHG),
    "site.attempts": _plain(_("Needle attempts")),
    "site.pain": EvidenceKind(label=_pain_at, unit=_("of 10")),
    "check.value": EvidenceKind(label=_check_name),
    "check.failed": EvidenceKind(label=_check_name, more=_check_outcome),
    "check.access": EvidenceKind(label=_check_name, more=_found_at_access),
    "share.blood_processed": _plain(_("Blood processed, of prescribed flow times time"), PERCENT, 0),
    "share.blood_flow_median": _plain(_("Blood flow, of prescribed"), PERCENT, 0),
    "share.treatments": EvidenceKind(
        label=_called(_("Treatments in four weeks")), unit=PERCENT, decimals=0, more=_of_four_weeks
    ),
    "prescription": EvidenceKind(
        label=lambda item: gettext("Prescription %(version)s") % {"version": item.place},
        more=_called(_("not acknowledged at the bedside")),
    ),
    "stock": EvidenceKind(label=lambda item: item.parts["item"], more=stock_words),
}
TREND_LABELS: dict[str, StrOrPromise] = {
    "venous": _("Venous pressure"),
    "arterial": _("Arterial pressure"),
    "clearance": _("Clearance by the machine"),
    "post_weight": _("Weight after"),
    "systolic": _("Systolic pressure"),
    "bleeding": _("Bleeding time"),
    "tmp": _("Transmembrane pressure"),
    "length": _("Length of treatments, of prescribed,"),
    "gain": _("Gain between treatments, of target weight,"),
    "post_systolic": _("Systolic pressure after"),
    "lowest": _("Lowest systolic pressure, standing not counted"),
    "felt": _("Nights with low pressure, dizziness or cramps"),
    "attempts": _("Needle attempts"),
    "pain": _("Pain at the needles"),
    "found": _("Nights with something found at the access"),
}
"""What a series of `trend_of_patient.WATCHES` is called at the beginning of a sentence."""
FIELDS_DRAWN_FROM = {
    "venous_mmhg": "venous_median",
    "arterial_mmhg": "arterial_median",
    "pre_systolic": "pre_systolic",
    "pre_diastolic": "pre_diastolic",
    "post_systolic": "post_systolic",
}
"""Of a declared number, the one whose course its chart draws."""
TRENDS_DRAWN_FROM = {
    "venous": "venous_median",
    "arterial": "arterial_median",
    "post_weight": "post_weight_kg",
    "systolic": "pre_systolic",
    "bleeding": "bleeding",
    "post_systolic": "post_systolic",
    "lowest": "lowest_systolic",
    "gain": "gain_percent",
    "length": "delivered",
}


def _number(key: str) -> EvidenceKind:
    number = NIGHT_NUMBERS[key]
    return EvidenceKind(
        label=lambda item: number.label,
        unit=PERCENT if number.percent else "" if number.unit == "1" else number.unit,
        decimals=0 if number.percent else number.decimals,
        more=doubt_words,
        drawn_from=key,
    )


def _event(key: str) -> EvidenceKind:
    return EvidenceKind(label=_called(EventKind(key).label), more=lambda item: _event_words(key, item))


def _event_words(kind: str, item: Evidence) -> str:
    """How it went, then what was written of it."""
    course = ", ".join(course_words(kind, item.parts))
    return ". ".join(filter(None, (course, words_of(item.parts.get("note", "")))))


def _blood(key: str) -> EvidenceKind:
    return EvidenceKind(label=_called(Analyte(key).label), more=_of_laboratory)


def _of_laboratory(item: Evidence) -> str:
    """What the laboratory wrote beside a result."""
    comment = item.parts.get("comment", "")
    return gettext("laboratory: %(comment)s") % {"comment": comment} if comment else ""


def _water(key: str) -> EvidenceKind:
    return EvidenceKind(label=_called(WaterKind(key).label), more=lambda item: WaterPlace(item.place).label)


def _trend(key: str) -> EvidenceKind:
    """One night of a trend, under the name of what it is: a median is not called what a reading is called."""
    watch, drawn = WATCHES[key], TRENDS_DRAWN_FROM.get(key, "")
    name = _(NIGHT_NUMBERS[drawn].name) if drawn in NIGHT_NUMBERS else TREND_LABELS[key]
    return _plain(name, watch.unit, watch.decimals, drawn)


def _field(fields: Mapping[str, Field]) -> Callable[[str], EvidenceKind]:
    """A number of a reading or of the record, as it is declared for every other place."""

    def kind(key: str) -> EvidenceKind:
        field = fields[key]
        return EvidenceKind(
            label=lambda item: gettext(field.label),
            unit=field.unit,
            decimals=abs(field.decimals),
            drawn_from=FIELDS_DRAWN_FROM.get(key, ""),
            more=_how_it_went,
            of_machine=field.of_machine,
        )

    return kind


def _due(key: str) -> EvidenceKind:
    return EvidenceKind(
        label=lambda item: label_of(key, item.place),
        more=lambda item: last_time(item.parts["code"], item.parts["said"]),
    )


FAMILIES: dict[str, Callable[[str], EvidenceKind]] = {
    "number": _number,
    "event": _event,
    "blood": _blood,
    "water": _water,
    "trend": _trend,
    "due": _due,
    "reading": _field(READING),
    "record": _field(TREATMENT),
}
"""Codes made of a family, a dot, and a key of what knows its words."""


@cache
def kind_of(code: str) -> EvidenceKind:
    """What evidence of a code is. One that nobody knows any more is called by its code."""
    if code in KINDS:
        return KINDS[code]
    family, _dot, key = code.partition(".")
    try:
        return FAMILIES[family](key)
    except (KeyError, ValueError):
        return _plain(code)


def shown(item: Evidence) -> float:
    """The value as people read it; 0 where there is none."""
    return 0.0 if item.value is None else kind_of(item.kind).shown(item.value)


def unit_of(item: Evidence) -> StrOrPromise:
    """The unit of value and limit; what is measured in several units brings its own."""
    own: str = item.parts.get("unit", "")
    return own or kind_of(item.kind).unit


def as_spoken(item: Evidence, value: float) -> tuple[float, str]:
    """A value or limit of it with its unit: bloods, weights and temperatures of the body in the units that are spoken,
    everything else as it is kept.
    """
    family, _dot, key = item.kind.partition(".")
    if family == "blood":
        analyte = spoken_of(Analyte.CALCIUM if item.kind == CORRECTED_CALCIUM else Analyte(key))
        if analyte.factor != 1:
            return analyte.figure(value), analyte.unit
    unit = str(unit_of(item))
    told = Told(unit) if kind_of(item.kind).of_machine else told_in(unit)
    return (round(told.of(value), 1), told.unit) if told.differs else (value, unit)


def figure_with_unit(item: Evidence, value: float, form: str = "g") -> str:
    """The same as people write it."""
    number, unit = as_spoken(item, value)
    return figure(number, form, unit)


def label_of_evidence(item: Evidence) -> str:
    """What it is called, in the language of the reader."""
    return _said(kind_of(item.kind).label, item)


def more_of(item: Evidence) -> str:
    """What is said beside the value, in the language of the reader."""
    return ". ".join(filter(None, (_said(kind_of(item.kind).more, item), _taken_words(item))))


def _taken_words(item: Evidence) -> str:
    taken = [medicine_words(*parts) for parts in item.parts.get(TAKEN, ())]
    return gettext("Taken against high pressure: %(medicines)s") % {"medicines": "; ".join(taken)} if taken else ""


def _said(words: Words, item: Evidence) -> str:
    """Evidence that was kept before its kind wanted a part more is called by its code."""
    try:
        return str(words(item))
    except (KeyError, ValueError):
        return item.kind
