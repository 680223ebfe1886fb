"""What is kept of alerts has no words: no rewording moves one, and another language leaves no English in them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import cache
from typing import Any
from unittest import mock

import pytest
from django.utils import translation

from alerts.models import Alert, AlertStep
from alerts.models.choices import StepKind
from alerts.rules import BY_KEY
from alerts.rules.base import Evidence, Remark
from alerts.rules.evidence_kinds import kind_of
from alerts.services import acting
from alerts.services.reconciling import reconcile
from alerts.showing.alert_words import (
    advice_of,
    figure_of,
    limit_of,
    name_of,
    seen_of,
    sentence_of,
    source_of,
    step_words,
    title_of,
    why_not,
)
from alerts.showing.presenting import ShownAlert
from homedialysis.accounts.models import User
from sessions.models import Patient
from tests.alerts.made_alerts import evidence, made_alert
from tests.alerts.rules_table import CASES, Case
from tests.crowd import ours
from tests.factories import A_NIGHT
from tests.pseudo_words import mirrored, unmarked

pytestmark = pytest.mark.django_db
TABLE = list(CASES.items())
HOUR = timedelta(hours=1)
TYPED = (
    *("it is still", "It hums as ever", "tested again", "Total chlorine"),
    *("never counted", "Dialysers", "monthly", "needles", "Kim", "x"),
)
"""What people wrote in the table: notes, and the names of the unit's own checks, items, panels and topics."""
SYMBOLS = re.compile(r"\b(?:mmHg|mL|kg|h|L|min|mS|cm|CFU|EU|mg|mmol|pmol|g|d|wk|C)\b|°C")
"""Units are the same in every language."""
WORD = re.compile(r"[A-Za-zÀ-ž]{2,}")


@contextmanager
def reworded() -> Iterator[None]:
    """Every label and template says something else, whether a catalogue knows it or not."""

    @cache
    def other(words: str) -> str:
        return mirrored(words) if words else ""

    def plural(one: str, several: str, number: float) -> str:
        return other(one if number == 1 else several)

    changed = {
        "gettext": other,
        "pgettext": lambda _context, words: other(words),
        "ngettext": plural,
        "npgettext": lambda _context, one, several, number: plural(one, several, number),
    }
    with mock.patch.multiple(translation._trans, create=True, **changed):
        yield


def looked_at(patient: Patient, key: str, case: Case, *, later: timedelta = timedelta(0)) -> None:
    reconcile(replace(case.fires(), patient=patient), [BY_KEY[key]], at=case.at + later)


def opened(patient: Patient, key: str, case: Case) -> Alert:
    looked_at(patient, key, case)
    return ours(Alert).get(patient=patient, rule=key)


def rows() -> list[Any]:
    """Everything that is kept of alerts."""
    return [list(model.objects.order_by("pk").values()) for model in (Alert, AlertStep)]


def said_of(alert: Alert) -> list[str]:
    """Everything that pages say of an alert."""
    figures = [figure_of(Evidence.from_json(item)) for item in alert.evidence]
    return [
        *(title_of(alert), sentence_of(alert), limit_of(alert), source_of(alert), advice_of(alert)),
        *(words for each in figures for words in (each.label, each.value, each.limit, each.more)),
        *(step_words(step) for step in alert.steps.all()),
        *(str(getattr(BY_KEY[alert.rule], name)) for name in ("about", "holds", "over")),
    ]


def english_in(text: str) -> list[str]:
    rest = unmarked(text)
    for typed in TYPED:
        rest = re.sub(rf"\b{re.escape(typed)}\b", "", rest)
    return WORD.findall(SYMBOLS.sub("", rest))


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_rewording_everything_moves_opens_and_closes_nothing(key: str, case: Case, ana: Patient, nurse: User) -> None:
    alert = opened(ana, key, case)
    before = rows()
    with reworded():
        looked_at(ana, key, case, later=HOUR)
    assert rows() == before
    if acting.to_be_done(alert):
        return  # it ends when it is done, and nobody closes it before
    acting.close(alerts=[alert], by=nurse, outcome="spoken", words="Spoken.", at=case.at + HOUR)
    before = rows()
    with reworded():
        looked_at(ana, key, case, later=2 * HOUR)
    assert rows() == before


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_another_language_leaves_no_english(key: str, case: Case, ana: Patient) -> None:
    alert = opened(ana, key, case)
    english = said_of(alert)
    assert not any("None" in words for words in english)
    with reworded():
        said = said_of(alert)
        reasons = [why_not(BY_KEY[key], missed.why) for missed in BY_KEY[key].not_judged(case.unknown())]
    assert [english_in(words) for words in (*said, *reasons)] == [[]] * (len(said) + len(reasons))
    assert bool(said[1])
    assert all(bool(before) == bool(now) for before, now in zip(english, said, strict=True))


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_no_sentence_is_kept(key: str, case: Case, ana: Patient) -> None:
    """What is kept has no spaces but in what people typed."""
    alert = opened(ana, key, case)
    kept = [alert.evidence, alert.limit, alert.parts, [step.remark for step in alert.steps.all()]]
    spaced = {text for text in _texts(kept) if " " in text.strip()}
    assert spaced <= {*TYPED, "CFU/mL"}
    assert all(step.words == "" for step in alert.steps.all())


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for each in value:
            yield from _texts(each)
    elif isinstance(value, str):
        yield value


