"""Time in treatment of a month: what joining, leaving, hospital, time away and missed nights do to it, in words too."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from statistics import fmean
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_noop as _

from dosing.science.course import DAY, AbsenceKind, Counts, DeliveredCourse, Order, TimeAway, Treatment
from sessions.facts.local_day import plain_day
from sessions.models.treatment import UNDER_WAY

SECONDS = 86400
LEAST_PRESCRIBED = 0.5
"""Treatments, under which a share of those prescribed says nothing."""
Delivered = Mapping[str, Any]
"""What `PatientMonth.delivered` keeps: see `InTreatment.as_json`."""


@dataclass(frozen=True)
class InTreatment:
    """Time of a month, or of what has passed of it, in which the patient was treated at home."""

    course: DeliveredCourse
    since: datetime
    until: datetime
    zone: ZoneInfo

    @property
    def first(self) -> date:
        return self.since.astimezone(self.zone).date()

    @property
    def last(self) -> date:
        return max(self.first, (self.until - timedelta(seconds=1)).astimezone(self.zone).date())

    @cached_property
    def treatments(self) -> list[Treatment]:
        """Those of the month, without a second record of the same one."""
        own = (each for each in self.course.treatments if self.since <= each.start < self.until)
        return [each for each in own if each.counts != Counts.TWICE]

    @property
    def done(self) -> list[Treatment]:
        """Those that were handed over and count as treatments."""
        return [each for each in self.treatments if each.counted and each.handed_over]

    @cached_property
    def under_way(self) -> set[date]:
        """Days of a treatment that may still be running, with no other one done: neither done nor missed yet."""
        running = {each.day for each in self.treatments if not each.handed_over and self.until - each.start < UNDER_WAY}
        return running - {each.day for each in self.done}

    @cached_property
    def absent(self) -> set[date]:
        """Days of an absence on which no treatment at home was done all the same."""
        treated = {each.day for each in self.treatments}
        days = self.course.days(self.first, self.last)
        return {day for day in days if day not in treated and self.course.absent_on(day)}

    @property
    def at_home_all_the_same(self) -> int:
        """Treatments done on days of an absence: those days are days in treatment."""
        return sum(self.course.absent_on(each.day) is not None for each in self.done)

    @property
    def days(self) -> float:
        """Days in treatment; the day that is running counts as far as it has come, without one under way."""
        return sum(self._share(day) for day in self._judged)

    @cached_property
    def _judged(self) -> list[date]:
        """Days in treatment of which it can be said what was done."""
        left_out = self.absent | self.under_way
        return [day for day in self.course.days(self.first, self.last) if day not in left_out]

    def _share(self, day: date) -> float:
        """How much of a day lies in the month so far; days are as long as clocks make them."""
        begin = datetime.combine(day, time(), self.zone)
        end = datetime.combine(day + DAY, time(), self.zone)
        length = end.timestamp() - begin.timestamp()
        inside = min(end, self.until).timestamp() - max(begin, self.since).timestamp()
        return max(0.0, inside) / length

    @property
    def prescribed(self) -> float:
        """Treatments that were prescribed for the time in treatment; of fixed weekdays those that are over."""
        treated = {each.day for each in self.treatments}
        return sum(self._asked(day, order, treated) for day in self._judged if (order := self._order_on(day)))

    @property
    def per_week(self) -> float:
        """Treatments a week as really done, seven at most.

        The share done of those prescribed, times the prescribed number a week: where every Monday, Wednesday and Friday
        in treatment was kept it is three, with which of them the time in treatment began and ended or not. By the days
        alone where more was done than prescribed, or nothing was.
        """
        done, by_days = len(self.done), len(self.done) / self.days * 7
        rate = self.prescribed_per_week
        if rate is None:
            return min(7.0, by_days)
        return min(7.0, max(rate, by_days) if done > self.prescribed else rate * done / self.prescribed)

    @property
    def prescribed_per_week(self) -> float | None:
        """Treatments a week as prescribed, the mean over the days in treatment; None where hardly any was due."""
        days = [day for day in self.course.days(self.first, self.last) if day not in self.absent]
        asked = [order.per_week for day in days if (order := self._order_on(day))]
        return fmean(asked) if asked and self.prescribed >= LEAST_PRESCRIBED else None

    def _order_on(self, day: date) -> Order | None:
        """What was in force at noon, or at its end on the day that is running."""
        return self.course.order_at(min(datetime.combine(day, time(12), self.zone), self.until - timedelta(seconds=1)))

    def _asked(self, day: date, order: Order, treated: set[date]) -> float:
        if not order.weekdays:
            return order.per_week / 7 * self._share(day)
        over = self._share(day) == 1 or day in treated
        return 1.0 if over and day.weekday() in order.weekdays else 0.0

    @property
    def missing(self) -> list[date]:
        """Days of the month on which a treatment was due and none is there."""
        return [day for day in self.course.missing if self.first <= day <= self.last]

    @property
    def absences(self) -> Iterator[TimeAway]:
        """Those that touch the month."""
        for each in self.course.absences:
            begun = each.first is None or each.first <= self.last
            if begun and (each.last is None or self.first <= each.last):
                yield each

    def as_json(self) -> dict[str, Any]:
        """days: in treatment; absences, missing, left_out: days as ISO 8601; broken_off: records that do not count."""
        return {
            "nights": len(self.done),
            "open": sum(not each.handed_over for each in self.treatments),
            "under_way": len(self.under_way),
            "broken_off": sum(each.counts == Counts.BROKEN_OFF for each in self.treatments),
            "days": round(self.days, 1),
            "absences": [
                {"kind": each.kind, "first": _iso(each.first), "last": _iso(each.last)} for each in self.absences
            ],
            "missing": [day.isoformat() for day in self.missing],
            "left_out": [day.isoformat() for day in self.course.left_out if self.first <= day <= self.last],
            "at_home_all_the_same": self.at_home_all_the_same,
        }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


ABSENT: dict[tuple[str, bool, bool], str] = {
    (AbsenceKind.BEFORE, False, True): _("In the programme since %(after)s."),
    (AbsenceKind.AFTER, True, False): _("Left the programme on %(first)s."),
    (AbsenceKind.HOSPITAL, True, True): _("In hospital from %(first)s to %(last)s."),
    (AbsenceKind.HOSPITAL, True, False): _("In hospital since %(first)s."),
    (AbsenceKind.AWAY, True, True): _("Away from %(first)s to %(last)s."),
    (AbsenceKind.AWAY, True, False): _("Away since %(first)s."),
    (AbsenceKind.CENTRE, True, True): _("In the centre from %(first)s to %(last)s."),
    (AbsenceKind.CENTRE, True, False): _("In the centre since %(first)s."),
    (AbsenceKind.PAUSED, True, True): _("Home dialysis paused from %(first)s to %(last)s."),
    (AbsenceKind.PAUSED, True, False): _("Home dialysis paused since %(first)s."),
}
"""By kind, and whether the first and the last day are known."""


def lines_said(delivered: Delivered) -> list[str]:
    """What a month did to its numbers, a sentence each, in the language of the reader; none of a whole month."""
    unordered = [] if delivered.get("ordered", True) else [gettext("Nothing was prescribed in this month.")]
    return [*unordered, *_of_absences(delivered), *_of_records(delivered)]


IN_SHORT: dict[str, str] = {
    AbsenceKind.BEFORE: _("joined"),
    AbsenceKind.AFTER: _("has left"),
    AbsenceKind.HOSPITAL: _("hospital"),
    AbsenceKind.AWAY: _("away"),
    AbsenceKind.CENTRE: _("in the centre"),
    AbsenceKind.PAUSED: _("paused"),
}
COUNTED_IN_SHORT = (
    ("under_way", _("%(count)d under way")),
    ("missing", _("%(count)d not entered")),
    ("left_out", _("%(count)d left out")),
    ("broken_off", _("%(count)d broken off")),
)


def short_said(delivered: Delivered) -> list[str]:
    """The same in as few words as a narrow column holds; `lines_said` has the days."""
    absences = delivered.get("absences", [])
    told = [] if delivered.get("ordered", True) else [gettext("nothing prescribed")]
    told += [gettext(words) for kind, words in IN_SHORT.items() if any(each["kind"] == kind for each in absences)]
    if absences:
        days = round(delivered["days"])
        told.append(ngettext("%(days)d day treated", "%(days)d days treated", days) % {"days": days})
    counts = ((words, delivered.get(key, 0)) for key, words in COUNTED_IN_SHORT)
    counted = ((words, count if isinstance(count, int) else len(count)) for words, count in counts)
    return told + [gettext(words) % {"count": count} for words, count in counted if count]


def begun(delivered: Delivered) -> bool:
    """Whether anything was prescribed or done in a month: before that nobody lacks what a month is judged by."""
    return bool(delivered.get("ordered", True) or delivered.get("nights") or delivered.get("open"))


def _of_absences(delivered: Delivered) -> Iterator[str]:
    absences = delivered.get("absences", [])
    for each in absences:
        first, last = _day(each["first"]), _day(each["last"])
        after = last + DAY if last else None
        parts = {"first": plain_day(first), "last": plain_day(last), "after": plain_day(after)}
        yield gettext(ABSENT[each["kind"], first is not None, last is not None]) % parts
    if absences:
        days = round(delivered["days"])
        yield ngettext("%(days)d day in treatment.", "%(days)d days in treatment.", days) % {"days": days}
    if at_home := delivered.get("at_home_all_the_same", 0):
        yield ngettext(
            "%(count)d treatment at home lies on those days; it counts, and so does its day.",
            "%(count)d treatments at home lie on those days; they count, and so do their days.",
            at_home,
        ) % {"count": at_home}


def _day(iso: str | None) -> date | None:
    return date.fromisoformat(iso) if iso else None


def _of_records(delivered: Delivered) -> Iterator[str]:
    if running := delivered.get("under_way", 0):
        yield ngettext(
            "%(count)d treatment is under way: neither done nor missed yet.",
            "%(count)d treatments are under way: neither done nor missed yet.",
            running,
        ) % {"count": running}
    if missing := delivered.get("missing", []):
        yield ngettext(
            "%(count)d treatment was due and is not entered: %(first)s.",
            "%(count)d treatments were due and are not entered, from %(first)s to %(last)s.",
            len(missing),
        ) % {"count": len(missing), "first": plain_day(_day(missing[0])), "last": plain_day(_day(missing[-1]))}
    if left_out := len(delivered.get("left_out", [])):
        yield ngettext(
            "%(count)d treatment was left out, as the patient said.",
            "%(count)d treatments were left out, as the patient said.",
            left_out,
        ) % {"count": left_out}
    if broken_off := delivered.get("broken_off", 0):
        yield ngettext(
            "%(count)d treatment was broken off and is not counted.",
            "%(count)d treatments were broken off and are not counted.",
            broken_off,
        ) % {"count": broken_off}
