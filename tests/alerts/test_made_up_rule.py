"""A rule is added by its declaration and the row of its limit: a made-up one is then found wherever rules are told."""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from alerts import rules
from alerts.limits import book
from alerts.limits.book import LimitInForce
from alerts.limits.kinds import KINDS, LimitKind
from alerts.models import Alert, RecordJudgement
from alerts.models.choices import Family, Urgency
from alerts.rules.base import Rule
from alerts.rules.rule_kinds import of_readings, outside
from alerts.services.limit_preview import preview
from alerts.services.limit_setting import limit_row, set_limit
from alerts.services.muting import mute
from dosing.science.sources import Status
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.builders import DAY, again, evaluated, reading, sentences_of
from tests.crowd import ours
from tests.factories import A_NIGHT

pytestmark = pytest.mark.usefixtures("declared", "anas_prescription")
LIMIT = LimitKind(
    "made_up_pulse", "Pulse of the made-up rule at most", "/min", 120, 80, 200, 5, "", Status.PRACTICE, Family.PRESSURE
)
RULE: Rule = outside(
    "made_up_pulse",
    title="Made-up pulse over its limit",
    about="made-up pulse",
    family=Family.PRESSURE,
    urgency=Urgency.CALL_TODAY,
    read=of_readings("pulse"),
    limits=(LIMIT.name,),
    what="Made-up pulse",
    missing="no pulse was noted in the readings",
    reads="readings",
)


@pytest.fixture
def declared(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if both stood in their lists: in every module that has read those by now."""
    all_rules = (*rules.RULES, RULE)
    for module in list(sys.modules.values()):
        if getattr(module, "RULES", None) is rules.RULES and module is not rules:
            monkeypatch.setattr(module, "RULES", all_rules)
    monkeypatch.setattr(rules, "RULES", all_rules)
    monkeypatch.setitem(rules.BY_KEY, RULE.key, RULE)
    monkeypatch.setitem(KINDS, LIMIT.name, LIMIT)
    monkeypatch.setitem(book.DEFAULTS, LIMIT.name, LimitInForce(LIMIT, LIMIT.value))


def night(pulse: float, start: datetime = A_NIGHT) -> dict[str, Any]:
    return {"readings": [reading(start, 60, pulse=pulse)]}


def test_it_opens_one_alert_and_says_why_another_night_could_not_be_judged(ana: Patient) -> None:
    without = {"readings": [reading(A_NIGHT + 2 * DAY, 60)]}
    first, second = evaluated(ana, night(131), without)
    assert sentences_of(RULE.key) == ["Made-up pulse 131 /min on 2 Mar, over the limit of 120 /min."]
    missed = {one["rule"] for one in RecordJudgement.objects.get(record=second).not_judged}
    assert RULE.key in missed
    assert RULE.key not in {one["rule"] for one in RecordJudgement.objects.get(record=first).not_judged}


def test_just_inside_it_is_silent_and_a_correction_takes_it_back(ana: Patient) -> None:
    (record,) = evaluated(ana, night(120))
    assert sentences_of(RULE.key) == []
    again(record, **night(140))
    assert sentences_of(RULE.key) == ["Made-up pulse 140 /min on 2 Mar, over the limit of 120 /min."]


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("alerts:triage", RULE.title),
        ("alerts:bundle", "Made-up pulse 131 /min on 2 Mar, over the limit of 120 /min."),
        ("alerts:of-patient", RULE.title),
        ("alerts:limits", LIMIT.label),
        ("alerts:unit-limits", LIMIT.label),
        ("alerts:mutes-of-patient", RULE.title),
    ],
)
def test_the_nurse_finds_it(ana: Patient, nurse_client: Client, page: str, words: str) -> None:
    evaluated(ana, night(131))
    of_unit = page in ("alerts:triage", "alerts:unit-limits")
    assert str(words) in nurse_client.get(reverse(page, args=[] if of_unit else [ana.pk])).content.decode()


def test_its_limit_can_be_set_and_its_preview_says_what_would_have_been(ana: Patient, nurse: User) -> None:
    evaluated(ana, night(131))
    at = A_NIGHT + 5 * DAY
    wanted: Any = {"name": LIMIT.name, "patient": ana, "value": 140, "why": "Used to it.", "by": nurse, "at": at}
    found = preview(limit_row(**wanted), at=at)
    assert [run.patient for run in found.removed] == [ana]
    set_limit(**wanted)
    evaluated(ana, night(138, A_NIGHT + 8 * DAY), first=4)
    assert sentences_of(RULE.key) == ["Made-up pulse 131 /min on 2 Mar, over the limit of 120 /min."]


def test_it_can_be_muted(ana: Patient, nurse: User) -> None:
    until = A_NIGHT + timedelta(days=30)
    mute(patient=ana, rule=RULE.key, until=until, why="known", by=nurse, at=A_NIGHT - DAY)
    evaluated(ana, night(131))
    assert not ours(Alert).filter(rule=RULE.key).exists()
    evaluated(ana, night(133, A_NIGHT + 32 * DAY), first=16)
    assert sentences_of(RULE.key) == ["Made-up pulse 133 /min on 3 Apr, over the limit of 120 /min."]
