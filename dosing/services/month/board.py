"""All patients of a month in one table: sorted, marked against the ranges, each number a way to how it came about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
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
from dosing.services.month.headlines import ALWAYS_ON_BOARD, HEADLINES, NOT_EACH_MONTH, ONLY_AMISS, TILES
from dosing.services.month.in_treatment import begun, lines_said, short_said
from dosing.services.month.ranges import RangeBook, book
from dosing.services.month.review_changes import later_than_signed
from dosing.services.month.weights import Weight, weight_of
from dosing.services.numbers.kept import KeptNumber, kept_number
from dosing.services.numbers.number import Number
from dosing.services.numbers.standing import DOUBT_MARK
from homedialysis.accounts.models import User
from sessions.facts.months import next_month
from sessions.models import AccessInfection, HospitalStay, Patient, Prescription

Counts = Callable[[Iterable[Any]], dict[Any, int]]
SIGNS = {-1: ("▼", _("below the range")), 1: ("▲", _("above the range")), 0: ("", "")}
AIMS = {-1: ("▽", _("in range, below what is aimed at")), 1: ("△", _("in range, above what is aimed at")), 0: ("", "")}
REACHES_IN = _("its interval reaches into the range")
_counters: dict[str, tuple[StrOrPromise, Counts]] = {}


def register_counter(key: str, label: StrOrPromise, counts: Counts) -> None:
    """A column that another package fills: counts of these patients' ids, in one query."""
    _counters[key] = (label, counts)


@dataclass(frozen=True, slots=True)
class LastSigned:
    """Of the last review signed for an earlier month: where each number lay then, and what was ordered."""

    month: date
    places: dict[str, int]
    version: int | None


@dataclass
class PatientLine:
    """One patient of the board. counted: by the key of each counter; last: signed before; version: of what is in
    force, or was when this review was signed; happened: infections and stays of the month.
    """

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
    last: LastSigned | None = None
    version: int | None = None
    happened: int = 0

    def value(self, key: str) -> float | None:
        found: float | None = self.month.numbers.get(key, {}).get("value") if self.month else None
        return found

    def figure(self, number: Number[Any]) -> KeptNumber:
        return kept_number(number, self.month.numbers if self.month else {})

    @property
    def outside(self) -> int:
        """How many numbers lie outside their range."""
        return len(self.places)

    @cached_property
    def weights(self) -> dict[str, Weight]:
        """What each number outside its range weighs, the heaviest first."""
        found = {
            key: weight_of(key, self.value(key), place, unsure=key in self.unsure) for key, place in self.places.items()
        }
        return dict(sorted(found.items(), key=lambda pair: -pair[1]))

    @property
    def weight(self) -> int:
        return sum(self.weights.values())

    @cached_property
    def changed(self) -> list[str]:
        """Keys of the numbers that lie elsewhere to their range than when the last review was signed."""
        if self.last is None or self.month is None:
            return []
        before = self.last.places
        return [
            key
            for key in MONTH_NUMBERS
            if self.value(key) is not None and self.places.get(key, 0) != before.get(key, 0)
        ]

    @property
    def new_orders(self) -> bool:
        return self.last is not None and self.version != self.last.version

    @property
    def quiet(self) -> bool:
        """All known and sure, all in range, nothing new: judged quickly, and seen all the same."""
        if self.month is None or self.month.stale or self.last is None or not self._over:
            return False
        new = self.changed or self.new_orders or self.happened or any(self.counted.values()) or self.in_treatment
        return not new and all(self._calm(key) for key in HEADLINES)

    @property
    def _over(self) -> bool:
        """Whether the numbers are of the whole month."""
        return self.month is not None and self.month.computed_at.date() >= next_month(self.month.month)

    def _calm(self, key: str) -> bool:
        figure = self.figure(MONTH_NUMBERS[key])
        if figure.value is None:
            return key in NOT_EACH_MONTH
        return not figure.doubts and key not in self.places

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


def people_of(viewer: User, month: date) -> list[Patient]:
    """Everybody who was in the programme in a month, by name."""
    there = Q(joined_on__lt=next_month(month)) & (Q(left_on=None) | Q(left_on__gte=month))
    return list(Patient.objects.visible_to(viewer).filter(there).order_by("name"))


def lines_of(people: list[Patient], month: date, ranges: RangeBook, *, at: datetime) -> list[PatientLine]:
    """A line for each of these: a fixed number of queries."""
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
    _with_news(lines, ids, month, at)
    return lines


