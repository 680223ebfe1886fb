"""Set what the rules see beside the alerts that stand: each cause has one course, and that does what follows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from graphlib import TopologicalSorter

from django.db.models import Q

from alerts.models import Alert
from alerts.rules.base import HISTORY, History, Rule, Seen
from alerts.rules.wording import days_of
from alerts.services.alert_course import AlertCourse
from alerts.services.evidence_merging import keys_of, split
from alerts.services.muting import MuteBook, mutes_of

ANY_ZONE = timedelta(days=1)
"""A night that began after a moment bears at most the date before that moment's, wherever the patient lives."""


def reconcile(history: History, rules: Iterable[Rule], *, at: datetime) -> list[tuple[Rule, Seen]]:
    """Run the rules over a patient's history and bring the patient's alerts up to date. What they saw comes back.

    The patient is locked.
    """
    rules = list(rules)
    found = [(rule, seen) for rule in rules for seen in rule.see(history, at)]
    courses = _courses_of(history, rules, at)
    told: dict[str, frozenset[date]] = {}
    for rule, seen in _joined_last(found, rules):
        course = courses.of(rule, seen.cause)
        days = frozenset(days_of(seen.evidence))
        least = seen.nights or rule.nights
        course.elsewhere = len(days - _of_others(told, rule)) < least <= len(days)
        if course.elsewhere:
            course.take_nothing()
            continue
        if len(days) >= least and not courses.mutes.at(rule.key, at):
            told[rule.key] = told.get(rule.key, frozenset()) | days
        course.take(seen)
    for course in courses.not_taken():
        course.take_nothing()
    return found


def _joined_last(found: Iterable[tuple[Rule, Seen]], rules: Iterable[Rule]) -> list[tuple[Rule, Seen]]:
    """What joins another comes after it: whether it has anything to add is known only then."""
    order = TopologicalSorter({rule.key: rule.joins for rule in rules}).static_order()
    place = {key: number for number, key in enumerate(order)}
    return sorted(found, key=lambda pair: place[pair[0].key])


def _of_others(told: Mapping[str, frozenset[date]], rule: Rule) -> frozenset[date]:
    """The days of which rules that this one joins tell the same, on enough nights and unmuted."""
    return frozenset().union(*(told.get(key, frozenset()) for key in rule.joins))


@dataclass(slots=True)
class Courses:
    """The courses of some rules of one patient, by rule and cause: those that stand, and what the rules speak of."""

    history: History
    mutes: MuteBook
    at: datetime
    by_cause: dict[tuple[str, str], AlertCourse] = field(default_factory=dict)

    def of(self, rule: Rule, cause: str) -> AlertCourse:
        """The course of one cause; a new one where nothing stands."""
        new = AlertCourse(self.history, self.mutes, self.at, rule, cause)
        return self.by_cause.setdefault((rule.key, cause), new)

    def not_taken(self) -> list[AlertCourse]:
        """Those of which the rules have seen nothing."""
        return [course for course in self.by_cause.values() if not course.taken]


def _courses_of(history: History, rules: Sequence[Rule], at: datetime) -> Courses:
    """Where the courses of these rules stand, in three queries. The alerts that are open are locked.

    What was closed over nights that are not read any more cannot be seen again, but what is overdue is seen however
    long ago it fell due.
    """
    courses = Courses(history, mutes_of(history.patient), at)
    by_key = {rule.key: rule for rule in rules}
    own = Alert.objects.filter(patient=history.patient, rule__in=list(by_key))
    ageless = [rule.key for rule in rules if rule.looks_back > HISTORY]
    may_come_again = Q(last_night__gte=(history.since - ANY_ZONE).date()) | Q(rule__in=ageless)
    for closed in own.closed().filter(may_come_again):
        courses.of(by_key[closed.rule], closed.cause).dealt_with |= keys_of(closed.evidence)
    for standing in own.open().locked():
        course = courses.of(by_key[standing.rule], standing.cause)
        course.alert = standing
        course.dealt_with |= keys_of(split(standing.evidence)[0])
    return courses
