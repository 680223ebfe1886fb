"""The course of one alert, from the first that is seen of a cause until it is over, and what brings it back.

A course belongs to one cause of one rule of one patient. It is in one of these states, by the alert's row:

    none       there is no row, or it was closed longer ago than the unit lets an alert go on
    open       it is open and lies on the table
    aside      it is open, and a nurse has set it aside until a day (`set_aside_until`)
    over       it is open and its cause is gone or has passed (`cause_gone_at`); a nurse closes it
    closed     a nurse closed it within the days in which it goes on

What the rule sees now is set beside that:

    none    -- enough that nobody has dealt with, unmuted -->  open      step: opened
    closed  -- the same, once it has rested as its rule says -->  open      step: back again; what was kept is "handled"
    open    -- more, or less, of it                       -->  open      step: evidence
    aside   -- more, and it is urgent or grew more urgent -->  open      step: returned
    aside   -- its day has come (`bring_back_due`)        -->  open      step: returned
    open    -- nothing stands any more                    -->  over      step: cause gone
    open    -- what stands has passed, as the rule says   -->  over      step: cause passed
    over    -- it is seen again                           -->  open      step: cause back

A mute leaves `none` and `closed` as they are, for what was seen while it held also afterwards; an alert that stands
goes on. Closing, setting aside and all else that people do is in `services.acting`. Whatever happens here happens
with the patient locked, so that two workers cannot open the same alert.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Q

from alerts.models import Alert, AlertStep, Routine
from alerts.models.choices import AlertState, Outcome, StepKind, Urgency
from alerts.rules import BY_KEY
from alerts.rules.base import HISTORY, Evidence, History, Parts, Remark, Rule, Seen
from alerts.rules.wording import days_of
from alerts.services.evidence_merging import Item, Key, Merged, merge, split
from alerts.services.muting import MuteBook

RISING = [rule.key for rule in BY_KEY.values() if rule.rises]
EVER = datetime.min.replace(tzinfo=UTC)


@dataclass(slots=True)
class AlertCourse:
    """The course of one cause, at a moment.

    alert: the one that is open, None where none is; dealt_with: the keys of evidence that does not count again,
    because somebody closed an alert over it; taken: whether what the rules see of the cause was taken in; elsewhere:
    whether another rule tells of the same days, so that nothing is left to tell here.
    """

    history: History
    mutes: MuteBook
    at: datetime
    rule: Rule
    cause: str
    alert: Alert | None = None
    dealt_with: set[Key] = field(default_factory=set)
    taken: bool = False
    elsewhere: bool = False

    def take(self, seen: Seen) -> None:
        """Do what follows from all that the rule sees of the cause now."""
        self.taken = True
        new = replace(seen, evidence=tuple(item for item in seen.evidence if item.key not in self.dealt_with))
        if self.alert is None:
            self._begin(new)
        else:
            self._extend(self.alert, new)

    def take_nothing(self) -> None:
        """Do what follows where the rule sees nothing of the cause any more."""
        if self.alert is not None:
            self.take(Seen.kept(self.cause, (), self.alert.limit, self.alert.parts))

    def _begin(self, seen: Seen) -> None:
        heard = self._heard(seen)
        if len(days_of(heard.evidence)) < (seen.nights or self.rule.nights):
            return
        if self._rests(heard):
            return
        closed = self._closed_lately()
        if closed is None:
            self._open(heard)
        else:
            self._come_back(closed, heard)

    def _rests(self, seen: Seen) -> bool:
        """Whether somebody has dealt with the cause lately, and it is no more urgent since."""
        if not self.rule.rests:
            return False
        same = Q(rule=self.rule.key, cause=self.cause) | Q(rule__in=self.rule.spoken_with)
        closed = Alert.objects.closed().filter(same, patient=self.history.patient)
        lately = closed.filter(closed_at__gt=self.at - self.rule.rests, urgency__lte=self._urgency(seen))
        return lately.exclude(outcome=Outcome.RECORD_WRONG).exists()

    def _heard(self, seen: Seen) -> Seen:
        """What may open an alert: nothing while the rule is muted, else what is recent and was seen unmuted."""
        if self.mutes.at(self.rule.key, self.at):
            return replace(seen, evidence=())
        recent = (item for item in seen.evidence if item.at >= self.at - self.rule.looks_back)
        heard = (item for item in recent if not self.mutes.at(self.rule.key, item.at))
        return replace(seen, evidence=tuple(heard))

    def _open(self, seen: Seen) -> None:
        """What has passed by the time it is first looked at says so at once, as if looked at night by night."""
        alert = self.alert = Alert.objects.create(
            patient=self.history.patient,
            rule=self.rule.key,
            cause=self.cause,
            evidence=[item.as_json() for item in seen.evidence],
            opened_at=self.at,
            last_seen_at=self.at,
            **self._columns(seen),
        )
        _step(alert, StepKind.OPENED, self.at, seen.as_remark())
        if remark := self.rule.passed(self.history, seen.evidence[-1].day):
            alert.cause_gone_at = self.at
            alert.save(update_fields=["cause_gone_at"])
            _step(alert, StepKind.CAUSE_PASSED, self.at, remark)

    def _closed_lately(self) -> Alert | None:
        """The alert of this cause that the story goes on in, if it was closed lately; it is locked."""
        since = self.at - timedelta(days=Routine.objects.current().reopen_days)
        closed = Alert.objects.closed().filter(patient=self.history.patient, rule=self.rule.key, cause=self.cause)
        found = closed.filter(closed_at__gt=since).order_by("-closed_at", "-pk")
        return found.select_for_update(of=("self",), no_key=True).first()

    def _come_back(self, alert: Alert, seen: Seen) -> None:
        """Whoever reads it finds what was done the last time; that counts no more."""
        opened = {
            "state": AlertState.OPEN,
            "closed_at": None,
            "closed_by": None,
            "outcome": "",
            "cause_gone_at": None,
            "last_seen_at": self.at,
            "evidence": [item | {"handled": True} for item in alert.evidence]
            + [item.as_json() for item in seen.evidence],
            "waits_since": self.at,
            "looked_at": None,
        }
        _set(alert, self._columns(seen) | opened)
        alert.save()
        self.alert = alert
        _step(alert, StepKind.BACK_AGAIN, self.at, seen.as_remark())

    def _extend(self, alert: Alert, seen: Seen) -> None:
        """Without any change nothing is written."""
        before, current = split(alert.evidence)
        kept = [] if self.rule.replaces and seen.evidence else current
        merged = merge(kept, self._joining(seen, kept), since=self._seen_since)
        stands = replace(seen, evidence=merged.standing)
        changed = merged.as_json != current if self.rule.replaces else merged.changed
        if changed:
            alert.evidence = before + merged.as_json
            if merged.standing:
                self._stand(alert, stands, merged)
        anew = not changed and bool(seen.evidence) and self._told_anew(alert, seen)
        if self._turned(alert, stands, merged) or changed or anew:
            alert.save()

    def _told_anew(self, alert: Alert, seen: Seen) -> bool:
        """Take over what the sentence says besides the evidence, where that alone has changed: a test that passed."""
        parts = as_kept(seen.parts)
        if parts == alert.parts:
            return False
        alert.parts = parts
        return True

    @property
    def _seen_since(self) -> datetime:
        """Since when everything is seen: what is to be done is asked anew each time, however long ago it fell due."""
        return EVER if self.rule.looks_back > HISTORY else self.history.since

    def _joining(self, seen: Seen, kept: Sequence[Item]) -> list[Evidence]:
        """What is too old to open an alert does not join one either: the order of arrival makes no difference."""
        known = {Evidence.from_json(item).key for item in kept}
        return [item for item in seen.evidence if item.at >= self.at - self.rule.looks_back or item.key in known]

    def _stand(self, alert: Alert, seen: Seen, merged: Merged) -> None:
        worse = self._urgency(seen) < alert.urgency
        _set(alert, self._columns(seen))
        if merged.added:
            alert.last_seen_at = self.at
        if alert.cause_gone_at is None and not self.rule.replaces:
            _step(alert, StepKind.EVIDENCE, self.at, _what_changed(merged))
        if worse:
            alert.waits_since, alert.looked_at = self.at, None
        pressing = worse or (bool(merged.added) and alert.urgency == Urgency.CALL_TODAY)
        if alert.set_aside_until is not None and pressing:
            _return(alert, self.at, "more_seen")

    def _turned(self, alert: Alert, stands: Seen, merged: Merged) -> bool:
        """Whether its cause has just gone or passed, or is back."""
        over = self._over(merged)
        if over and alert.cause_gone_at is None:
            kind, remark = over
            alert.cause_gone_at = self.at
            _step(alert, kind, self.at, remark)
        elif not over and alert.cause_gone_at is not None:
            alert.cause_gone_at = None
            _step(alert, StepKind.CAUSE_BACK, self.at, stands.as_remark())
        else:
            return False
        return True

    def _over(self, merged: Merged) -> tuple[StepKind, Remark] | None:
        """Whether nothing of the evidence stands any more, or what stands has passed; and how."""
        if not merged.standing:
            if self.rule.waits_at_home and self.history.away(self.at):
                return StepKind.CAUSE_PASSED, Remark("away")
            if self.elsewhere:
                return StepKind.CAUSE_PASSED, Remark("told_elsewhere")
            kind = StepKind.CAUSE_PASSED if self.rule.replaces else StepKind.CAUSE_GONE
            return kind, Remark("no_longer_so", {"days": _days(merged.lost or merged.gone)})
        remark = self.rule.passed(self.history, merged.standing[-1].day) or self._inside_now(merged.standing)
        return (StepKind.CAUSE_PASSED, remark) if remark else None

    def _inside_now(self, standing: Sequence[Evidence]) -> Remark | None:
        """Where a limit was changed since: that all that stands is inside the limit that holds now.

        A night keeps its limit; but whoever widens one has judged these nights with it, and waits for no other night.
        """
        if self.rule.replaces or not self.history.limits.may_differ(self.rule.limits):
            return None
        limits = self.history.limits.as_at(self.at, self.history.ordered_at(self.at))
        now = replace(self.history, limits=limits)
        own = (seen for seen in self.rule.see(now, self.at) if seen.cause == self.cause)
        beyond = {item.key for seen in own for item in seen.evidence}
        if any(item.key in beyond for item in standing):
            return None
        held = limits.at(self.rule.limits[0], self.at)
        return Remark("inside_now", {"limit": held.as_json()})

    def _urgency(self, seen: Seen) -> Urgency:
        by_evidence = self.rule.urgency_of(seen) if self.rule.urgency_of else None
        urgency = by_evidence or seen.urgency or self.rule.urgency
        if self.rule.rises and self.alert is not None and self.alert.looked_at is None:
            return Urgency(min(urgency, self.alert.urgency))  # what rose unseen stays so until somebody looks
        return urgency

    def _columns(self, seen: Seen) -> dict[str, Any]:
        """The columns of an alert that follow from what stands."""
        days = days_of(seen.evidence)
        return {
            "urgency": self._urgency(seen),
            "limit": seen.limit_json,
            "parts": dict(seen.parts),
            "first_night": days[0],
            "last_night": days[-1],
        }


def as_kept(parts: Parts) -> dict[str, Any]:
    """As the row gives it back: a tuple comes back as a list, a choice as its value."""
    kept: dict[str, Any] = json.loads(json.dumps(dict(parts)))
    return kept


def raise_unseen(*, at: datetime) -> int:
    """Make more urgent, by one step, what nobody has looked at for as long as its rule allows; how many."""
    done = 0
    with transaction.atomic():
        unseen = Alert.objects.on_the_table().filter(looked_at=None, cause_gone_at=None, rule__in=RISING)
        for alert in unseen.locked():
            waits = at - alert.waiting_since
            longest = BY_KEY[alert.rule].rises.get(Urgency(alert.urgency))
            if longest is not None and waits >= longest:
                alert.urgency, alert.waits_since = alert.urgency - 1, at
                alert.save(update_fields=["urgency", "waits_since"])
                parts = {"days": waits.days, "urgency": alert.urgency}
                _step(alert, StepKind.EVIDENCE, at, Remark("unseen", parts))
                done += 1
    return done


def bring_back_due(*, at: datetime) -> int:
    """Put back on the table what was set aside until now; how many."""
    done = 0
    with transaction.atomic():
        for alert in Alert.objects.open().filter(set_aside_until__lte=at).locked():
            _return(alert, at, "day_come")
            alert.save(update_fields=["set_aside_until", "waits_since", "looked_at"])
            done += 1
    return done


def _return(alert: Alert, at: datetime, code: str) -> None:
    alert.set_aside_until, alert.waits_since, alert.looked_at = None, at, None
    _step(alert, StepKind.RETURNED, at, Remark(code))


def _set(alert: Alert, columns: dict[str, Any]) -> None:
    for name, value in columns.items():
        setattr(alert, name, value)


def _what_changed(merged: Merged) -> Remark:
    return Remark("changed", {"added": _days(merged.added + merged.returned), "lost": _days(merged.lost)})


def _days(items: Sequence[Evidence]) -> list[str]:
    return [day.isoformat() for day in days_of(items)]


def _step(alert: Alert, kind: StepKind, at: datetime, remark: Remark) -> None:
    AlertStep.objects.create(alert=alert, kind=kind, at=at, remark=remark.as_json())