def _with_news(lines: list[PatientLine], ids: list[Any], month: date, at: datetime) -> None:
    """What was signed last, what is in force, and what befell them in the month: four queries."""
    last, versions = _last_signed(ids, month), _versions(ids, at)
    happened = _happened(ids, month)
    for line in lines:
        person = line.patient.pk
        line.last, line.version = last.get(person), _version_judged(line.review, versions.get(person))
        line.happened = happened.get(person, 0)


def _version_judged(review: MonthlyReview | None, now: int | None) -> int | None:
    """The prescription that a month is judged with: a signed review keeps the one that stood then."""
    if review is None or review.signed_at is None:
        return now
    version: int | None = review.frozen.get("prescription")
    return version


def _last_signed(ids: list[Any], month: date) -> dict[Any, LastSigned]:
    reviews = MonthlyReview.objects.filter(patient__in=ids, month__lt=month).exclude(signed_at=None)
    newest = reviews.order_by("patient_id", "-month").distinct("patient_id")
    rows = newest.values_list("patient_id", "month", "frozen__places", "frozen__prescription")
    return {person: LastSigned(signed, places or {}, version) for person, signed, places, version in rows}


def _versions(ids: list[Any], at: datetime) -> dict[Any, int]:
    return dict(Prescription.objects.filter(patient__in=ids).in_force(at).values_list("patient_id", "version"))


def _happened(ids: list[Any], month: date) -> dict[Any, int]:
    """Infections that began in the month and stays that touch it."""
    after = next_month(month)
    began = AccessInfection.objects.standing().filter(began_on__gte=month, began_on__lt=after)
    there = Q(discharged_on=None) | Q(discharged_on__gte=month)
    stays = HospitalStay.objects.standing().filter(there, admitted_on__lt=after, patient__in=ids)
    infected = began.filter(access__patient__in=ids).values_list("access__patient_id", flat=True)
    return Counter([*infected, *stays.values_list("patient_id", flat=True)])


def _marked(places: dict[str, int]) -> dict[str, int]:
    return {key: place for key, place in places.items() if place}


def in_order(lines: list[PatientLine], sort: str, *, down: bool) -> list[PatientLine]:
    """By a number, a counter or the name. What is unknown stands on top either way: it wants looking at first."""
    if sort in MONTH_NUMBERS:
        known = [line for line in lines if line.value(sort) is not None]
        known.sort(key=lambda line: line.value(sort) or 0.0, reverse=down)
        return [line for line in lines if line.value(sort) is None] + known
    if sort == OUTSIDE:
        return sorted(lines, key=lambda line: (-line.lacks, -line.weight if down else line.weight))
    if sort == REVIEW:
        return sorted(lines, key=lambda line: list(STATES).index(line.state), reverse=down)
    if sort in _counters:
        return sorted(lines, key=lambda line: line.counted.get(sort, 0), reverse=down)
    return lines[::-1] if down else lines


def cell(line: PatientLine, number: Number[Any], address: str) -> str:
    """One number as HTML: value, sign and words where it lies outside; a dash with its reason where it is unknown."""
    if line.value(number.key) is None:
        why = escape(line.figure(number).why, quote=True)
        return (
            f'<td class="num"><span class="soft" title="{why}">–<span class="visually-hidden">{why}</span></span></td>'
        )
    tone = ' class="num outside"' if number.key in line.places else ' class="num"'
    return f'<td{tone}><a href="{address}{number.key}/">{_said(line, number)}</a></td>'


def _said(line: PatientLine, number: Number[Any]) -> str:
    """A known number as HTML: value, interval, doubt, sign."""
    figure = line.figure(number)
    between = f' <br><small class="soft">{figure.between}</small>' if figure.between else ""
    place = line.places.get(number.key, 0)
    sign, words = SIGNS[place] if place else AIMS[line.aims.get(number.key, 0)]
    if number.key in line.unsure:
        sign, words = f"({sign})", f"{words}; {REACHES_IN}"
    mark = (
        f' <span aria-hidden="true">{sign}</span><span class="visually-hidden">{escape(str(words))}</span>'
        if sign
        else ""
    )
    return f"{figure.shown}{between}{_doubt(figure.because)}{mark}"


