"""The quality of alerts against a small unit that is counted by hand, with something just outside of every span."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from alerts.models import Alert, Mute
from alerts.services import acting
from alerts.services.quality import Quality, RuleQuality, quality_between
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.made_alerts import made_alert
from tests.factories import PatientFactory

SINCE, UNTIL = datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 4, 1, tzinfo=UTC)
MONTH = 365.25 / 12


def march(day: int, hour: int = 9) -> datetime:
    """A moment counted from 1 March: day 0 is the last of February, day 32 the first of April."""
    return datetime(2026, 2, 28, hour, tzinfo=UTC) + timedelta(days=day)


@pytest.fixture
def people(unit: object) -> dict[str, Patient]:
    """Whole: 31 days; joined on the 11th: 21; left on the 20th: 19; gone before and yet to come: none. 71 in all."""
    spans = {
        "whole": (date(2025, 1, 1), None),
        "joined": (date(2026, 3, 11), None),
        "left": (date(2025, 1, 1), date(2026, 3, 20)),
        "gone": (date(2025, 1, 1), date(2026, 2, 10)),
        "to come": (date(2026, 4, 5), None),
    }
    return {name: PatientFactory(joined_on=joined, left_on=left) for name, (joined, left) in spans.items()}


def opened(patient: Patient, day: int, *, rule: str = "uf_rate", seen_after: int | None = None, by: User) -> Alert:
    """An alert opened on a day, looked at so many hours later."""
    alert = made_alert(patient, at=march(day), rule=rule, cause=f"{rule}:{day}")
    if seen_after is not None:
        acting.see(alert=alert, by=by, at=march(day) + timedelta(hours=seen_after))
    return alert


@pytest.fixture
def quality(people: dict[str, Patient], nurse: User) -> Quality:
    whole, joined = people["whole"], people["joined"]
    before = opened(whole, 0, seen_after=100, by=nurse)
    first = opened(whole, 1, seen_after=1, by=nurse)
    second = opened(joined, 12, seen_after=3, by=nurse)
    opened(joined, 31, by=nurse)
    other = opened(whole, 31, rule="short", seen_after=5, by=nurse)
    opened(whole, 32, seen_after=200, by=nurse)
    for alert, day, outcome in (
        (before, 0, "spoken"), (first, 2, "spoken"), (second, 13, "known"), (other, 33, "visit")
    ):  # fmt: skip
        acting.close(alerts=[alert], by=nurse, outcome=outcome, words="x", at=march(day, 20))
    first.steps.create(kind="back_again", at=march(20))
    for since, until in ((-9, -1), (-5, 3), (10, 12), (30, 40), (33, 40)):
        Mute.objects.create(
            patient=whole, rule="uf_rate", since=march(since), until=march(until), why="x", set_by=nurse
        )
    return quality_between(SINCE, UNTIL)


def of(quality: Quality, rule: str) -> RuleQuality:
    (found,) = (row for row in quality.rules if row.key == rule)
    return found


def test_time_in_the_programme(quality: Quality) -> None:
    assert quality.patient_months == pytest.approx(71 / MONTH)


def test_alerts_opened_and_back_again_in_the_month(quality: Quality) -> None:
    """On the 1st, 12th and 31st, and one back on the 20th; not those of 28 February and 1 April."""
    assert of(quality, "uf_rate").alerts == 4
    assert of(quality, "short").alerts == 1
    assert quality.total.alerts == 5
    assert quality.total.rate.rate == pytest.approx(5 / (71 / MONTH))


def test_closed_in_the_month_and_acted_upon(quality: Quality) -> None:
    """On the 2nd by speaking, on the 13th as known; not on 28 February nor on 2 April."""
    assert (quality.total.closed, quality.total.acted) == (2, 1)
    assert of(quality, "short").closed == 0


def test_waits_of_what_began_in_the_month(quality: Quality) -> None:
    """1 and 3 hours, and 5 of the other rule; one never looked at. The waits of 100 and 200 hours began outside."""
    assert of(quality, "uf_rate").median == timedelta(hours=2)
    assert quality.total.median == timedelta(hours=3)
    assert (of(quality, "uf_rate").unseen, quality.total.unseen) == (1, 1)


def test_mutes_that_were_in_force_in_the_month(quality: Quality) -> None:
    """Three of five: one that began before, one within, one that goes on; not one over by then, nor one of April."""
    assert of(quality, "uf_rate").muted == 3


def test_the_loudest_rule_first(quality: Quality) -> None:
    assert [row.key for row in quality.rules] == ["uf_rate", "short"]
