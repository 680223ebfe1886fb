"""All patients of a month in one table: sorted, marked against the ranges, each number a way to how it came about."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from html import escape
from typing import Any

from django.db.models import Q
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django_stubs_ext import StrOrPromise

from dosing.models import MonthlyReview, PatientMonth
from dosing.services.month.catalogue import BLOODS, DOSE, MONTH_NUMBERS
from dosing.services.month.in_treatment import begun, lines_said
from dosing.services.month.ranges import RangeBook, book
from dosing.services.month.review_changes import later_than_signed
from dosing.services.numbers.kept import KeptNumber, kept_number
from dosing.services.numbers.number import Number
from dosing.services.numbers.standing import DOUBT_MARK
from homedialysis.accounts.models import User
from sessions.facts.months import next_month
from sessions.models import Patient

Counts = Callable[[Iterable[Any]], dict[Any, int]]
SIGNS = {-1: ("▼", _("below the range")), 1: ("▲", _("above the range")), 0: ("", "")}
AIMS = {-1: ("▽", _("in range, below what is aimed at")), 1: ("△", _("in range, above what is aimed at")), 0: ("", "")}
REACHES_IN = _("its interval reaches into the range")
_counters: dict[str, tuple[StrOrPromise, Counts]] = {}


def register_counter(key: str, label: StrOrPromise, counts: Counts) -> None:
    """A column that another package fills: counts of these patients' ids, in one query."""
    _counters[key] = (label, counts)


@dataclass
class PatientLine:
    """One patient of the board. counted: by the key of each counter."""

    patient: Patient
    month: PatientMonth | None
    review: MonthlyReview | None
    counted: dict[str, int] = field(default_factory=dict)
    places: dict[str, int] = field(default_factory=dict)
    """of each number that lies outside its range"""
    aims: dict[str, int] = field(default_factory=dict)
    """of each number that lies within it, short of what is aimed at"""
    unsure: frozenset[str] = frozenset()
    """of those outside, whose interval reaches into the range"""

    def value(self, key: str) -> float | None:
        found: float | None = self.month.numbers.get(key, {}).get("value") if self.month else None
        return found

    def figure(self, number: Number[Any]) -> KeptNumber:
        return kept_number(number, self.month.numbers if self.month else {})

    @property
    def outside(self) -> int:
        return self.counted.get(OUTSIDE, 0)

    @cached_property
    def lacks(self) -> int:
        """A key of `LACKING`: how much of what a month is judged by is not known."""
        if self.month and not begun(self.month.delivered):
            return NOTHING
        if all(self.value(key) is None for key in OF_BLOODS):
            return NO_BLOODS
        return NO_DOSE if all(self.value(key) is None for key in OF_DOSE) else NOTHING

    @property
    def in_treatment(self) -> list[str]:
        """What joining, leaving, hospital and missed treatments did to the month."""
        return lines_said(self.month.delivered) if self.month else []

    @cached_property
    def later(self) -> list[str]:
        """Keys of the numbers that read otherwise here than they were signed."""
        return later_than_signed(self.review, self.month)

    @property
    def state(self) -> str:
        """One of the keys of STATES."""
        if self.review is None:
            return "to do"
        return "signed" if self.review.signed_at else "begun"


OUTSIDE, REVIEW = "outside", "review"
NOTHING, NO_DOSE, NO_BLOODS = 0, 1, 2
LACKING = {NO_BLOODS: _("bloods missing"), NO_DOSE: _("dose not known")}
"""What is not known of a month, the worst first: who is not known is never among the best."""
OF_BLOODS = [number.key for number in MONTH_NUMBERS.values() if number.group == BLOODS]
OF_DOSE = [number.key for number in MONTH_NUMBERS.values() if number.group == DOSE and number.usual]
STATES = {"to do": _("to do"), "begun": _("begun"), "signed": _("signed")}
"""Of a review, in the order in which they are sorted."""


def lines_of(viewer: User, month: date, ranges: RangeBook) -> list[PatientLine]:
    """Everybody who was in the programme in a month, by name: a fixed number of queries."""
    after = next_month(month)
    there = Q(joined_on__lt=after) & (Q(left_on=None) | Q(left_on__gte=month))
    people = list(Patient.objects.visible_to(viewer).filter(there).order_by("name"))
    months = {row.patient_id: row for row in PatientMonth.objects.filter(patient__in=people, month=month)}
    reviews = {row.patient_id: row for row in MonthlyReview.objects.filter(patient__in=people, month=month)}
    ids = [person.pk for person in people]
    counted = {key: counts(ids) for key, (_label, counts) in _counters.items()}
    lines = [PatientLine(person, months.get(person.pk), reviews.get(person.pk)) for person in people]
    for line in lines:
        line.counted = {key: found.get(line.patient.pk, 0) for key, found in counted.items()}
        values = {key: line.value(key) for key in MONTH_NUMBERS}
        schedule = line.month.schedule if line.month else ""
        line.places = _marked({key: ranges.place(key, value, schedule) for key, value in values.items()})
        line.unsure = frozenset(
            key for key in line.places if ranges.reaches_in(key, line.figure(MONTH_NUMBERS[key]).interval, schedule)
        )
        line.aims = _marked({key: ranges.short(key, value, schedule) for key, value in values.items()})
        line.counted[OUTSIDE] = len(line.places)
    return lines


def _marked(places: dict[str, int]) -> dict[str, int]:
    return {key: place for key, place in places.items() if place}