def _group_cell(line: PatientLine, keys: Iterable[str], address: str) -> str:
    """The numbers of a block in one cell, each with its name; those that are unknown lead to why."""
    known, unknown = [], []
    for key in keys:
        number, where = MONTH_NUMBERS[key], f"{address}{key}/"
        if _left_out(line, key):
            continue
        if line.value(key) is not None:
            tone = _tone(line, key)
            name = f'<span class="soft">{escape(number.short)}</span>'
            unit = " %" if number.percent else ""
            known.append(f'<li>{name} <a href="{where}"{tone}>{_said(line, number)}{unit}</a></li>')
        else:
            unknown.append(_unknown_name(line, number, where))
    word = escape(gettext("not known:"))  # a word inside a sentence of code is gathered for no translator
    lacking = f'<p class="soft">{word} {", ".join(unknown)}</p>' if unknown else ""
    return f'<td class="group"><ul>{"".join(known)}</ul>{lacking}</td>'


def _tone(line: PatientLine, key: str) -> str:
    """The class of a number outside its range; what must not wait stands out."""
    if key not in line.places:
        return ""
    return ' class="outside not-to-wait"' if line.weights[key] == Weight.NOW else ' class="outside"'


def _left_out(line: PatientLine, key: str) -> bool:
    if key in line.places:
        return False
    return key not in ALWAYS_ON_BOARD or (key in ONLY_AMISS and line.value(key) is not None)


def _unknown_name(line: PatientLine, number: Number[Any], where: str) -> str:
    """A name that leads to why, which is also said to whoever listens."""
    name, why = escape(number.short), escape(line.figure(number).why)
    hidden = f'<span class="visually-hidden"> ({why})</span>'
    return f"{name}{hidden}" if line.month is None else f'<a href="{where}">{name}</a>{hidden}'


def _doubt(because: str) -> str:
    """The mark of a doubtful number, with why for whoever rests on it or listens."""
    if not because:
        return ""
    words = escape(gettext("doubtful: %(why)s") % {"why": because}, quote=True)
    hidden = f'<span class="visually-hidden"> {words}</span>'
    return f'<span class="doubt-mark" title="{words}"><span aria-hidden="true">{DOUBT_MARK}</span>{hidden}</span>'


def _outside(line: PatientLine) -> str:
    """What is missing, how many numbers lie outside their range, and which, the heaviest first."""
    lacks = f'<strong class="lacking">{escape(str(LACKING[line.lacks]))}</strong> ' if line.lacks else ""
    names = [_weighed(line, key, weight) for key, weight in line.weights.items()]
    count = f"<strong>{line.outside}</strong> " if line.outside or not lacks else ""
    word = escape(gettext("quiet"))
    quiet = f' <span class="badge tone-done">{word}</span>' if line.quiet else ""
    return f'<td class="which">{lacks}{count}<span class="soft">{", ".join(names)}</span>{quiet}</td>'


def _weighed(line: PatientLine, key: str, weight: Weight) -> str:
    """The name of a number outside its range; what must not wait is written so."""
    name = escape(f"{MONTH_NUMBERS[key].short}\N{NO-BREAK SPACE}{SIGNS[line.places[key]][0]}")
    if weight < Weight.NOW:
        return f"<b>{name}</b>" if weight == Weight.ACT else name
    value = escape(line.figure(MONTH_NUMBERS[key]).shown)
    return f'<strong class="lacking">{name} {value}</strong>'


def _news(line: PatientLine) -> str:
    """What is different from the last signed review, in short."""
    if line.last is None:
        word = escape(gettext("none signed before"))
        return f'<td class="which soft">{word}</td>'
    told = [f"{MONTH_NUMBERS[key].short}\N{NO-BREAK SPACE}{_now(line, key)}" for key in line.changed]
    if line.new_orders:
        told.insert(0, gettext("new prescription"))
    words = ", ".join(told) or gettext("nothing")
    return f'<td class="which">{escape(words)}</td>'


def _now(line: PatientLine, key: str) -> str:
    place = line.places.get(key, 0)
    return str(SIGNS[place][0] if place else gettext("back in range"))


def _later(line: PatientLine) -> str:
    """Beside "signed": that numbers of this row came after the signature, and which."""
    if not line.later:
        return ""
    words = gettext("changed after it: %(numbers)s") % {
        "numbers": ", ".join(str(MONTH_NUMBERS[key].short) for key in line.later)
    }
    return f' <br><strong class="lacking later">{escape(words)}</strong>'


