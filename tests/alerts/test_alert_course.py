"""Each way from one state of an alert to another, with a rule that sees what the test says."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest

from alerts.models import Alert, Routine
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Evidence, Remark, Rule, Seen
from alerts.services.acting import close, set_aside
from alerts.services.alert_course import bring_back_due
from alerts.services.history import histories_of
from alerts.services.muting import lift
from alerts.services.reconciling import reconcile
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.builders import DAY, MORNING
from tests.crowd import ours
from tests.factories import A_NIGHT

PASSED = Remark("passed")


def night(index: int, value: float = 12.0) -> Evidence:
    at = A_NIGHT + index * 2 * DAY
    return Evidence("uf_rate", at, at.date(), value, record=f"night {index}")


class Made:
    """One patient and a rule that sees what it is told to; `look` is one evaluation."""

    def __init__(self, patient: Patient) -> None:
        self.patient = patient
        self.evidence: tuple[Evidence, ...] = ()
        self.urgency: Urgency | None = None
        self.rule = Rule(
            key="uf_rate",
            title="Made up",
            about="what a test says",
            family=Family.FLUID,
            urgency=Urgency.THIS_WEEK,
            see=self._see,
            say=lambda seen: "Seen.",
        )

    def _see(self, history: Any, at: datetime) -> Iterable[Seen]:
        if self.evidence:
            yield Seen("cause", self.evidence, urgency=self.urgency)

    def look(self, *nights: Evidence, at: datetime = MORNING, urgency: Urgency | None = None, **rule: Any) -> None:
        self.evidence, self.urgency = nights, urgency
        (history,) = histories_of([self.patient], since=A_NIGHT - DAY, at=at, parts=frozenset())
        reconcile(history, [replace(self.rule, **rule)], at=at)

    @property
    def alert(self) -> Alert:
        return ours(Alert).get()

    @property
    def steps(self) -> list[str]:
        return [step.kind for step in self.alert.steps.all()]

    @property
    def values(self) -> list[tuple[float | None, bool, bool]]:
        """Of each piece of evidence its value, whether it is gone, and whether it was dealt with."""
        return [(item["value"], bool(item.get("gone")), bool(item.get("handled"))) for item in self.alert.evidence]


@pytest.fixture
def made(ana: Patient) -> Made:
    return Made(ana)


class TestFromNothing:
    def test_opens(self, made: Made) -> None:
        made.look(night(0))
        assert made.steps == ["opened"]
        assert (made.alert.opened_at, made.alert.first_night) == (MORNING, A_NIGHT.date())

    def test_not_before_it_was_seen_on_enough_nights(self, made: Made) -> None:
        made.look(night(0), nights=2)
        assert not ours(Alert).exists()
        made.look(night(0), night(1), nights=2)
        assert made.steps == ["opened"]

    def test_not_for_what_is_long_past(self, made: Made) -> None:
        made.look(night(0), at=MORNING + 20 * DAY, looks_back=10 * DAY)
        assert not ours(Alert).exists()

    def test_that_has_passed_says_so_at_once(self, made: Made) -> None:
        made.look(night(0), passed=lambda history, last: PASSED)
        assert made.steps == ["opened", "cause_passed"]
        assert made.alert.cause_gone_at == MORNING

    def test_a_mute_opens_nothing_neither_then_nor_later(self, made: Made, ana: Patient, nurse: User) -> None:
        ana.mutes.create(rule="uf_rate", since=A_NIGHT - DAY, until=MORNING + 9 * DAY, why="x", set_by=nurse)
        made.look(night(0))
        lift(patient=ana, rule="uf_rate", why="x", by=nurse, at=MORNING + DAY)
        made.look(night(0), at=MORNING + DAY)
        assert not ours(Alert).exists()
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert made.values == [(12.0, False, False)]


class TestOpen:
    @pytest.fixture(autouse=True)
    def opened(self, made: Made) -> None:
        made.look(night(0))

    def test_the_same_again_writes_nothing(self, made: Made) -> None:
        before = ours(Alert).values().get()
        made.look(night(0), at=MORNING + DAY)
        assert ours(Alert).values().get() == before
        assert made.steps == ["opened"]

    def test_more_joins(self, made: Made) -> None:
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert made.steps == ["opened", "evidence"]
        assert made.alert.last_seen_at == MORNING + 2 * DAY
        assert made.alert.last_night == night(1).day

    def test_more_joins_also_while_the_rule_is_muted(self, made: Made, ana: Patient, nurse: User) -> None:
        ana.mutes.create(rule="uf_rate", since=MORNING, until=MORNING + 9 * DAY, why="x", set_by=nurse)
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert len(made.values) == 2

    def test_what_is_too_old_does_not_join(self, made: Made) -> None:
        made.look(night(0), night(1), at=MORNING + 30 * DAY, looks_back=10 * DAY)
        assert made.values == [(12.0, False, False)]

    def test_a_correction_takes_the_place_of_what_was(self, made: Made) -> None:
        made.look(night(0, 11.0), at=MORNING + DAY)
        assert made.values == [(12.0, True, False), (11.0, False, False)]
        assert made.alert.cause_gone_at is None

    def test_gone_and_back(self, made: Made) -> None:
        made.look(at=MORNING + DAY)
        assert made.alert.cause_gone_at == MORNING + DAY
        made.look(at=MORNING + 2 * DAY)
        assert made.steps == ["opened", "cause_gone"]
        made.look(night(0), at=MORNING + 3 * DAY)
        assert made.alert.cause_gone_at is None
        assert made.steps == ["opened", "cause_gone", "cause_back"]

    def test_passed_and_back(self, made: Made) -> None:
        made.look(night(0), at=MORNING + DAY, passed=lambda history, last: PASSED)
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert made.steps == ["opened", "cause_passed", "cause_back"]

    def test_what_cannot_be_seen_any_more_stays_as_it_was(self, made: Made, ana: Patient) -> None:
        (history,) = histories_of([ana], since=MORNING, at=MORNING + DAY, parts=frozenset())
        reconcile(history, [made.rule], at=MORNING + DAY)
        assert made.values == [(12.0, False, False)]
        assert made.steps == ["opened"]

    def test_a_rule_that_replaces_keeps_only_what_is_seen_now(self, made: Made) -> None:
        made.look(night(1), at=MORNING + 2 * DAY, replaces=True)
        assert made.values == [(12.0, False, False)]
        assert made.alert.first_night == night(1).day
        made.look(at=MORNING + 3 * DAY, replaces=True)
        assert made.steps == ["opened", "cause_passed"]

    def test_more_urgent_it_wants_to_be_looked_at_anew(self, made: Made) -> None:
        ours(Alert).update(looked_at=MORNING)
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert made.alert.looked_at == MORNING
        made.look(night(0), night(1), night(2), at=MORNING + 4 * DAY, urgency=Urgency.CALL_TODAY)
        assert (made.alert.looked_at, made.alert.waits_since) == (None, MORNING + 4 * DAY)


class TestAside:
    @pytest.fixture(autouse=True)
    def aside(self, made: Made, nurse: User) -> None:
        made.look(night(0))
        set_aside(alerts=[made.alert], by=nurse, until=(MORNING + 9 * DAY).date(), words="x", at=MORNING)

    def test_more_of_what_is_not_urgent_leaves_it_there(self, made: Made) -> None:
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert made.alert.set_aside_until is not None

    def test_grown_urgent_it_is_back(self, made: Made) -> None:
        made.look(night(0), night(1), at=MORNING + 2 * DAY, urgency=Urgency.CALL_TODAY)
        assert made.alert.set_aside_until is None
        assert made.steps == ["opened", "set_aside", "evidence", "returned"]

    def test_urgent_it_is_back_with_more_but_not_with_less(self, made: Made) -> None:
        ours(Alert).update(urgency=Urgency.CALL_TODAY)
        made.look(night(0, 11.0), night(1), at=MORNING + 2 * DAY, urgency=Urgency.CALL_TODAY)
        assert made.alert.set_aside_until is None
        ours(Alert).update(set_aside_until=MORNING + 9 * DAY)
        made.look(night(1), at=MORNING + 3 * DAY, urgency=Urgency.CALL_TODAY)
        assert made.alert.set_aside_until is not None

    def test_its_day_brings_it_back(self, made: Made) -> None:
        assert bring_back_due(at=MORNING + 8 * DAY) == 0
        assert bring_back_due(at=MORNING + 9 * DAY) == 1
        assert made.steps == ["opened", "set_aside", "returned"]


class TestClosed:
    @pytest.fixture(autouse=True)
    def closed(self, made: Made, nurse: User) -> None:
        Routine.objects.create(reopen_days=14)
        made.look(night(0))
        close(alerts=[made.alert], by=nurse, outcome="spoken", words="x", at=MORNING)

    def test_the_same_is_dealt_with(self, made: Made) -> None:
        made.look(night(0), at=MORNING + DAY)
        assert made.steps == ["opened", "closed"]

    def test_more_within_the_days_brings_it_back_and_only_that_counts(self, made: Made) -> None:
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        alert = made.alert
        assert made.steps == ["opened", "closed", "back_again"]
        assert (alert.state, alert.closed_at, alert.closed_by, alert.outcome) == ("open", None, None, "")
        assert made.values == [(12.0, False, True), (12.0, False, False)]
        assert (alert.first_night, alert.waits_since, alert.looked_at) == (night(1).day, MORNING + 2 * DAY, None)
        made.look(night(0), night(1), at=MORNING + 3 * DAY)
        assert made.steps == ["opened", "closed", "back_again"]
        made.look(night(0), at=MORNING + 4 * DAY)
        assert made.steps[-1] == "cause_gone"

    def test_more_after_those_days_is_another_alert(self, made: Made) -> None:
        made.look(night(0), night(7), at=MORNING + 14 * DAY)
        assert [alert.state for alert in ours(Alert).order_by("pk")] == ["closed", "open"]

    def test_muted_it_stays_closed(self, made: Made, ana: Patient, nurse: User) -> None:
        ana.mutes.create(rule="uf_rate", since=MORNING, until=MORNING + 9 * DAY, why="x", set_by=nurse)
        made.look(night(0), night(1), at=MORNING + 2 * DAY)
        assert made.steps == ["opened", "closed"]
