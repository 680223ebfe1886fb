"""What people do with an alert: each step with person, time and words, nothing ever overwritten.

Every act may say which step of each alert the person saw last. Where another one has come since, MovedOn is raised
and nothing is written: the person reads it first. Several alerts of one patient are acted on together or not at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from alerts.models import Alert, AlertStep, Call
from alerts.models.choices import AlertState, CallResult, Outcome, StepKind, Urgency
from alerts.rules import BY_KEY
from alerts.services import outbox
from homedialysis.accounts.models import CLINICAL_ROLES, Unit, User
from homedialysis.accounts.services.dates import short_day, short_moment, told_clock
from sessions.models import Patient

LONGEST_ASIDE = timedelta(days=92)
LONGEST_ASIDE_TODAY = timedelta(days=3)
"""For what wants a call today: longer than a weekend it is out of nobody's sight (common practice, no source)."""
UNDO_FOR = timedelta(minutes=15)
"""So long whoever closed an alert takes that back without a word; later it is opened again with a reason."""
LONGEST_TO_NEXT_CALL = timedelta(days=92)
Seen = Mapping[int, int]
"""The step that the person saw last, by alert."""


class AlreadyClosed(Exception):
    """Somebody closed the alert meanwhile; `alert` says who and how."""

    def __init__(self, alert: Alert) -> None:
        closed_at = localtime(alert.closed_at)
        super().__init__(
            _("%(person)s closed this alert on %(day)s at %(time)s.")
            % {"person": alert.closed_by, "day": short_day(closed_at), "time": told_clock(closed_at)}
        )
        self.alert = alert


class MovedOn(Exception):
    """Steps were added since the page was opened: look at them first. `steps`: those."""

    def __init__(self, steps: Sequence[AlertStep]) -> None:
        super().__init__(
            ngettext("%(count)s step was added.", "%(count)s steps were added.", len(steps)) % {"count": len(steps)}
        )
        self.steps = steps


class WordsMissing(Exception):
    """A note, a reason, or what was done needs words."""


class NotDone(Exception):
    """It tells of something to do, which is not done yet; `alert` says what."""

    def __init__(self, alert: Alert) -> None:
        super().__init__(
            _("“%(title)s” is over when it is noted as done; until then it can be given to somebody or set aside.")
            % {"title": BY_KEY[alert.rule].title}
        )
        self.alert = alert


class NotSpoken(Exception):
    """What wants a call today is set aside only once the patient was reached; `alert` says which."""

    def __init__(self, alert: Alert) -> None:
        rule = BY_KEY.get(alert.rule)
        super().__init__(
            _("“%(title)s” wants a call today: note first that the patient was reached, then set it aside.")
            % {"title": rule.title if rule else alert.rule}
        )
        self.alert = alert


class OpenAlready(Exception):
    """It came back by itself: another alert of the same cause is open."""

    def __init__(self) -> None:
        super().__init__(_("An alert of the same cause is open already: go on there."))


@transaction.atomic
def see(*, alert: Alert, by: User, at: datetime) -> bool:
    """Note that somebody has looked at it. False when that is the person's latest word on the newest evidence."""
    (current,) = _still_open(_locked([alert.pk], by))
    mine = current.steps.filter(who=by).order_by("-pk").first()
    if mine and mine.at >= current.last_seen_at and current.looked_at is not None:
        return False
    _step(current, StepKind.SEEN, by, at)
    return True


@transaction.atomic
def note(*, alerts: Sequence[Alert], by: User, words: str, at: datetime, newest: Seen | None = None) -> None:
    """Write something down, also beside an alert that is closed. Raises MovedOn, WordsMissing, PermissionDenied."""
    words = _given(words)
    for current in _as_seen(_locked([alert.pk for alert in alerts], by), newest):
        _step(current, StepKind.NOTE, by, at, words)


def close(
    *, alerts: Sequence[Alert], by: User, outcome: str, words: str, at: datetime, newest: Seen | None = None
) -> list[Alert]:
    """Close alerts with what was done. Raises as `close_each`."""
    outcomes = {alert.pk: outcome for alert in alerts}
    return close_each(outcomes=outcomes, by=by, words=words, at=at, newest=newest)


