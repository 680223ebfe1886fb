"""What people do with an alert: each step with person, time and words, nothing ever overwritten."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.timezone import localtime

from alerts.choices import AlertState, Outcome, StepKind
from alerts.models import Alert, AlertStep
from homedialysis.accounts.models import User


class AlreadyClosed(Exception):
    """Somebody closed the alert meanwhile; `alert` says who and how."""

    def __init__(self, alert: Alert) -> None:
        closed_at = localtime(alert.closed_at)
        super().__init__(f"{alert.closed_by} closed this alert on {closed_at:%Y-%m-%d} at {closed_at:%H:%M}.")
        self.alert = alert


class MovedOn(Exception):
    """A step was added since the page was opened: look at it first."""


class WordsMissing(Exception):
    """A note, or what was done, needs words."""


@transaction.atomic
def see(*, alert: Alert, by: User, at: datetime) -> bool:
    """Note that somebody has looked at it. False when that is the person's latest word on the newest evidence."""
    current = _still_open(_locked(alert, by))
    mine = current.steps.filter(who=by).order_by("-pk").first()
    if mine and mine.at >= current.last_seen_at:
        return False
    _step(current, StepKind.SEEN, by, at)
    return True


@transaction.atomic
def note(*, alert: Alert, by: User, words: str, at: datetime) -> None:
    """Write something down, also beside an alert that is closed. Raises WordsMissing."""
    current = _locked(alert, by)
    _step(current, StepKind.NOTE, by, at, _given(words))


@transaction.atomic
def close(*, alert: Alert, by: User, outcome: str, words: str, at: datetime, newest_step: int | None = None) -> Alert:
    """Close an alert with what was done.

    newest_step: the id of the last step the person saw; where another one has come since, MovedOn is raised.
    Raises AlreadyClosed, MovedOn, WordsMissing, ValueError for an unknown outcome, PermissionDenied.
    """
    current = _still_open(_locked(alert, by))
    if newest_step is not None and current.steps.filter(pk__gt=newest_step).exists():
        raise MovedOn
    chosen = Outcome(outcome)
    words = _given(words)
    current.state = AlertState.CLOSED
    current.outcome = chosen
    current.closed_by = by
    current.closed_at = at
    current.save(update_fields=["state", "outcome", "closed_by", "closed_at"])
    _step(current, StepKind.CLOSED, by, at, words)
    return current


def _locked(alert: Alert, by: User) -> Alert:
    """The alert as it stands now, held until the transaction ends."""
    if not by.is_clinical:
        raise PermissionDenied("Only a nurse or a nephrologist acts on an alert.")
    current: Alert = Alert.objects.locked().get(pk=alert.pk)
    return current


def _still_open(alert: Alert) -> Alert:
    if not alert.is_open:
        raise AlreadyClosed(alert)
    return alert


def _given(words: str) -> str:
    if not words.strip():
        raise WordsMissing
    return words.strip()


def _step(alert: Alert, kind: StepKind, by: User, at: datetime, words: str = "") -> None:
    AlertStep.objects.create(alert=alert, kind=kind, who=by, at=at, words=words)
