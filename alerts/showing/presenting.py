"""Alerts as pages show them: patients in the order in which they want a call, evidence as lines of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from alerts.models import Alert, AlertStep, RecordJudgement
from alerts.models.choices import StepKind, Urgency
from alerts.rules import BY_KEY
from alerts.rules.base import Evidence
from alerts.showing.alert_words import advice_of, figure_of
from alerts.showing.in_short import InShort, in_short
from alerts.showing.pictures import Picture
from alerts.showing.sparklines import Contact, NextTreatment, last_contacts, next_treatments
from homedialysis.accounts.services.dates import told_clock
from sessions.models import Patient, RecordSource, TreatmentRecord

LINES = 4
"""Lines of evidence on the triage page; all of them stand on the alert's own page."""
LATELY = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One piece of evidence in words. level: what its limit is called, "" for the limit itself; paper: its record was
    entered from paper, after the night.
    """

    day: date
    clock: str
    label: str
    value: str
    limit: str
    level: str
    words: str
    record: str
    gone: bool
    handled: bool
    paper: bool = False


def of_paper(alerts: Iterable[Alert]) -> frozenset[str]:
    """The records that the evidence of some alerts comes from and that were entered from paper: one query."""
    named = {item["record"] for alert in alerts for item in alert.evidence if item.get("record")}
    found = TreatmentRecord.objects.filter(pk__in=named, source=RecordSource.PAPER).values_list("pk", flat=True)
    return frozenset(str(pk) for pk in found) if named else frozenset()


def line_of(item: dict[str, Any], patient: Patient, paper: frozenset[str] = frozenset()) -> EvidenceLine:
    """clock: the time on the patient's wall, "" where only the day counts."""
    seen = Evidence.from_json(item)
    zone = ZoneInfo(patient.time_zone) if patient.time_zone else timezone.get_current_timezone()
    with timezone.override(zone):
        words = figure_of(seen)
    return EvidenceLine(
        day=seen.day,
        clock=told_clock(seen.at.astimezone(zone)) if seen.record else "",
        label=words.label,
        value=words.value,
        limit=words.limit,
        level=words.level,
        words=words.more,
        record=seen.record,
        gone=bool(item.get("gone")),
        handled=bool(item.get("handled")),
        paper=seen.record in paper,
    )


class ShownAlert:
    """An alert with what a page says of it. picture: its small chart, where it has one; paper: as `of_paper` says."""

    def __init__(self, alert: Alert, picture: Picture | None = None, *, paper: frozenset[str] = frozenset()) -> None:
        self.alert = alert
        self.picture = picture
        self.paper = paper

    @cached_property
    def lines(self) -> list[EvidenceLine]:
        """All evidence, newest first."""
        return [line_of(item, self.alert.patient, self.paper) for item in reversed(self.alert.evidence)]

    @cached_property
    def few_lines(self) -> list[EvidenceLine]:
        """Enough of it to judge by: the newest, or for a trend the whole course in a few steps."""
        rule = BY_KEY.get(self.alert.rule)
        return _spread(self._standing) if rule and rule.replaces else self._standing[:LINES]

    @cached_property
    def _standing(self) -> list[EvidenceLine]:
        """What the sentence counts."""
        return [line for line in self.lines if not line.gone and not line.handled] or self.lines

    @property
    def more_lines(self) -> int:
        """How many more of those that the sentence counts are on its page."""
        return len(self._standing) - len(self.few_lines)

    @property
    def earlier_lines(self) -> int:
        """How many others are on its page: gone since, or dealt with before it came back."""
        return len(self.lines) - len(self._standing)

    @cached_property
    def steps(self) -> list[AlertStep]:
        return list(self.alert.steps.all())

    @property
    def newest_step(self) -> AlertStep:
        return self.steps[-1]

    @property
    def newest_by_person(self) -> AlertStep | None:
        """The last thing somebody did, where something else has happened since."""
        mine = next((step for step in reversed(self.steps) if step.who), None)
        return None if mine == self.newest_step else mine

    @property
    def part(self) -> str:
        """What a form sends back of this alert: which it is, and the step that the reader saw last."""
        return f"{self.alert.pk}-{self.newest_step.pk}"

    @property
    def closing_words(self) -> str:
        closing = [step.words for step in self.steps if step.kind == StepKind.CLOSED]
        return closing[-1] if closing else ""

    @property
    def urgency(self) -> Urgency:
        return Urgency(self.alert.urgency)

    @property
    def order(self) -> tuple[bool, int, bool, datetime]:
        """Those whose cause is gone last, then by urgency, then what nobody has looked at, then by age."""
        alert = self.alert
        return (alert.cause_gone_at is not None, alert.urgency, alert.looked_at is not None, alert.waiting_since)

    @property
    def looked(self) -> AlertStep | None:
        """The last time somebody did something about it since it came; None while nobody has."""
        if self.alert.looked_at is None:
            return None
        return next((step for step in reversed(self.steps) if step.who), None)

    @property
    def advice(self) -> str:
        return advice_of(self.alert)


