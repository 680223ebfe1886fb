"""A prescription as people read it: label, number and unit, line by line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from homedialysis.accounts.services.dates import place_in_week
from sessions.facts.choices import Anticoagulant
from sessions.facts.local_number import plain
from sessions.facts.ordered import ANTICOAGULATION, ORDERED
from sessions.models import Prescription

WEEKDAYS = (
    gettext_lazy("Monday"),
    gettext_lazy("Tuesday"),
    gettext_lazy("Wednesday"),
    gettext_lazy("Thursday"),
    gettext_lazy("Friday"),
    gettext_lazy("Saturday"),
    gettext_lazy("Sunday"),
)


@dataclass(frozen=True, slots=True)
class OrderedLine:
    """One thing that is ordered. label; number as text; unit, "" when there is none; was: how it stands in what is in
    force, where that is something else.
    """

    label: str
    number: str
    unit: str = ""
    was: str = ""


def in_hours(minutes: int) -> str:
    """240 → "4 h"; 270 → "4 h 30 min"."""
    hours, rest = divmod(minutes, 60)
    return _("%(hours)s h %(minutes)s min") % {"hours": hours, "minutes": rest} if rest else f"{hours} h"


def main_lines(prescription: Prescription) -> list[OrderedLine]:
    """What is set before each treatment, to be read from an arm's length."""
    main = sorted((each.main, name) for name, each in ORDERED.items() if each.main is not None)
    return [line_of(prescription, name) for _place, name in main]


def other_lines(prescription: Prescription) -> list[OrderedLine]:
    """The rest of the prescription: what was left empty, and how to give what is not given, has no line."""
    rest = (name for name, each in ORDERED.items() if each.line and each.main is None)
    return [line_of(prescription, name) for name in rest if _is_said(prescription, name)]


def _is_said(prescription: Prescription, name: str) -> bool:
    if name != "anticoagulant" and ORDERED[name].group == ANTICOAGULATION:
        given = prescription.anticoagulant != Anticoagulant.NONE
        return given and getattr(prescription, name) is not None
    return getattr(prescription, name) is not None


def all_lines(prescription: Prescription) -> list[OrderedLine]:
    """The whole prescription, what is set before each treatment first."""
    return [*main_lines(prescription), *other_lines(prescription)]


def lines_to_sign(prescription: Prescription, before: Prescription | None = None) -> list[OrderedLine]:
    """Everything that is signed, in the order in which it was written; what is left empty says so.

    before: what it follows, whose text stands beside each line that changes. Only the note stands elsewhere: whoever
    shows this shows it too.
    """
    names = [name for name in ORDERED if name not in _SAID_WITH_ANOTHER]
    lines = [_signed_line(prescription, name) for name in names]
    if before is None:
        return lines
    earlier = [_signed_line(before, name) for name in names]
    return [
        line if line == was else replace(line, was=f"{was.number} {was.unit}".strip())
        for line, was in zip(lines, earlier, strict=True)
    ]


_SAID_WITH_ANOTHER = ("days_per_week", "dialysate_buffer", "note")
"""With the weekdays, with its amount; and the note, which is a paragraph."""


def _signed_line(prescription: Prescription, name: str) -> OrderedLine:
    value = getattr(prescription, name)
    if isinstance(value, bool):
        return OrderedLine(ORDERED[name].short_words, _("yes") if value else _("no"))
    if value is None:
        return OrderedLine(ORDERED[name].short_words, _("none"))
    return line_of(prescription, name)


def line_of(prescription: Prescription, name: str) -> OrderedLine:
    """One thing that is ordered, as a line."""
    if name in IN_OWN_WORDS:
        return IN_OWN_WORDS[name](prescription)
    each = ORDERED[name]
    if each.number is None:
        return OrderedLine(each.short_words, str(getattr(prescription, name)))
    return OrderedLine(each.short_words, each.number.figure(getattr(prescription, name)), each.number.unit_told)


def _length(prescription: Prescription) -> OrderedLine:
    minutes = prescription.minutes
    return OrderedLine(ORDERED["minutes"].short_words, f"{minutes // 60}:{minutes % 60:02}", "h")


def _longest(prescription: Prescription) -> OrderedLine:
    return OrderedLine(ORDERED["max_minutes"].short_words, in_hours(prescription.max_minutes))


def _days(prescription: Prescription) -> OrderedLine:
    return OrderedLine(ORDERED["weekdays"].short_words, days(prescription))


def _dialyser(prescription: Prescription) -> OrderedLine:
    return OrderedLine(ORDERED["dialyser"].short_words, prescription.dialyser.name)


def _buffer(prescription: Prescription) -> OrderedLine:
    label = _("Dialysate %(buffer)s") % {"buffer": prescription.get_dialysate_buffer_display()}
    return OrderedLine(label, plain(prescription.dialysate_buffer_mmol_l), "mmol/L")


FIRST_READING_MINUTES = 10
"""The first reading comes when the pump has reached its speed and the pressures stand still (common practice, no
source)."""
ASLEEP = (22, 6)
"""Hours on the patient's clock in which no reading is asked for, where that is ordered (common practice, no source)."""


def readings_words(prescription: Prescription) -> str:
    """When readings are taken, in one phrase: what prescription, running treatment and paper say of it."""
    every = prescription.reading_interval_minutes
    parts = [_("%(minutes)s min after the start") % {"minutes": FIRST_READING_MINUTES}]
    if every:
        parts.append(_("then every %(minutes)s min") % {"minutes": every})
    if prescription.quiet_at_night:
        asleep = {"from": f"{ASLEEP[0]:02}:00", "to": f"{ASLEEP[1]:02}:00"}
        parts.append(_("none from %(from)s to %(to)s, while you sleep") % asleep)
    return ", ".join(parts)


def _readings(prescription: Prescription) -> OrderedLine:
    return OrderedLine(_("Readings"), readings_words(prescription))


def _anticoagulant(prescription: Prescription) -> OrderedLine:
    return OrderedLine(ORDERED["anticoagulant"].short_words, prescription.get_anticoagulant_display())


IN_OWN_WORDS: dict[str, Callable[[Prescription], OrderedLine]] = {
    "minutes": _length,
    "max_minutes": _longest,
    "reading_interval_minutes": _readings,
    "weekdays": _days,
    "dialyser": _dialyser,
    "dialysate_buffer_mmol_l": _buffer,
    "anticoagulant": _anticoagulant,
}
"""What is not simply a number with its unit."""


def days(prescription: Prescription) -> str:
    """ "Monday, Wednesday, Friday", or how many a week when no days are fixed."""
    if prescription.weekdays:
        return ", ".join(str(WEEKDAYS[day]) for day in sorted(prescription.weekdays, key=place_in_week))
    return _("%(count)s a week") % {"count": plain(prescription.days_per_week)}