LIMITS = {
    "uf_rate": "10 mL/kg/h",
    "uf_rate_line": "100 % of the line that grows with weight",
    "off_target": "1 kg or 2 %, twice running",
    "cramp": "on 2 of 3 treatments",
    "fainted": "each time",
    "access_check": "each time",
    "check_failed": "each time",
    "dialyser_look": "clotted once, or half dark on 2 of 3 treatments",
    "venous_rise": "10 mmHg, and evidence beyond its limit",
    "missing": "24 h after the day on which the prescription has a treatment due",
    "water_quality": "the limit: 100 CFU/mL; the level at which to act: 50 CFU/mL",
    "water_overdue": "0 days after it was due",
    "bloods_overdue": "7 days after it was due",
    "supplies": "14 days of cover (Dialysers)",
    "power_or_water": "each time; today when it comes again or cuts the treatment short",
}


@pytest.mark.parametrize(("key", "case"), TABLE)
def test_the_limit_and_its_source_are_said(key: str, case: Case, ana: Patient) -> None:
    alert = opened(ana, key, case)
    assert limit_of(alert) == LIMITS.get(key, limit_of(alert))
    assert limit_of(alert)
    assert source_of(alert)


class TestWhatAProgramOfAnotherDayKept:
    def test_a_rule_that_is_no_longer_there(self, ana: Patient) -> None:
        alert = made_alert(ana, rule="left_foot_cold", cause="left")
        assert title_of(alert) == "Left foot cold"
        assert name_of(alert) == "Left foot cold: Ana Verdemar"
        assert sentence_of(alert) == "UF rate 12.9 mL/kg/h on 2 Mar."
        assert (limit_of(alert), source_of(alert)) == ("", "")
        assert step_words(alert.steps.get()) == "UF rate 12.9 mL/kg/h on 2 Mar."

    def test_a_rule_that_says_more_by_now(self, ana: Patient) -> None:
        """Its sentence wants parts that were not kept then: the evidence is told plainly."""
        alert = made_alert(ana, rule="target_outdated", cause="too_high")
        assert sentence_of(alert) == "UF rate 12.9 mL/kg/h on 2 Mar."

    def test_evidence_and_reasons_that_nobody_knows_any_more(self, ana: Patient) -> None:
        alert = made_alert(ana, rule="gone")
        alert.evidence = [alert.evidence[0] | {"kind": kind} for kind in ("number.gone", "event.gone", "gone")]
        assert [figure_of(Evidence.from_json(item)).label for item in alert.evidence] == [
            "number.gone",
            "event.gone",
            "gone",
        ]
        assert why_not(None, Remark("nobody_knows")) == "nobody knows"

    def test_a_limit_that_is_no_longer_one(self, ana: Patient) -> None:
        alert = made_alert(ana, limit={"name": "gone", "value": 10.0, "origin": {"whose": "default"}})
        assert sentence_of(alert) == "UF rate 12.9 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h."


def test_a_step_goes_on_saying_what_was_seen_at_its_time(ana: Patient) -> None:
    alert = made_alert(ana)
    alert.evidence = [item | {"value": 14.2} for item in alert.evidence]
    alert.save()
    assert sentence_of(alert) == "UF rate 14.2 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h."
    first = alert.steps.get(kind=StepKind.OPENED)
    assert step_words(first) == "UF rate 12.9 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h."


def test_the_last_bit_of_a_computation_is_no_correction(ana: Patient) -> None:
    item = Evidence.from_json(made_alert(ana).evidence[0])
    assert item.value is not None
    assert replace(item, value=item.value * (1 + 2e-16)).key == item.key
    assert replace(item, value=item.value + 0.001).key != item.key


def test_codes_in_what_a_record_says_are_read_in_the_language_of_the_reader() -> None:
    written = {"version": None, "name": "Hands", "note": "⟦given_up⟧", "reason": "⟦unit_said_so⟧", "overruled": True}

    def said(kind: str, **parts: Any) -> str:
        return str(kind_of(kind).more(Evidence(kind, at=A_NIGHT, day=A_NIGHT.date(), parts=parts)))

    with translation.override("es"):
        assert said("check.failed", **written).endswith(": La unidad lo dijo por teléfono")
        assert said("check.failed", **written | {"overruled": False}) == "Dejado por otro punto"
        assert said("check.access", **written | {"note": ""}) == "La unidad lo dijo por teléfono"
        assert said("event.dizzy", note="⟦felt⟧: ⟦dizzy⟧, typed") == "Se nota: mareo, typed"


@pytest.mark.django_db
def test_what_is_listed_adds_up_to_what_the_sentence_counts(ana: Patient) -> None:
    """Seven stand, three were dealt with before it came back: four and three more, besides three."""
    items = [evidence(A_NIGHT + timedelta(days=day)) | ({"handled": True} if day < 3 else {}) for day in range(10)]
    shown = ShownAlert(made_alert(ana, evidence=items))
    assert len(shown.few_lines) + shown.more_lines == len(seen_of(shown.alert).evidence) == 7
    assert shown.earlier_lines == 3