def _spread(lines: Sequence[EvidenceLine]) -> list[EvidenceLine]:
    if len(lines) <= LINES:
        return list(lines)
    last = len(lines) - 1
    return [lines[round(index * last / (LINES - 1))] for index in range(LINES)]


@dataclass(frozen=True, slots=True)
class Bundle:
    """One patient with all that is open, the most urgent first.

    alerts: on the table; aside: set aside until a day; about: those that its line speaks of; contact: the last one;
    next: when the next treatment is due, None where nothing says so.
    """

    patient: Patient
    alerts: list[ShownAlert]
    aside: list[ShownAlert]
    about: list[ShownAlert]
    contact: Contact | None
    next: NextTreatment | None

    @property
    def order(self) -> tuple[bool, int, bool, datetime]:
        return self.first.order

    @property
    def first(self) -> ShownAlert:
        return (self.about or self.alerts or self.aside)[0]

    @property
    def over(self) -> bool:
        """Whether nothing of what lies on the table stands any more: it only waits to be closed."""
        return bool(self.alerts) and not any(one.alert.stands for one in self.alerts)

    @property
    def in_short(self) -> InShort:
        """What its line speaks of, by short names."""
        return in_short([one.alert for one in (self.about or [self.first])])

    @property
    def since(self) -> datetime:
        """Since when the longest of those of the urgency that its line shows waits."""
        return min(one.alert.waiting_since for one in self.about if one.alert.urgency == self.first.alert.urgency)

    @property
    def looked(self) -> AlertStep | None:
        """The last time somebody did something about any of it; None while nobody has."""
        steps = (one.looked for one in self.about)
        return max((step for step in steps if step), key=lambda step: step.pk, default=None)

    @property
    def unseen(self) -> int:
        """How much of it nobody has looked at."""
        return sum(one.alert.looked_at is None for one in self.about)

    @property
    def carers(self) -> list[str]:
        """Who takes care of some of it."""
        return sorted({str(one.alert.assigned_to) for one in self.about if one.alert.assigned_to})


def bundles(alerts: Iterable[Alert], *, at: datetime, zone: ZoneInfo, set_aside: bool = False) -> list[Bundle]:
    """The alerts by patient, the patient who wants a call first on top. Five queries beside those of the alerts.

    set_aside: whether the lines speak of what is set aside; else of what stands on the table.
    """
    alerts = list(alerts)
    by_patient: dict[Any, list[ShownAlert]] = {}
    for alert in alerts:
        by_patient.setdefault(alert.patient_id, []).append(ShownAlert(alert))
    patients = {alert.patient_id: alert.patient for alert in alerts}
    contacts = last_contacts(list(patients))
    due = next_treatments(list(patients.values()), at=at, zone=zone)
    found = []
    for patient_id, unsorted in by_patient.items():
        shown = in_order(unsorted)
        table = [one for one in shown if one.alert.set_aside_until is None]
        aside = [one for one in shown if one.alert.set_aside_until is not None]
        found.append(
            Bundle(
                patient=patients[patient_id],
                alerts=table,
                aside=aside,
                about=aside if set_aside else [one for one in table if one.alert.stands],
                contact=contacts.get(patient_id),
                next=due.get(patient_id),
            )
        )
    return sorted(found, key=lambda bundle: bundle.order)


def in_order(shown: Iterable[ShownAlert]) -> list[ShownAlert]:
    """The most urgent first; what only tells the same of the same night comes right below what it is a part of."""
    ordered = sorted(shown, key=lambda one: one.order)
    above = {one.alert.pk: _above(one, ordered) for one in ordered}
    found: list[ShownAlert] = []
    for one in ordered:
        if above[one.alert.pk] is None:
            found += [one, *(below for below in ordered if above[below.alert.pk] is one)]
    return found + [one for one in ordered if one not in found]


def _above(one: ShownAlert, others: Iterable[ShownAlert]) -> ShownAlert | None:
    rule = BY_KEY.get(one.alert.rule)
    keys = rule.part_of if rule else ()
    same = (other for other in others if other.alert.rule in keys and other.alert.last_night == one.alert.last_night)
    return next(same, None)


def not_judged_of(patient: Patient, at: datetime) -> RecordJudgement | None:
    """Of the newest record of the last days, where rules could not judge it all."""
    rows = RecordJudgement.objects.filter(record__patient=patient, record__started_at__gte=at - LATELY)
    newest = rows.select_related("record").order_by("-record__started_at").first()
    return newest if newest is not None and newest.not_judged else None
