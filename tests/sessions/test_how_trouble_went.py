"""Trouble that was gone through step by step: what is kept of it, and what every place says of its times."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone, translation
from fhir.resources import R4B

from alerts.models import Alert
from alerts.services.evaluation import evaluate_record
from alerts.showing.presenting import ShownAlert
from dosing.services.night.computing import compute
from sessions.facts.choices import EventKind, SiteUse
from sessions.models import Patient, TreatmentRecord, UnitText
from sessions.texts import flows
from sessions.texts.ready import READY
from tests.crowd import ours
from tests.dosing.fhir.conftest import Faults, faults
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import faults as faults_of
from tests.over_http import put
from tests.sessions.test_text_pages import fields_of, names

__all__ = ["faults"]

pytestmark = pytest.mark.django_db
TOLD = ("fluid removal off 22:10", "on again 22:31", "over 22:40", "the treatment went on", "the unit was called")


def after(minutes: int) -> str:
    return (A_NIGHT + timedelta(minutes=minutes)).isoformat()


DROP: dict[str, Any] = {
    "at": after(39), "kind": "hypotension", "systolic": 84, "diastolic": 46, "paused_at": after(40),
    "resumed_at": after(61), "ended_at": after(70), "outcome": "went_on", "called": "unit",
}  # fmt: skip


@pytest.fixture
def night(ana: Patient) -> TreatmentRecord:
    record = record_night(ana, events=[DROP], pre_systolic=140, pre_diastolic=80)
    compute(record, at=timezone.now())
    return record


def test_times_that_contradict_each_other_are_refused_by_name(ana_client: Client) -> None:
    def refusal(**changed: Any) -> Any:
        return faults_of(put(ana_client, uuid.uuid4(), night_body(A_NIGHT, events=[DROP | changed])))

    assert list(refusal(paused_at=after(30))) == ["events[0].paused_at"]
    assert list(refusal(resumed_at=after(39))) == ["events[0].resumed_at"]
    assert list(refusal(ended_at=after(50))) == ["events[0].ended_at"]
    taken = put(
        ana_client, uuid.uuid4(), night_body(A_NIGHT, events=[DROP | {"ended_at": after(50), "resumed_at": None}])
    )
    assert taken.status_code == 201


def test_no_record_is_lost_over_seconds(ana_client: Client) -> None:
    noted = {"at": (A_NIGHT + timedelta(minutes=29, seconds=15)).isoformat(), "kind": "infiltration"}
    taken = put(ana_client, uuid.uuid4(), night_body(A_NIGHT, events=[noted | {"paused_at": after(29)}]))
    assert taken.status_code == 201, taken.json()


def test_a_contradiction_is_told_on_the_patients_own_clock(ana: Patient, ana_client: Client) -> None:
    ana.time_zone = "America/Sao_Paulo"
    ana.save()
    body = night_body(A_NIGHT, events=[DROP | {"paused_at": after(30)}])
    [fault] = faults_of(put(ana_client, uuid.uuid4(), body)).values()
    clock = [(A_NIGHT + timedelta(minutes=each)).astimezone(ZoneInfo(ana.time_zone)) for each in (30, 39)]
    told, earlier = (f"{each.day} {each:%b %Y, %H:%M}" for each in clock)
    assert fault["message"] == f"{told} lies before {earlier}, which comes before it."


def test_a_time_far_outside_the_treatment_and_a_strange_outcome_are_refused(ana_client: Client) -> None:
    late = faults_of(put(ana_client, uuid.uuid4(), night_body(A_NIGHT, events=[DROP | {"ended_at": after(3000)}])))
    assert list(late) == ["events[0].ended_at"]
    strange = faults_of(put(ana_client, uuid.uuid4(), night_body(A_NIGHT, events=[DROP | {"outcome": "fine"}])))
    assert list(strange) == ["events[0].outcome"]


def test_the_api_gives_back_what_it_got(ana_client: Client, night: TreatmentRecord) -> None:
    [event] = ana_client.get(f"/api/v1/treatments/{night.pk}/").json()["events"]
    assert {name: event[name] for name in DROP} == DROP


def test_the_page_of_the_night_tells_its_times_to_patient_and_nurse(
    ana_client: Client, nurse_client: Client, night: TreatmentRecord
) -> None:
    for client in (ana_client, nurse_client):
        page = re.sub(r"\s+", " ", client.get(f"/nights/{night.pk}/").content.decode())
        [line] = [each for each in re.findall(r"<li>(.*?)</li>", page) if "Low blood pressure" in each]
        assert all(words in line for words in TOLD), line
        assert "84/46" in line


def test_the_alert_tells_its_times_on_the_patients_clock(ana: Patient) -> None:
    record = record_night(ana, events=[DROP | {"systolic": 64}])
    evaluate_record(record, at=A_NIGHT + timedelta(days=1))
    found = [line for alert in ours(Alert) for line in ShownAlert(alert).lines if "fluid removal" in line.words]
    assert found
    assert all(words in found[0].words for words in TOLD)
    assert found[0].clock == "22:09"


def test_a_low_reading_that_began_the_way_tells_its_times_too(ana: Patient) -> None:
    event = {name: value for name, value in DROP.items() if name not in ("systolic", "diastolic")}
    record = record_night(ana, events=[event], readings=[{"at": DROP["at"], "systolic": 64, "diastolic": 44}])
    evaluate_record(record, at=A_NIGHT + timedelta(days=1))
    lines = [line for alert in ours(Alert) for line in ShownAlert(alert).lines if line.value.startswith("64")]
    assert lines
    assert all(all(words in line.words for words in TOLD) for line in lines)


def test_the_lowest_pressure_counts_the_events_and_readings_of_the_way(ana: Patient) -> None:
    record = record_night(ana, events=[DROP], readings=[{"at": after(50), "systolic": 79, "diastolic": 44}])
    found = compute(record, at=timezone.now())
    assert found.numbers["lowest_systolic"]["value"] == 79
    plain = {"at": (A_NIGHT + timedelta(days=2, minutes=40)).isoformat(), "kind": "hypotension", "systolic": 84}
    without = record_night(ana, A_NIGHT + timedelta(days=2), events=[plain])
    assert compute(without, at=timezone.now()).numbers["lowest_systolic"]["value"] == 84


def test_fhir_tells_the_event_with_its_period_times_and_end(
    nurse_client: Client, ana: Patient, night: TreatmentRecord, faults: Faults
) -> None:
    bundle = nurse_client.get(f"/api/v1/fhir/Patient/{ana.pk}/$everything").json()
    assert faults(bundle) == []
    rows = [entry["resource"] for entry in bundle["entry"]]
    [event] = [row for row in rows if row.get("code", {}).get("text") == "Low blood pressure"]
    R4B.get_fhir_model_class("Observation").model_validate(event)
    assert event["effectivePeriod"] == {"start": after(39), "end": after(70)}
    parts = {part["code"]["coding"][0]["code"]: part for part in event["component"]}
    assert parts["paused-at"]["valueDateTime"] == after(40)
    assert parts["resumed-at"]["valueDateTime"] == after(61)
    assert parts["outcome"]["valueCodeableConcept"]["coding"][0]["code"] == "went-on"
    pressures = [
        row for row in rows if row.get("effectiveDateTime") == after(39) and len(row.get("component", [])) == 2
    ]
    assert [[part["valueQuantity"]["value"] for part in row["component"]] for row in pressures] == [[84, 46]]
    assert len({row["id"] for row in rows}) == len(rows)


# The unit's words ---------------------------------------------------------------------------------


def test_the_kit_has_a_way_for_each_kind_of_trouble_and_the_limit_of_a_low_pressure(ana_client: Client) -> None:
    kit = ana_client.get("/api/v1/bedside/").json()
    assert set(kit["flows"]) == set(map(str, flows.FLOWS))
    assert kit["low_pressure"] == {"usual": 90, "after_high": 100, "high_before": 160}
    step = kit["flows"]["hypotension"][0]
    assert (step["key"], step["stamp"], step["words"]) == ("look", "hypotension_look", str(flows.LOOK.words))


def test_the_unit_rewrites_a_step_and_sets_the_wait_and_the_rest_stays(
    nurse_client: Client, ana_client: Client
) -> None:
    where = "/unit/bedside/flows/"
    page = nurse_client.get(where)
    keys = [row["key"] for row in flows.default_flows()["steps"]]
    assert len(names(page)) == len(keys)
    flat, wait = keys.index("hypotension_flat"), keys.index("hypotension_wait")
    changed = {f"row-{flat}-words": "Down, legs up.", f"row-{wait}-minutes": "10", "why": "Ours.", "do": "save"}
    assert nurse_client.post(where, fields_of(page) | changed).status_code == 302
    kept = {row["key"]: row for row in ours(UnitText).get(kind="flows").content["steps"]}
    assert (kept["hypotension_flat"]["words"], set(kept)) == ("Down, legs up.", set(keys))
    steps = {step["key"]: step for step in ana_client.get("/api/v1/bedside/").json()["flows"]["hypotension"]}
    assert steps["flat"]["words"] == "Down, legs up."
    assert steps["wait"]["minutes"] == 10
    assert steps["better"]["words"] == "How is it now?"


def test_every_answer_is_a_phrase_and_leads_somewhere() -> None:
    for kind, steps in flows.FLOWS.items():
        keys = {step.key for step in steps}
        for step in steps:
            assert len(flows.key_of(kind, step.key)) <= 40  # as the record keeps it
            for answer in step.answers:
                assert len(READY[answer.code].split()) > 1 or answer.code == "signs_none", answer.code
                assert answer.then in keys | {"", flows.OVER} or answer.then.startswith("card:"), answer
        assert {answer.then for step in steps for answer in step.answers} & {flows.OVER}, kind


def test_every_way_ends_whatever_is_answered() -> None:
    """From each step an answer leads to the end, so that nobody is held in a circle."""
    for kind, steps in flows.FLOWS.items():
        keys = [step.key for step in steps]
        ends = {flows.OVER}
        for _ in steps:
            ends |= {step.key for index, step in enumerate(steps) if _leads(keys, index, step) & ends}
        assert set(keys) <= ends, kind


def _leads(keys: list[str], index: int, step: flows.FlowStep) -> set[str]:
    following = keys[index + 1] if index + 1 < len(keys) else flows.OVER
    if not step.answers:
        return {following}
    return {answer.then if answer.then in keys or answer.then == flows.OVER else following for answer in step.answers}


def test_whoever_reaches_nobody_ends_the_treatment_on_every_way() -> None:
    calls = [(kind, step) for kind, steps in flows.FLOWS.items() for step in steps if step.key == "call"]
    assert {kind for kind, _step in calls} == set(flows.FLOWS)
    for kind, step in calls:
        assert "If you reach nobody" in str(step.hint), kind
        [alone] = [each for each in step.answers if each.code == "unit_not_reached"]
        assert (alone.then, alone.does) == ("blood", (flows.NOT_REACHED,)), kind


def test_words_name_whom_to_call_in_both_languages() -> None:
    """No bare "call": the unit or the emergency number is named in the same sentence."""
    named = {"en": r"\bcall\b(?!.*(unit|emergency number))", "es": r"\bllame\b(?!.*(unidad|emergencias))"}
    for language, bare in named.items():
        with translation.override(language):
            for step in flows.default_flows()["steps"]:
                for sentence in re.split(r"[.;]", f"{step['words']}. {step['hint']}".replace("on call", "")):
                    assert not re.search(bare, sentence, re.IGNORECASE), sentence


def test_codes_of_an_event_are_those_of_the_declared_choices() -> None:
    assert set(flows.FLOWS) <= set(EventKind.values)
    assert {"at_arterial", "at_venous"} == {f"at_{use}" for use in SiteUse.values}


def test_a_treatment_ends_with_what_became_of_the_blood_and_with_nothing_before_it() -> None:
    """A call, also one that nobody took, has ended nothing; whoever ends the treatment is asked about the blood."""
    for kind, steps in flows.FLOWS.items():
        answers = [(step, each) for step in steps for each in step.answers]
        ending = {(step.key, each.code) for step, each in answers if flows.ENDED in (*each.does, *step.does)}
        assert ending == {("blood", code) for code in ("blood_all", "blood_part", "blood_none")}, kind
        meant = {each.then for _, each in answers if each.code in {"treatment_over", "unit_end", "emergency_called"}}
        assert meant == {"blood"}, kind