def in_order(lines: list[PatientLine], sort: str, *, down: bool) -> list[PatientLine]:
    """By a number, a counter or the name. What is unknown stands on top either way: it wants looking at first."""
    if sort in MONTH_NUMBERS:
        known = [line for line in lines if line.value(sort) is not None]
        known.sort(key=lambda line: line.value(sort) or 0.0, reverse=down)
        return [line for line in lines if line.value(sort) is None] + known
    if sort == OUTSIDE:
        return sorted(lines, key=lambda line: (-line.lacks, -line.outside if down else line.outside))
    if sort == REVIEW:
        return sorted(lines, key=lambda line: list(STATES).index(line.state), reverse=down)
    if sort in _counters:
        return sorted(lines, key=lambda line: line.counted.get(sort, 0), reverse=down)
    return lines[::-1] if down else lines


def cell(line: PatientLine, number: Number[Any], address: str) -> str:
    """One number as HTML: value, sign and words where it lies outside; a dash with its reason where it is unknown."""
    value = line.value(number.key)
    if value is None:
        why = escape(line.figure(number).why, quote=True)
        return (
            f'<td class="num"><span class="soft" title="{why}">–<span class="visually-hidden">{why}</span></span></td>'
        )
    figure = line.figure(number)
    between = f' <br><small class="soft">{figure.between}</small>' if figure.between else ""
    shown, doubt = f"{figure.shown}{between}", _doubt(figure.because)
    place = line.places.get(number.key, 0)
    sign, words = SIGNS[place] if place else AIMS[line.aims.get(number.key, 0)]
    if number.key in line.unsure:
        sign, words = f"({sign})", f"{words}; {REACHES_IN}"
    mark = (
        f' <span aria-hidden="true">{sign}</span><span class="visually-hidden">{escape(str(words))}</span>'
        if sign
        else ""
    )
    tone = ' class="num outside"' if place else ' class="num"'
    return f'<td{tone}><a href="{address}{number.key}/">{shown}{doubt}{mark}</a></td>'


def _doubt(because: str) -> str:
    """The mark of a doubtful number, with why for whoever rests on it or listens."""
    if not because:
        return ""
    words = escape(gettext("doubtful: %(why)s") % {"why": because}, quote=True)
    hidden = f'<span class="visually-hidden"> {words}</span>'
    return f'<span class="doubt-mark" title="{words}"><span aria-hidden="true">{DOUBT_MARK}</span>{hidden}</span>'


def _outside(line: PatientLine) -> str:
    """What is missing, how many numbers lie outside their range, and which: they stand far apart in the table."""
    lacks = f'<strong class="lacking">{escape(str(LACKING[line.lacks]))}</strong> ' if line.lacks else ""
    names = (f"{MONTH_NUMBERS[key].short}\N{NO-BREAK SPACE}{SIGNS[place][0]}" for key, place in line.places.items())
    which = escape(", ".join(names))
    count = f"<strong>{line.outside}</strong> " if line.outside or not lacks else ""
    return f'<td class="which">{lacks}{count}<span class="soft">{which}</span></td>'


def _later(line: PatientLine) -> str:
    """Beside "signed": that numbers of this row came after the signature, and which."""
    if not line.later:
        return ""
    words = gettext("changed after it: %(numbers)s") % {
        "numbers": ", ".join(str(MONTH_NUMBERS[key].short) for key in line.later)
    }
    return f' <br><strong class="lacking later">{escape(words)}</strong>'


def row_html(line: PatientLine, month: date, *, judges: bool) -> SafeString:
    """A row of the table, with a way to the review for who judges it.

    Built by hand: a template would take longer for the cells than the page may.
    """
    base = reverse("dosing:patient", args=[line.patient.pk])
    address = f"{base}months/{month:%Y-%m}/"
    waits = line.month is None or line.month.stale
    being_computed = escape(gettext("being computed"))
    stale = f' <span class="soft">{being_computed}</span>' if waits else ""
    of_treatment = " ".join(line.in_treatment)
    stale += f'<span class="soft in-treatment">{escape(of_treatment)}</span>' if of_treatment else ""
    state = escape(str(STATES[line.state]))
    state = f'<a href="{address}review/">{state}</a>' if judges else state
    state += _later(line)
    head = (
        f'<th scope="row"><a href="{base}">{escape(line.patient.name)}</a>{stale}</th><td>{state}</td>{_outside(line)}'
    )
    counts = "".join(f'<td class="num">{line.counted.get(key, 0)}</td>' for key in _counters)
    cells = "".join(cell(line, number, address) for number in MONTH_NUMBERS.values())
    # Everything in it is a number of ours, a word of ours, or escaped above.
    return mark_safe(f"<tr>{head}{counts}{cells}</tr>")  # noqa: S308


def sorts() -> set[str]:
    """By what the board can be sorted."""
    return {"name", OUTSIDE, REVIEW, *MONTH_NUMBERS, *_counters}


def counter_labels() -> dict[str, StrOrPromise]:
    return {key: label for key, (label, _counts) in _counters.items()}


def board(viewer: User, month: date, *, sort: str, down: bool) -> dict[str, Any]:
    """What the board's page shows."""
    ranges = book()
    lines = in_order(lines_of(viewer, month, ranges), sort, down=down)
    return {
        "lines": lines,
        "rows": [row_html(line, month, judges=viewer.is_clinical) for line in lines],
        "groups": list(MONTH_NUMBERS.groups().items()),
        "counters": counter_labels(),
        "states": [(words, sum(line.state == state for line in lines)) for state, words in STATES.items()],
        "waiting": sum(1 for line in lines if line.month is None or line.month.stale),
    }
