"""All that a review shows, gathered once for the page and for paper: as it was frozen, or as it stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property
from typing import Any

from django.utils.timezone import localtime
from django.utils.translation import gettext

from dosing.models import MonthlyReview, PatientMonth, ReviewAddendum
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.in_treatment import lines_said
from dosing.services.month.ranges import RangeBook, book, ends, range_of, range_words
from dosing.services.month.review_changes import change_lines, changes_since, last_signed, later_lines
from dosing.services.numbers.kept import Stored, kept_number
from dosing.services.numbers.number import Number
from sessions.facts.local_day import plain_day
from sessions.facts.months import month_before, next_month
from sessions.models import Patient, Prescription
from sessions.models.local_time import zone_of
from sessions.services.prescribing import prescription_in_force
from sessions.services.prescription_changes import differences

MONTHS = 6
"""Shown beside each other, the last of which is the review's."""


@dataclass(frozen=True, slots=True)
class NumberOfMonth:
    """One number of one month as text, None with the reason where it is unknown.

    because: why it is doubtful, "" where it is not; place: -1, 0 or 1 to the range; aim: the same to what is aimed at,
    where it lies within the range; unsure: it lies outside, and its interval reaches into the range.
    """

    shown: str | None
    why: str
    because: str
    place: int
    aim: int = 0
    unsure: bool = False


@dataclass(frozen=True, slots=True)
class NumberOverMonths:
    """One number over the months of a review, the newest first, and its range in words."""

    number: Number[Any]
    cells: list[NumberOfMonth]
    range: str


@dataclass(frozen=True)
class ReviewSheet:
    """One patient's month: the review, None where none was begun; last: the one signed before; rows: by month."""

    patient: Patient
    month: date
    at: datetime
    review: MonthlyReview | None
    last: MonthlyReview | None
    months: list[date]
    rows: dict[date, PatientMonth]
    ranges: RangeBook

    @property
    def columns(self) -> list[date]:
        """The months as page and paper set them side by side, the newest first: it is the one that is judged."""
        return self.months[::-1]

    @property
    def row(self) -> PatientMonth | None:
        return self.rows.get(self.month)

    @property
    def frozen(self) -> dict[str, Any] | None:
        """What was signed, None while it is open."""
        return self.review.frozen if self.review and self.review.signed_at else None

    @property
    def numbers(self) -> Stored:
        """The month's own numbers, as they were signed or as they are."""
        if self.frozen:
            signed: Stored = self.frozen["numbers"]
            return signed
        return self.row.numbers if self.row else {}

    @property
    def prescription(self) -> Prescription | None:
        """What stood when it was signed, else what is in force."""
        return self._signed_prescription or prescription_in_force(self.patient, self.at)

    @property
    def _signed_prescription(self) -> Prescription | None:
        version = self.frozen.get("prescription") if self.frozen else None
        if version is None:
            return None
        found = Prescription.objects.filter(patient=self.patient, version=version)
        return found.select_related("dialyser", "signed_by").first()

    @property
    def orders(self) -> list[str]:
        """Where more than one prescription was in force in the month: each with its days, and what it changed."""
        zone = zone_of(self.patient)
        since, until = (datetime.combine(day, time(), zone) for day in (self.month, next_month(self.month)))
        found = Prescription.objects.filter(patient=self.patient, in_force__overlap=(since, min(until, self.at)))
        each = list(found.order_by("in_force"))
        return [line for at in range(len(each)) for line in _order_lines(each, at)] if len(each) > 1 else []

    @property
    def changes(self) -> list[str]:
        """What is different from the last signed review, as it was signed, else as it is now."""
        kept = self.frozen["changes"] if self.frozen else changes_since(self.last, self.row, self.ranges, at=self.at)
        return change_lines(self.patient, kept)

    @property
    def later(self) -> list[str]:
        """What reads otherwise now than it was signed: the page itself keeps what was signed."""
        return later_lines(self.review, self.row) if self.frozen else []

    @property
    def addenda(self) -> list[ReviewAddendum]:
        return list(self.review.addenda.select_related("by")) if self.review else []

    @cached_property
    def lines(self) -> list[NumberOverMonths]:
        """Every number over the months, in the order of `columns`."""
        return [
            NumberOverMonths(number, [self._cell(number, month) for month in self.columns], self._range(number))
            for number in MONTH_NUMBERS.values()
        ]

    @property
    def minutes(self) -> tuple[float, float] | None:
        """Delivered, and prescribed for the same treatments; None where there is none."""
        inputs = kept_number(MONTH_NUMBERS["time"], self.numbers).inputs
        asked = inputs.get("prescribed_each")
        return (sum(inputs["delivered_each"]), sum(asked)) if asked else None

    @property
    def in_treatment(self) -> list[str]:
        """What joining, leaving, hospital and missed treatments did to the month, as it was signed or as it is."""
        kept = self.frozen.get("delivered", {}) if self.frozen else self.row.delivered if self.row else {}
        return lines_said(kept)

    @property
    def doubts(self) -> list[str]:
        """Why numbers of the month are doubtful: a line for each reason, with the numbers that it speaks of."""
        return _by_words(
            (number.label, words)
            for number in MONTH_NUMBERS.values()
            for words in kept_number(number, self.numbers).doubt_words
        )

    @property
    def unknown(self) -> list[str]:
        """Why numbers of the month are not known: a line for each reason, with the numbers that it speaks of."""
        whys = ((number.label, kept_number(number, self.numbers).why) for number in MONTH_NUMBERS.values())
        return _by_words((label, why) for label, why in whys if why)

    @property
    def range_sources(self) -> list[str]:
        """Who says each range, and how far that was seen: a line for each source. With what was signed no source is
        kept, so that one is told only where the range still is the signed one.
        """
        return _by_words(
            (number.label, str(usual.source))
            for number in MONTH_NUMBERS.values()
            if (usual := self.ranges.held_for(number.key, self._schedule))
            and (not self.frozen or self.frozen["ranges"].get(number.key) == ends(usual))
        )

    @property
    def _schedule(self) -> str:
        return self.row.schedule if self.row else ""

    def _range(self, number: Number[Any]) -> str:
        now = ends(self.ranges.held_for(number.key, self._schedule))
        return range_words(number, range_of(self.frozen["ranges"].get(number.key) if self.frozen else now))

    def _cell(self, number: Number[Any], month: date) -> NumberOfMonth:
        own = month == self.month
        row = self.rows.get(month)
        kept = kept_number(number, self.numbers if own else row.numbers if row else {})
        value = kept.value
        frozen = self.frozen if own else None
        between = f" ({kept.between})" if kept.between else ""
        shown = None if value is None else f"{number.text(value)}{between}"
        if frozen:
            place, aim = (frozen.get(name, {}).get(number.key, 0) for name in ("places", "aims"))
            return NumberOfMonth(shown, kept.why, kept.because, place, aim)
        held = number.key, value, row.schedule if row else ""
        place, aim = self.ranges.place(*held), self.ranges.short(*held)
        unsure = bool(place) and self.ranges.reaches_in(number.key, kept.interval, held[2])
        return NumberOfMonth(shown, kept.why, kept.because, place, aim, unsure)