def row_html(line: PatientLine, month: date, *, judges: bool, every: bool = False) -> SafeString:
    """A row of the table, with a way to the review for who judges it. every: each number in a column of its own.

    Built by hand: a template would take longer for the cells than the page may.
    """
    base = reverse("dosing:patient", args=[line.patient.pk])
    address = f"{base}months/{month:%Y-%m}/"
    counts = "".join(f'<td class="num">{line.counted.get(key, 0)}</td>' for key in _counters)
    if every:
        cells = "".join(cell(line, number, address) for number in MONTH_NUMBERS.values())
    else:
        cells = "".join(_group_cell(line, keys, address) for keys in BLOCKS.values())
    news = "" if every else _news(line)
    # Everything in it is a number of ours, a word of ours, or escaped above.
    row = f"<tr>{_head(line, base, address, judges=judges)}{_outside(line)}{news}{counts}{cells}</tr>"
    return mark_safe(row)  # noqa: S308


def _head(line: PatientLine, base: str, address: str, *, judges: bool) -> str:
    """Who it is, what the month was, and how far the review is: the name leads to the review where it may be judged."""
    waits = line.month is None or line.month.stale
    being_computed = escape(gettext("being computed"))
    stale = f' <span class="soft">{being_computed}</span>' if waits else ""
    stale += _in_treatment(line)
    state = escape(str(STATES[line.state]))
    state = f'<a href="{address}review/">{state}</a>' if judges else state
    state += _later(line)
    return f'<th scope="row"><a href="{base}">{escape(line.patient.name)}</a>{stale}</th><td>{state}</td>'


def _in_treatment(line: PatientLine) -> str:
    """In short what the month was; whoever rests on it reads the whole, as the patient's screen says it."""
    if line.month is None or not line.in_treatment:
        return ""
    whole, short = " ".join(line.in_treatment), ", ".join(short_said(line.month.delivered))
    return f'<span class="soft in-treatment" title="{escape(whole, quote=True)}">{escape(short)}</span>'


BLOCKS = {tile.key: (*tile.numbers, "water") if tile.key == "access" else tile.numbers for tile in TILES}
"""The numbers of each column, by key of the block; the water, which has no block, stands with the access."""


def _block_heads() -> list[tuple[str, list[Number[Any]]]]:
    return [(tile.title, [MONTH_NUMBERS[each] for each in BLOCKS[tile.key]]) for tile in TILES]


def sorts() -> set[str]:
    """By what the board can be sorted."""
    return {"name", OUTSIDE, REVIEW, *MONTH_NUMBERS, *_counters}


def counter_labels() -> dict[str, StrOrPromise]:
    return {key: label for key, (label, _counts) in _counters.items()}


def board(viewer: User, month: date, *, sort: str, down: bool, at: datetime, every: bool = False) -> dict[str, Any]:
    """What the board's page shows. every: each number in a column of its own, not only those of the four blocks."""
    lines = in_order(lines_of(people_of(viewer, month), month, book(), at=at), sort, down=down)
    return {
        "lines": lines,
        "rows": [row_html(line, month, judges=viewer.is_clinical, every=every) for line in lines],
        "groups": list(MONTH_NUMBERS.groups().items()),
        "blocks": _block_heads(),
        "counters": counter_labels(),
        "states": [(words, sum(line.state == state for line in lines)) for state, words in STATES.items()],
        "quiet": sum(line.quiet and line.state != "signed" for line in lines),
        "waiting": sum(1 for line in lines if line.month is None or line.month.stale),
    }


@dataclass(frozen=True, slots=True)
class NextToJudge:
    """Whom to judge next; left: how many are not signed, that one among them."""

    patient: Patient | None
    left: int


def next_to_judge(viewer: User, month: date, *, after: str, quiet: bool, at: datetime) -> NextToJudge:
    """In the board's own order, from whoever was judged last on; the first again where none comes behind.

    after: the id of that one, "" for the first; quiet: only those that are quiet.
    """
    lines = in_order(lines_of(people_of(viewer, month), month, book(), at=at), OUTSIDE, down=True)
    place = next((place for place, line in enumerate(lines) if str(line.patient.pk) == after), -1)
    asked = [line.patient for line in lines[place + 1 :] + lines[: place + 1] if line.state != "signed"]
    calm = {line.patient.pk for line in lines if line.quiet}
    wanted = [each for each in asked if str(each.pk) != after and (not quiet or each.pk in calm)]
    return NextToJudge(wanted[0] if wanted else None, len(asked))