@transaction.atomic
def close_each(
    *, outcomes: Mapping[int, str], by: User, words: str, at: datetime, newest: Seen | None = None
) -> list[Alert]:
    """Close alerts, each with an outcome of its own, by id; all of them or none.

    Raises AlreadyClosed, MovedOn, NotDone, WordsMissing, ValueError for an unknown outcome, PermissionDenied.
    """
    chosen = {pk: Outcome(outcome) for pk, outcome in outcomes.items()}
    words = _given(words)
    found = _as_seen(_still_open(_locked(chosen, by)), newest)
    for current in found:
        if to_be_done(current):
            raise NotDone(current)
        current.state = AlertState.CLOSED
        current.outcome = chosen[current.pk]
        current.closed_by = by
        current.closed_at = at
        current.set_aside_until = None
        current.looked_at = current.looked_at or at
        current.save()
        _step(current, StepKind.CLOSED, by, at, words, outcome=current.outcome)
    return found


def to_be_done(alert: Alert) -> bool:
    """Whether it tells of something that is still to do."""
    rule = BY_KEY.get(alert.rule)
    return bool(rule and rule.ends_when_done and alert.cause_gone_at is None)


def may_undo(alert: Alert, *, by: User, at: datetime) -> bool:
    """Whether this person closed it so lately that taking that back needs no reason."""
    return alert.closed_by_id == by.pk and alert.closed_at is not None and at - alert.closed_at <= UNDO_FOR


def may_be_undone(*, by: User, at: datetime) -> list[Alert]:
    """What this person closed so lately that it needs no reason to take that back: one query."""
    rows = Alert.objects.closed().filter(closed_by=by, closed_at__gte=at - UNDO_FOR).select_related("patient")
    return list(rows.order_by("-closed_at", "-pk"))


@transaction.atomic
def reopen(*, alert: Alert, by: User, at: datetime, words: str = "") -> bool:
    """Open again what was closed, as it stood before; whoever closed it just now needs no reason.

    False where it is open by now. Raises OpenAlready, WordsMissing, PermissionDenied.
    """
    (current,) = _locked([alert.pk], by)
    if current.is_open:
        return False
    if not may_undo(current, by=by, at=at):
        words = _given(words)
    same = Alert.objects.open().filter(patient=current.patient_id, rule=current.rule, cause=current.cause)
    if same.exists():
        raise OpenAlready
    current.state, current.outcome = AlertState.OPEN, ""
    current.closed_at = current.closed_by = None
    current.save()
    _step(current, StepKind.REOPENED, by, at, words.strip())
    outbox.add(patient_id=current.patient_id, why=gettext_noop("alert opened again"), at=at)
    return True


@transaction.atomic
def take_up(*, alert: Alert, by: User, at: datetime) -> bool:
    """Put what was set aside back on the table before its day. False where it lies there already, or is closed."""
    (current,) = _locked([alert.pk], by)
    if current.set_aside_until is None:
        return False
    current.set_aside_until = None
    current.save(update_fields=["set_aside_until"])
    _step(current, StepKind.RETURNED, by, at)
    return True


@transaction.atomic
def assign(
    *, alerts: Sequence[Alert], by: User, to: User, at: datetime, words: str = "", newest: Seen | None = None
) -> None:
    """Say who takes care of it. Raises AlreadyClosed, MovedOn, PermissionDenied, ValidationError naming `to`."""
    if not to.is_clinical:
        raise ValidationError(
            {
                "to": _("%(person)s is no nurse or nephrologist who can sign in, so cannot take care of it.")
                % {"person": to}
            }
        )
    for current in _as_seen(_still_open(_locked([alert.pk for alert in alerts], by)), newest):
        current.assigned_to = to
        current.save(update_fields=["assigned_to"])
        _step(current, StepKind.ASSIGNED, by, at, words.strip(), to=to)


@transaction.atomic
def set_aside(
    *, alerts: Sequence[Alert], by: User, until: date, words: str, at: datetime, newest: Seen | None = None
) -> None:
    """Take it off the table until a day begins at the unit, with a reason; then it is back by itself.

    What wants a call today is set aside for three days at most, and only once the patient was reached since it came.

    Raises AlreadyClosed, MovedOn, NotSpoken, WordsMissing, PermissionDenied, ValidationError naming `until`.
    """
    words = _given(words)
    moment = start_of_day(until)
    found = _as_seen(_still_open(_locked([alert.pk for alert in alerts], by)), newest)
    pressing = [alert for alert in found if alert.urgency == Urgency.CALL_TODAY]
    longest = LONGEST_ASIDE_TODAY if pressing else LONGEST_ASIDE
    if not at < moment <= at + longest:
        raise ValidationError(
            {
                "until": _("Must be a day from tomorrow on, at most %(days)s days away; %(given)s was given.")
                % {"days": longest.days, "given": short_day(until)}
            }
        )
    for current in pressing:
        if not was_reached(current):
            raise NotSpoken(current)
    for current in found:
        current.set_aside_until = moment
        current.save(update_fields=["set_aside_until"])
        _step(current, StepKind.SET_ASIDE, by, at, words, until=until)