def _order_lines(orders: list[Prescription], at: int) -> list[str]:
    """One of several prescriptions of a month, after the one before it."""
    order = orders[at]
    days = {
        "version": order.version,
        "first": plain_day(localtime(order.in_force.lower)),
        "last": plain_day(localtime(order.in_force.upper)) if order.in_force.upper else "",
    }
    words = (
        gettext("Prescription %(version)s, from %(first)s to %(last)s.")
        if days["last"]
        else gettext("Prescription %(version)s, since %(first)s.")
    )
    if at == 0:
        return [words % days + " " + gettext("Length: %(minutes)s min.") % {"minutes": order.minutes}]
    return [words % days + " " + " ".join(f"{change.line}." for change in differences(orders[at - 1], order))]


def _by_words(pairs: Iterable[tuple[str, str]]) -> list[str]:
    """A line for each of the words, with the numbers that they are said of. pairs: a number's label, and words."""
    found: dict[str, list[str]] = {}
    for label, words in pairs:
        found.setdefault(words, []).append(label)
    return [f"{'; '.join(labels)}: {words}" for words, labels in found.items()]


def review_sheet(patient: Patient, month: date, *, at: datetime) -> ReviewSheet:
    """Read what a review shows: four queries."""
    found = MonthlyReview.objects.filter(patient=patient, month=month)
    months = _months_to(month)
    return ReviewSheet(
        patient=patient,
        month=month,
        at=at,
        review=found.select_related("signed_by", "written_by", "release__by").first(),
        last=last_signed(patient, month),
        months=months,
        rows={row.month: row for row in PatientMonth.objects.filter(patient=patient, month__in=months)},
        ranges=book(),
    )


def _months_to(month: date) -> list[date]:
    """So many months up to this one, oldest first."""
    months = [month]
    while len(months) < MONTHS:
        months.append(month_before(months[-1]))
    return months[::-1]
