"""Alerts as pages show them: patients in the order in which they want a call, evidence as lines of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from alerts.choices import StepKind, Urgency
from alerts.models import Alert, AlertStep, RecordJudgement
from alerts.rules import BY_KEY
from alerts.rules.base import Evidence
from sessions.models import Patient

LINES = 4
"""Lines of evidence on the triage page; all of them stand on the alert's own page."""
LATELY = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Line:
    """One piece of evidence in words."""

    day: date
    clock: str
    label: str
    value: str
    limit: str
    words: str
    record: str
    gone: bool


def line_of(item: dict[str, Any], patient: Patient) -> Line:
    """clock: the time on the patient's wall, "" where only the day counts."""
    seen = Evidence.from_json(item)
    zone = ZoneInfo(patient.time_zone) if patient.time_zone else timezone.get_current_timezone()
    clock = f"{seen.at.astimezone(zone):%H:%M}" if seen.record else ""
    value = "" if seen.value is None else f"{seen.value:g} {seen.unit}".strip()
    limit = "" if seen.limit is None else f"{seen.limit:g} {seen.unit}".strip()
    gone = bool(item.get("gone"))
    return Line(seen.day, clock, seen.label, value, limit, seen.words, seen.record, gone)


class Shown:
    """An alert with what a page says of it."""

    def __init__(self, alert: Alert) -> None:
        self.alert = alert

    @cached_property
    def lines(self) -> list[Line]:
        """All evidence, newest first."""
        return [line_of(item, self.alert.patient) for item in reversed(self.alert.evidence)]

    @cached_property
    def few_lines(self) -> list[Line]:
        """Enough of it to judge by: the newest, or for a trend the whole course in a few steps."""
        rule = BY_KEY.get(self.alert.rule)
        standing = [line for line in self.lines if not line.gone] or self.lines
        return _spread(standing) if rule and rule.replaces else standing[:LINES]

    @property
    def more_lines(self) -> int:
        return len(self.lines) - len(self.few_lines)

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
    def closing_words(self) -> str:
        closing = [step.words for step in self.steps if step.kind == StepKind.CLOSED]
        return closing[0] if closing else ""

    @property
    def urgency(self) -> Urgency:
        return Urgency(self.alert.urgency)

    @property
    def order(self) -> tuple[bool, int, datetime]:
        """Those whose cause is gone last, then by urgency and age."""
        return (self.alert.cause_gone_at is not None, self.alert.urgency, self.alert.opened_at)

    @property
    def advice(self) -> str:
        rule = BY_KEY.get(self.alert.rule)
        return rule.advice if rule else ""


def _spread(lines: Sequence[Line]) -> list[Line]:
    if len(lines) <= LINES:
        return list(lines)
    last = len(lines) - 1
    return [lines[round(index * last / (LINES - 1))] for index in range(LINES)]


@dataclass(frozen=True, slots=True)
class Bundle:
    """One patient with all open alerts, the most urgent first. not_judged: of the latest record, if recent."""

    patient: Patient
    alerts: list[Shown]
    not_judged: RecordJudgement | None

    @property
    def order(self) -> tuple[bool, int, datetime]:
        return self.alerts[0].order


def bundles(alerts: Iterable[Alert], *, at: datetime) -> list[Bundle]:
    """The alerts by patient, the patient who wants a call first on top. One query beside those of the alerts."""
    by_patient: dict[Any, list[Shown]] = {}
    for alert in alerts:
        by_patient.setdefault(alert.patient_id, []).append(Shown(alert))
    silent = _not_judged(by_patient.keys(), at)
    found = []
    for patient_id, shown in by_patient.items():
        shown.sort(key=lambda one: one.order)
        found.append(Bundle(shown[0].alert.patient, shown, silent.get(patient_id)))
    return sorted(found, key=lambda bundle: bundle.order)


def _not_judged(patients: Iterable[Any], at: datetime) -> dict[Any, RecordJudgement]:
    """Of each patient the newest record of the last days, where rules could not judge it all."""
    latest = (
        RecordJudgement.objects.filter(record__patient__in=list(patients), record__started_at__gte=at - LATELY)
        .select_related("record")
        .order_by("record__patient_id", "-record__started_at")
        .distinct("record__patient_id")
    )
    return {row.record.patient_id: row for row in latest if row.not_judged}
