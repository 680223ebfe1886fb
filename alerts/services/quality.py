"""How good the alerts are, so that the unit prunes its own noise: how many, what came of them, how soon seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Aggregate, Count, DurationField, F, Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from alerts.models import Alert, AlertStep, Mute
from alerts.models.choices import NO_ACTION, StepKind
from alerts.rules import BY_KEY
from dosing.science.survival import poisson_rate
from sessions.models import Patient

DAYS_A_MONTH = 365.25 / 12
NEW = (StepKind.OPENED, StepKind.BACK_AGAIN)


class Percentile(Aggregate):
    """PostgreSQL's percentile_cont over a duration."""

    function = "PERCENTILE_CONT"
    template = "%(function)s(%(share)s) WITHIN GROUP (ORDER BY %(expressions)s)"

    def __init__(self, expression: Any, share: float, **extra: Any) -> None:
        super().__init__(expression, share=share, output_field=DurationField(), **extra)


@dataclass(frozen=True, slots=True)
class Rate:
    """Alerts per patient-month with the exact 95 % Poisson interval; None where no patient was in the programme."""

    rate: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class RuleQuality:
    """One rule, or all together. acted: of those closed; median, p90: to being looked at, None where none was."""

    key: str
    title: str
    alerts: int
    rate: Rate
    closed: int
    acted: int
    median: timedelta | None
    p90: timedelta | None
    unseen: int
    muted: int = 0

    @property
    def acted_percent(self) -> int | None:
        return round(100 * self.acted / self.closed) if self.closed else None


@dataclass(frozen=True, slots=True)
class Quality:
    """What the page shows. patient_months: time in the programme of all patients within the span."""

    rules: list[RuleQuality]
    total: RuleQuality
    patient_months: float


def quality_between(since: datetime, until: datetime) -> Quality:
    """By rule, the loudest first: seven queries. Mutes are those that were in force in the span."""
    months = patient_months(since.date(), until.date())
    alerts = _count(AlertStep.objects.filter(at__gte=since, at__lt=until, kind__in=NEW), "alert__rule")
    closings = AlertStep.objects.filter(at__gte=since, at__lt=until, kind=StepKind.CLOSED)
    closed = _count(closings, "alert__rule")
    acted = _count(closings.exclude(outcome__in=NO_ACTION), "alert__rule")
    waiting = Alert.objects.alias(began=Coalesce("waits_since", "opened_at")).filter(began__gte=since, began__lt=until)
    seen = {row["rule"]: row for row in waiting.values("rule").annotate(**_waits()).order_by("rule")}
    together = waiting.aggregate(**_waits())
    muted = _count(Mute.objects.filter(since__lt=until, until__gt=since), "rule")
    keys = {*alerts, *closed, *seen, *muted}

    def one(key: str) -> RuleQuality:
        rule = BY_KEY.get(key)
        title = str(rule.title) if rule else key
        return _row(key, title, alerts[key], closed[key], acted[key], seen.get(key, {}), months, muted[key])

    rules = sorted((one(key) for key in keys), key=lambda row: (-row.alerts, row.title))
    total = _row("", _("All rules"), alerts.total(), closed.total(), acted.total(), together, months, muted.total())
    return Quality(rules, total, months)


def patient_months(since: date, until: date) -> float:
    """Time in the programme of all patients between two days, in months of 30.4 days."""
    spans = Patient.objects.filter(Q(left_on=None) | Q(left_on__gt=since), joined_on__lt=until)
    days: int = sum(
        (min(left or until, until) - max(joined, since)).days
        for joined, left in spans.values_list("joined_on", "left_on")
    )
    return days / DAYS_A_MONTH


def rate_of(events: int, months: float) -> Rate:
    """Exact (Garwood) interval, from the science."""
    if months <= 0:
        return Rate(None, None, None)
    found = poisson_rate(events=events, exposure=months, per=1.0)
    return Rate(found.rate.number, found.low.number, found.high.number)


def _row(
    key: str,
    title: str,
    alerts: int,
    closed: int,
    acted: int,
    seen: Mapping[str, Any],
    months: float,
    muted: int,
) -> RuleQuality:
    return RuleQuality(
        key=key,
        title=title,
        alerts=alerts,
        rate=rate_of(alerts, months),
        closed=closed,
        acted=acted,
        median=seen.get("median"),
        p90=seen.get("p90"),
        unseen=seen.get("unseen", 0),
        muted=muted,
    )


def _waits() -> dict[str, Any]:
    wait = F("looked_at") - Coalesce("waits_since", "opened_at")
    looked = Q(looked_at__isnull=False)
    return {
        "median": Percentile(wait, 0.5, filter=looked),
        "p90": Percentile(wait, 0.9, filter=looked),
        "unseen": Count("pk", filter=Q(looked_at=None, state="open")),
    }


def _count(found: Any, field: str) -> Counter[str]:
    rows = found.order_by().values_list(field).annotate(times=Count("pk"))
    return Counter(dict(rows))
