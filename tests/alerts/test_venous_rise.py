"""A venous pressure that climbs over weeks, from the records to the alert and until it is over."""

from __future__ import annotations

from datetime import timedelta

import pytest

from alerts.models import Alert
from alerts.services.acting import close
from alerts.services.evaluation import evaluate_pending
from alerts.showing.alert_words import sentence_of
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.builders import DAY, alerts_of, reading
from tests.alerts.made_nights import scattered
from tests.crowd import ours
from tests.factories import A_NIGHT, AccessFactory, record_night

pytestmark = pytest.mark.usefixtures("anas_prescription")
CLIMB = scattered(1, 140, 9, 60, slope=1.5, flat=40)
LAST = A_NIGHT + 59 * 2 * DAY + timedelta(hours=12)


def recorded(patient: Patient, pressures: list[float], first: int = 0) -> None:
    """One night every other day, with two readings at its pressure, all evaluated at the end."""
    for index, pressure in enumerate(pressures, start=first):
        start = A_NIGHT + index * 2 * DAY
        read = [reading(start, minute, venous_mmhg=round(pressure)) for minute in (60, 120)]
        record_night(patient, start, readings=read)
    evaluate_pending(at=A_NIGHT + (first + len(pressures) - 1) * 2 * DAY + timedelta(hours=12), limit=5)


def test_a_climb_opens_one_alert_with_its_nights_and_ends_as_passed(ana: Patient, nurse: User) -> None:
    recorded(ana, CLIMB)
    (alert,) = alerts_of("venous_rise")
    assert sentence_of(alert).startswith("Venous pressure up ")
    assert "at 300 mL/min" in sentence_of(alert)
    assert len(alert.evidence) == 20
    recorded(ana, [125.0, 127.0] * 8, first=60)
    alert.refresh_from_db()
    assert alert.cause_gone_at is not None
    assert [step.kind for step in alert.steps.all()] == ["opened", "cause_passed"]


def test_closed_as_known_it_is_the_new_usual(ana: Patient, nurse: User) -> None:
    recorded(ana, CLIMB)
    (alert,) = alerts_of("venous_rise")
    close(alerts=[alert], by=nurse, outcome="known", words="New longer line.", at=LAST)
    recorded(ana, [170.0, 172.0] * 10, first=60)
    assert not ours(Alert).open().filter(rule="venous_rise").exists()


def test_the_count_begins_again_with_a_new_access(ana: Patient) -> None:
    change = A_NIGHT.date() + timedelta(days=80)
    AccessFactory(patient=ana, created_on=A_NIGHT.date() - timedelta(days=600), abandoned_on=change)
    AccessFactory(patient=ana, created_on=change)
    recorded(ana, [110.0, 112.0] * 20 + [150.0, 152.0] * 10)
    assert alerts_of("venous_rise") == []
