"""Set what the rules see beside the alerts that stand: open, extend, or say that the cause is gone.

Only ever called with the patient locked, so that two workers cannot open the same alert.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from alerts.models import Alert, AlertStep
from alerts.models.choices import StepKind, Urgency
from alerts.rules.base import Evidence, History, Remark, Rule, Seen
from alerts.rules.wording import days_of
from alerts.services import comeback
from alerts.services.muting import MuteBook, mutes_of

ANY_ZONE = timedelta(days=1)
"""A night that began after a moment bears at most the date before that moment's, wherever the patient lives."""
Cause = tuple[str, str]
Key = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule says of one cause, ready to be kept."""

    rule: Rule
    seen: Seen

    @property
    def urgency(self) -> Urgency:
        by_evidence = self.rule.urgency_of(self.seen) if self.rule.urgency_of else None
        return by_evidence or self.seen.urgency or self.rule.urgency

    @property
    def facts(self) -> dict[str, Any]:
        """The columns of an alert that follow from the evidence."""
        seen, days = self.seen, days_of(self.seen.evidence)
        return {
            "urgency": self.urgency,
            "limit": seen.limit_json,
            "parts": dict(seen.parts),
            "first_night": days[0],
            "last_night": days[-1],
        }


def reconcile(history: History, rules: Iterable[Rule], *, at: datetime) -> list[tuple[Rule, Seen]]:
    """Run the rules over a patient's history and bring the patient's alerts up to date. What they saw comes back."""
    rules = list(rules)
    of_rules = Alert.objects.filter(patient=history.patient, rule__in=[rule.key for rule in rules])
    standing = {(alert.rule, alert.cause): alert for alert in of_rules.open().locked()}
    handled = _handled(of_rules.closed().filter(last_night__gte=(history.since - ANY_ZONE).date()))
    for cause, open_one in standing.items():
        handled[cause] |= comeback.dealt_with(open_one)
    mutes = mutes_of(history.patient)
    found = [(rule, seen) for rule in rules for seen in rule.see(history, at)]
    for rule, seen in found:
        cause = (rule.key, seen.cause)
        new, alert = _unhandled(seen, handled[cause]), standing.pop(cause, None)
        if alert:
            _extend(alert, rule, new, history, at)
        else:
            _open_if_enough(history, rule, new, mutes, at)
    by_key = {rule.key: rule for rule in rules}
    for (key, rest), alert in standing.items():
        _extend(alert, by_key[key], Seen.kept(rest, (), alert.limit, alert.parts), history, at)
    return found


def _handled(closed: Iterable[Alert]) -> defaultdict[Cause, set[Key]]:
    """The evidence that somebody has dealt with."""
    found: defaultdict[Cause, set[Key]] = defaultdict(set)
    for alert in closed:
        stood = (item for item in alert.evidence if not item.get("gone"))
        found[alert.rule, alert.cause] |= {Evidence.from_json(item).key for item in stood}
    return found


def _unhandled(seen: Seen, handled: set[Key]) -> Seen:
    return replace(seen, evidence=tuple(item for item in seen.evidence if item.key not in handled))


def _open_if_enough(history: History, rule: Rule, seen: Seen, mutes: MuteBook, at: datetime) -> None:
    """What was seen while the rule was muted opens nothing, neither then nor later.

    What has passed by the time it is first looked at says so at once, as if it had been looked at night by night.
    """
    patient = history.patient
    if mutes.at(rule.key, at):
        return
    heard = (item for item in seen.evidence if item.at >= at - rule.looks_back and not mutes.at(rule.key, item.at))
    lately = tuple(heard)
    if len(days_of(lately)) < (seen.nights or rule.nights):
        return
    heard_of = replace(seen, evidence=lately)
    facts = Finding(rule, heard_of).facts
    if comeback.go_on(patient, rule=rule.key, seen=heard_of, facts=facts, at=at):
        return
    alert = Alert.objects.create(
        patient=patient,
        rule=rule.key,
        cause=seen.cause,
        evidence=[item.as_json() for item in lately],
        opened_at=at,
        last_seen_at=at,
        **facts,
    )
    _step(alert, StepKind.OPENED, at, heard_of.as_remark())
    if remark := rule.passed(history, lately[-1].day):
        alert.cause_gone_at = at
        alert.save(update_fields=["cause_gone_at"])
        _step(alert, StepKind.CAUSE_PASSED, at, remark)


@dataclass(frozen=True, slots=True)
class Merged:
    """Kept and new evidence together. added, lost: what is new, and what a correction took away, just now."""

    evidence: list[tuple[Evidence, bool]]
    added: list[Evidence]
    lost: list[Evidence]
    returned: list[Evidence]

    @property
    def standing(self) -> tuple[Evidence, ...]:
        return tuple(item for item, gone in self.evidence if not gone)

    @property
    def as_json(self) -> list[dict[str, Any]]:
        return [item.as_json() | ({"gone": True} if gone else {}) for item, gone in self.evidence]


def _merge(kept: Sequence[dict[str, Any]], seen: Sequence[Evidence], since: datetime) -> Merged:
    """Evidence from before `since` cannot be seen any more, and stays as it is."""
    now = {item.key for item in seen}
    before = [(Evidence.from_json(item), bool(item.get("gone"))) for item in kept]
    known = {item.key for item, _ in before}
    added = [item for item in seen if item.key not in known]
    after = [(item, gone if item.at < since else item.key not in now) for item, gone in before]
    changed = [(item, gone) for (item, was), (_, gone) in zip(before, after, strict=True) if gone != was]
    return Merged(
        evidence=sorted([*after, *((item, False) for item in added)], key=_in_order),
        added=added,
        lost=[item for item, gone in changed if gone],
        returned=[item for item, gone in changed if not gone],
    )


def _in_order(pair: tuple[Evidence, bool]) -> tuple[datetime, str, str]:
    item, _gone = pair
    return item.at, item.kind, item.place


def _extend(alert: Alert, rule: Rule, seen: Seen, history: History, at: datetime) -> None:
    """Bring an open alert up to date. Without any change nothing is written."""
    before, current = comeback.split(alert)
    kept = [] if rule.replaces and seen.evidence else current
    merged = _merge(kept, _recent_or_kept(rule, seen, kept, at), history.since)
    changed = merged.as_json != current if rule.replaces else bool(merged.added or merged.lost or merged.returned)
    if changed:
        alert.evidence = before + merged.as_json
        if merged.standing:
            _stand(alert, Finding(rule, replace(seen, evidence=merged.standing)), merged, at)
    over = _over(rule, merged, history)
    if over and alert.cause_gone_at is None:
        kind, remark = over
        alert.cause_gone_at = at
        _step(alert, kind, at, remark)
    elif not over and alert.cause_gone_at is not None:
        alert.cause_gone_at = None
        _step(alert, StepKind.CAUSE_BACK, at, replace(seen, evidence=merged.standing).as_remark())
    elif not changed:
        return
    alert.save()


def _recent_or_kept(rule: Rule, seen: Seen, kept: Sequence[dict[str, Any]], at: datetime) -> list[Evidence]:
    """What is too old to open an alert does not join one either, so that the order of arrival makes no difference."""
    known = {Evidence.from_json(item).key for item in kept}
    return [item for item in seen.evidence if item.at >= at - rule.looks_back or item.key in known]


def _over(rule: Rule, merged: Merged, history: History) -> tuple[StepKind, Remark] | None:
    """Whether nothing of the evidence stands any more, or what stands has passed; and in words how."""
    gone = [item for item, gone in merged.evidence if gone]
    if not merged.standing:
        kind = StepKind.CAUSE_PASSED if rule.replaces else StepKind.CAUSE_GONE
        return kind, Remark("no_longer_so", {"days": _days(merged.lost or gone)})
    remark = rule.passed(history, merged.standing[-1].day)
    return (StepKind.CAUSE_PASSED, remark) if remark else None


def _stand(alert: Alert, finding: Finding, merged: Merged, at: datetime) -> None:
    worse = finding.urgency < alert.urgency
    for name, value in finding.facts.items():
        setattr(alert, name, value)
    if merged.added:
        alert.last_seen_at = at
    if alert.cause_gone_at is None and not finding.rule.replaces:
        _step(alert, StepKind.EVIDENCE, at, _what_changed(merged))
    comeback.note_news(alert, worse=worse, added=bool(merged.added), at=at)


def _what_changed(merged: Merged) -> Remark:
    return Remark("changed", {"added": _days(merged.added + merged.returned), "lost": _days(merged.lost)})


def _days(items: Sequence[Evidence]) -> list[str]:
    return [day.isoformat() for day in days_of(items)]


def _step(alert: Alert, kind: StepKind, at: datetime, remark: Remark) -> None:
    AlertStep.objects.create(alert=alert, kind=kind, at=at, remark=remark.as_json())