def was_reached(alert: Alert) -> bool:
    """Whether the patient was spoken with since the alert came, came back or grew urgent: in a call that is noted, or
    as somebody said who closed another alert.
    """
    calls = Call.objects.filter(patient=alert.patient_id, result=CallResult.REACHED)
    spoken = AlertStep.objects.spoken().filter(alert__patient=alert.patient_id)
    return any(rows.filter(at__gte=alert.waiting_since).exists() for rows in (calls, spoken))


@transaction.atomic
def log_call(
    *,
    patient: Patient,
    by: User,
    result: str,
    at: datetime,
    said: str = "",
    plan: str = "",
    next_call_at: datetime | None = None,
    alerts: Sequence[Alert] = (),
    newest: Seen | None = None,
) -> Call:
    """Note a call with the patient, and beside the alerts that it was about.

    Raises MovedOn, PermissionDenied, ValidationError naming `said` or `next_call_at`, ValueError for another result.
    """
    chosen = CallResult(result)
    if chosen == CallResult.REACHED and not said.strip():
        raise ValidationError({"said": _("The patient was reached: write down what was said.")})
    if next_call_at is not None and not at < next_call_at <= at + LONGEST_TO_NEXT_CALL:
        parts = {"days": LONGEST_TO_NEXT_CALL.days, "given": short_moment(localtime(next_call_at))}
        words = _("Must be later than now, at most %(days)s days; %(given)s was given.") % parts
        raise ValidationError({"next_call_at": words})
    found = _as_seen(_locked([alert.pk for alert in alerts], by), newest)
    call: Call = Call.objects.create(
        patient=patient,
        by=by,
        at=at,
        result=chosen,
        said=said.strip(),
        plan=plan.strip(),
        next_call_at=next_call_at,
    )
    for current in found:
        _step(current, StepKind.CALL, by, at, call=call)
    return call


def steps_since(seen: Seen) -> list[AlertStep]:
    """The steps of these alerts after those that the person saw last, oldest first: one query."""
    steps = AlertStep.objects.filter(alert__in=seen).select_related("alert", "who", "to", "call").order_by("pk")
    return [step for step in steps if step.pk > seen[step.alert_id]]


def may_take_care() -> list[User]:
    """Whom an alert can be given to."""
    return list(User.objects.filter(is_active=True, role__in=CLINICAL_ROLES))


def start_of_day(day: date) -> datetime:
    """When a day begins on the unit's clock."""
    unit = Unit.objects.first()
    return datetime.combine(day, time(), ZoneInfo(unit.time_zone if unit else "UTC"))


def _locked(ids: Iterable[int], by: User) -> list[Alert]:
    """The alerts as they stand now, held until the transaction ends."""
    if not by.is_clinical:
        raise PermissionDenied(_("Only a nurse or a nephrologist acts on an alert."))
    return list(Alert.objects.filter(pk__in=list(ids)).locked())


def _still_open(alerts: list[Alert]) -> list[Alert]:
    for alert in alerts:
        if not alert.is_open:
            raise AlreadyClosed(alert)
    return alerts


def _as_seen(alerts: list[Alert], newest: Seen | None) -> list[Alert]:
    """The alerts, if none has a step that the person has not seen. Steps of an alert are written under its lock."""
    if newest is None:
        return alerts
    unseen = steps_since({alert.pk: newest.get(alert.pk, 0) for alert in alerts})
    if unseen:
        raise MovedOn(unseen)
    return alerts


def _given(words: str) -> str:
    if not words.strip():
        raise WordsMissing
    return words.strip()


def _step(alert: Alert, kind: StepKind, by: User, at: datetime, words: str = "", **more: Any) -> None:
    """A step by a person, who has thereby looked at the alert."""
    AlertStep.objects.create(alert=alert, kind=kind, who=by, at=at, words=words, **more)
    if alert.looked_at is None and alert.is_open:
        Alert.objects.filter(pk=alert.pk).update(looked_at=at)
