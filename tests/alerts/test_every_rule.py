"""Every declared rule, by its row of `rules_table`: it fires, it does not just inside, it says what it cannot judge."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import models

from alerts.limits.kinds import KINDS
from alerts.models.choices import Family, Urgency
from alerts.rules import BY_KEY, RULES, safety
from alerts.rules.base import Evidence, History, Rule, Seen, own_limit
from alerts.rules.wording import days_of
from alerts.showing.alert_words import why_not
from dosing.services.numbers.seen import STATUS_WORDS
from tests.alerts.rules_table import CASES, Case

TABLE = list(CASES.items())


def snapshot(value: Any) -> Any:
    """A deep copy of all that a history says, without what is worked out of it and kept."""
    if isinstance(value, models.Model):
        return {field.attname: snapshot(getattr(value, field.attname)) for field in value._meta.concrete_fields}
    if is_dataclass(value):
        return {field.name: snapshot(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, dict):
        return {key: snapshot(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [snapshot(each) for each in value]
    return value


def opens(rule: Rule, history: History, case: Case) -> list[Seen]:
    """What is seen on enough nights for an alert."""
    seen = rule.see(history, case.at)
    return [one for one in seen if len(days_of(one.evidence)) >= (one.nights or rule.nights)]


def reasons(rule: Rule, history: History) -> list[str]:
    return [why_not(rule, missed.why) for missed in rule.not_judged(history)]


def test_every_rule_has_its_row_and_every_row_its_rule() -> None:
    assert set(CASES) == set(BY_KEY)


def test_how_far_a_source_was_seen_is_said_in_the_one_set_of_words() -> None:
    """Brackets hold nothing else, and nobody reads how a number came into the program."""
    texts = [str(each.source) for each in RULES] + [str(each.words) for each in KINDS.values()]
    texts += [str(each.advice) for each in RULES]
    told = {words for text in texts for words in re.findall(r"\[([^\]]*)\]", text)}
    assert len(told) >= 4
    assert told <= {str(words) for words in STATUS_WORDS.values()}
    assert [text for text in texts if "memory" in text or "opened" in text] == []


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_it_fires(key: str, case: Case) -> None:
    rule, history = BY_KEY[key], case.fires()
    before = snapshot(history)
    found = opens(rule, history, case)
    assert [rule.say(one) for one in found] == [case.says]
    for one in found:
        assert [Evidence.from_json(item.as_json()) for item in one.evidence] == list(one.evidence)
        after = [item.at.astimezone(history.zone).date() - item.day for item in one.evidence]
        assert set(after) <= {timedelta(0), timedelta(days=1)}, "a night may end on the next day"
        assert rule.source_of(one)
        own = rule.limit_words is own_limit
        assert bool(rule.limit_words(one)) is (one.limit is not None if own else True)
    assert reasons(rule, history) == []
    assert snapshot(history) == before, "a history is not changed by looking"


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_just_inside_it_does_not(key: str, case: Case) -> None:
    rule, history = BY_KEY[key], case.inside()
    before = snapshot(history)
    assert opens(rule, history, case) == []
    assert reasons(rule, history) == []
    rule.passed(history, date(2025, 1, 1))
    assert snapshot(history) == before, "a history is not changed by looking"


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_what_is_missing_is_said(key: str, case: Case) -> None:
    rule, history = BY_KEY[key], case.unknown()
    assert opens(rule, history, case) == []
    assert any(why.startswith(case.why) for why in reasons(rule, history))


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.key)
class TestDeclared:
    def test_a_limit_with_its_source_or_a_source_of_its_own(self, rule: Rule) -> None:
        assert rule.limits or rule.source
        assert all(KINDS[name].words for name in rule.limits)

    def test_family_urgency_hold_and_end_are_said(self, rule: Rule) -> None:
        assert rule.family in Family
        assert rule.urgency in Urgency
        assert rule.holds
        assert rule.over
        assert len(rule.key) <= 40

    def test_what_it_is_a_part_of_is_there(self, rule: Rule) -> None:
        assert set(rule.part_of) <= set(BY_KEY) - {rule.key}


def test_every_limit_is_asked_by_a_rule() -> None:
    assert {name for rule in RULES for name in rule.limits} == set(KINDS)


def test_rules_of_safety_always_want_a_call_today_and_are_never_muted() -> None:
    assert len(safety.RULES) == 13
    for rule in safety.RULES:
        assert (rule.urgency, rule.may_be_muted, rule.family) == (Urgency.CALL_TODAY, False, Family.SAFETY)


def test_no_rule_is_part_of_one_that_is_part_of_it() -> None:
    """The bundle shows each alert once, so the relation must not run in a circle."""
    for rule in RULES:
        above, level = set(rule.part_of), set(rule.part_of)
        while level:
            level = {key for one in level for key in BY_KEY[one].part_of} - above
            above |= level
        assert rule.key not in above


def test_a_snapshot_of_a_history_notices_a_change_within() -> None:
    """What the tests above compare is no second name of the same objects."""
    history = CASES["uf_rate"].fires()
    before = snapshot(history)
    night = history.nights[0]
    list(BY_KEY["uf_rate"].see(history, CASES["uf_rate"].at))
    assert snapshot(history) == before
    night.numbers["uf_rate"]["value"] += 1
    assert snapshot(history) != before
    night.numbers["uf_rate"]["value"] -= 1
    night.record.post_weight_kg = 1.0
    assert snapshot(history) != before
