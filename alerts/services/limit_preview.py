"""What a limit would have done: the same rules over the stored nights, once with the limits as they are, once changed.

Nothing is written. Nights of one alert are those no further apart than the time within which a closed alert goes on.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from alerts.limits.book import LimitBook
from alerts.models import Limit, Routine
from alerts.rules import RULES
from alerts.rules.base import HISTORY, History, Rule, Seen
from alerts.rules.wording import days_of
from alerts.services.history import SURROUNDINGS, histories_in_turn
from sessions.models import Patient

SHORTEST_GAP = 1
"""Days [d] that nights of one alert may lie apart at the least, whatever the unit has set."""


@dataclass(frozen=True, slots=True)
class Run:
    """An alert that would have been: of one patient and rule, with its nights and what was seen."""

    patient: Patient
    rule: Rule
    nights: tuple[date, ...]
    seen: Seen

    @property
    def cause(self) -> str:
        return self.seen.cause

    @property
    def sentence(self) -> str:
        """In the language of the reader."""
        return self.rule.say(self.seen)

    def meets(self, other: Run) -> bool:
        """Whether both are of one time, so that the one takes the place of the other."""
        same = (self.rule.key, self.cause) == (other.rule.key, other.cause)
        return same and self.nights[0] <= other.nights[-1] and other.nights[0] <= self.nights[-1]


@dataclass(frozen=True, slots=True)
class Preview:
    """added, removed: alerts that only the new or only the old limit opens; before, after: alerts in all;
    nights_added, nights_removed: nights that begin or cease to count, in all alerts together; patients, treatments:
    looked at, since `since`.
    """

    since: datetime
    patients: int
    treatments: int
    before: int
    after: int
    added: tuple[Run, ...]
    removed: tuple[Run, ...]
    nights_added: int
    nights_removed: int


def preview(row: Limit, *, at: datetime) -> Preview:
    """What the row, which is not saved, would have done had it held for the last 90 days.

    For one patient where the row is of one, else for everybody in the programme. Rules over weeks are judged as of
    `at` only.
    """
    since = at - HISTORY
    rules = [rule for rule in RULES if row.name in rule.limits]
    patients = Patient.objects.in_programme() if row.patient_id is None else Patient.objects.filter(pk=row.patient_id)
    parts = frozenset().union(*(rule.reads for rule in rules), {SURROUNDINGS} if any(r.by_time for r in rules) else ())
    changed = Limit(name=row.name, patient_id=row.patient_id, value=row.value, since=since, set_by=row.set_by, why="")
    gap = timedelta(days=max(SHORTEST_GAP, Routine.objects.current().reopen_days))
    before: list[Run] = []
    after: list[Run] = []
    treatments = count = 0
    for history in histories_in_turn(patients, since=since, at=at, parts=parts):
        count += 1
        treatments += len(history.nights)
        before += runs(history, rules, history.limits, gap, at)
        after += runs(history, rules, history.limits.with_row(changed), gap, at)
    return _compared(since, count, treatments, before, after)


def runs(history: History, rules: Iterable[Rule], limits: LimitBook, gap: timedelta, at: datetime) -> Iterator[Run]:
    """The alerts that these rules open with these limits."""
    judged = replace(history, limits=limits)
    for rule in rules:
        for seen in rule.see(judged, at):
            for part in _apart(seen, gap):
                nights = days_of(part.evidence)
                if len(nights) >= (seen.nights or rule.nights):
                    yield Run(history.patient, rule, tuple(nights), part)


def _apart(seen: Seen, gap: timedelta) -> Iterator[Seen]:
    """What was seen, cut where more than `gap` lies between two nights."""
    part = [seen.evidence[0]]
    for item in seen.evidence[1:]:
        if item.day - part[-1].day > gap:
            yield replace(seen, evidence=tuple(part))
            part = []
        part.append(item)
    whole = len(part) == len(seen.evidence)
    yield seen if whole else replace(seen, evidence=tuple(part))


def _compared(since: datetime, patients: int, treatments: int, before: Sequence[Run], after: Sequence[Run]) -> Preview:
    then, now = _nights(before), _nights(after)
    return Preview(
        since=since,
        patients=patients,
        treatments=treatments,
        before=len(before),
        after=len(after),
        added=_only(after, before),
        removed=_only(before, after),
        nights_added=len(now - then),
        nights_removed=len(then - now),
    )


def _only(some: Sequence[Run], others: Sequence[Run]) -> tuple[Run, ...]:
    """Those that meet none of the others, patient by patient, oldest first."""
    by_patient: dict[Any, list[Run]] = {}
    for other in others:
        by_patient.setdefault(other.patient.pk, []).append(other)
    alone = [run for run in some if not any(run.meets(other) for other in by_patient.get(run.patient.pk, ()))]
    return tuple(sorted(alone, key=lambda run: (run.patient.name, str(run.patient.pk), run.nights[0], run.rule.key)))


def _nights(found: Collection[Run]) -> set[tuple[Any, str, str, date]]:
    return {(run.patient.pk, run.rule.key, run.cause, night) for run in found for night in run.nights}
