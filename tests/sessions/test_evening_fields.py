"""What a record says of the evening besides its numbers: checks, needles, steps, the plan, the phone's clock."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import User
from sessions.models import AccessSite, Patient, TreatmentRecord
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import JSON, STANDING, add_readings, address, faults, put

pytestmark = pytest.mark.django_db


def at(minutes: float) -> str:
    return (A_NIGHT + timedelta(minutes=minutes)).isoformat()


def a_check(**changes: Any) -> dict[str, Any]:
    return {"name": "Leak sensor", "passed": False, **changes}


def a_site(site: AccessSite, **changes: Any) -> dict[str, Any]:
    return {"site": site.pk, "use": site.use, **changes}


def whole_evening(sites: list[AccessSite]) -> dict[str, Any]:
    """One of every field of the evening."""
    return {
        "checks": [
            a_check(
                key="leak", part="setup", overruled=True, reason="Battery empty, awake.", at=at(-30), value=1, unit="V"
            )
        ],
        "sites": [
            a_site(
                sites[0], attempts=2, bleeding_minutes=6.5, gauge=15, needle="sharp", length_mm=25, pain=3, flash=True,
                flushed=False, note="A bit deep.", at=at(-10),
            )
        ],
        "steps": [
            {"at": at(-4), "key": "tape", "words": "Tape it"},
            {"at": at(-20), "key": "wash", "words": "Wash the arm"},
        ],
        "events": [
            {"at": at(90), "kind": "hypotension", "note": "", "systolic": 88, "diastolic": 50, "saline_l": 0.2}
        ],
        "used_stock": [{"item": 7, "count": 2}],
        "planned_minutes": 240,
        "planned_uf_l": 2.4,
        "planned_intake_l": 0.2,
        "planned_rinse_back_l": 0.3,
        "plan_choice": "longer",
        "machine_ktv": 1.32,
        "dialyser_look": "few_fibres",
        "disinfected": True,
        "checklist_version": 4,
        "run_sheet_version": 0,
        "prescription_version": 1,
    }  # fmt: skip


def test_every_field_of_the_evening_is_kept_and_laid_out(ana_client: Client, anas_sites: list[AccessSite]) -> None:
    record_id, evening = uuid.uuid4(), whole_evening(anas_sites)
    answer = put(ana_client, record_id, night_body(**evening))
    assert answer.status_code == 201, answer.content
    body = ana_client.get(address(record_id)).json()
    plain = {name: value for name, value in evening.items() if not isinstance(value, list)}
    assert {name: body[name] for name in plain} == plain
    assert body["used_stock"] == [{"item": 7, "count": 2}]
    assert [step["key"] for step in body["steps"]] == ["wash", "tape"], "in order of time"
    record = TreatmentRecord.objects.get(pk=record_id)
    assert {name: getattr(record, name) for name in plain} == plain
    check, site, event = record.answeredcheck_set.get(), record.siteused_set.get(), record.event_set.get()
    assert (check.key, check.part, check.overruled, check.reason) == ("leak", "setup", True, "Battery empty, awake.")
    assert (site.gauge, site.needle, site.length_mm, site.pain) == (15, "sharp", 25, 3)
    assert (site.flash, site.flushed, site.note, site.at.isoformat()) == (True, False, "A bit deep.", at(-10))
    assert (event.systolic, event.diastolic, event.saline_l) == (88, 50, 0.2)
    assert [step.words for step in record.stepdone_set.all()] == ["Wash the arm", "Tape it"]
    assert put(ana_client, record_id, body).status_code == 200, "what was answered, sent back, is a repeat"


def test_a_document_without_any_of_them_is_taken_as_before(ana_client: Client) -> None:
    body = put(ana_client, uuid.uuid4(), night_body()).json()
    assert (body["steps"], body["used_stock"], body["plan_choice"], body["disinfected"]) == ([], [], "", None)
    assert (body["planned_minutes"], body["checklist_version"], body["clock_offset_s"]) == (None, None, None)


def test_a_record_kept_before_the_fields_were_there_is_met_by_its_repeat(ana: Patient, ana_client: Client) -> None:
    """An older phone repeats what it sent; what the server has learnt to ask since then changes nothing."""
    record = record_night(ana, checks=[a_check(note="off")])
    new = ("steps", "used_stock", "plan_choice", "disinfected", "planned_uf_l", "checklist_version")
    old = {name: value for name, value in record.document.items() if name not in new}
    old["checks"] = [{"name": "Leak sensor", "passed": False, "value": None, "unit": "", "note": "off"}]
    TreatmentRecord.objects.filter(pk=record.pk).update(document=old)
    assert put(ana_client, record.pk, night_body(checks=[a_check(note="off")])).status_code == 200
    assert ana_client.get(address(record.pk)).json()["revision"] == 1
    assert put(ana_client, record.pk, night_body(planned_uf_l=0)).status_code == 428, "0 is a number, not nothing"
    assert add_readings(ana_client, record.pk, {"at": at(7), "pulse": 71}).status_code == 200


@pytest.mark.parametrize("reason", ["", "   ", None])
def test_an_overruled_check_needs_a_reason(ana_client: Client, reason: str | None) -> None:
    given = {} if reason is None else {"reason": reason}
    found = faults(put(ana_client, uuid.uuid4(), night_body(checks=[a_check(overruled=True, **given)])))
    assert set(found) == {"checks[0].reason"}
    assert "“Leak sensor” was overruled: say why" in found["checks[0].reason"]["message"]
    assert not ours(TreatmentRecord).exists()


@pytest.mark.parametrize(
    ("field", "given"),
    [
        ("plan_choice", "faster"),
        ("dialyser_look", "pretty"),
        ("disinfected", "perhaps"),
        ("checklist_version", -1),
        ("run_sheet_version", "new"),
        ("checks[0].part", "later"),
        ("checks[0].overruled", "why"),
        ("sites[0].needle", "bent"),
        ("sites[0].pain", 2.5),
        ("sites[0].gauge", 15.5),
        ("sites[0].flash", "yes, a lot"),
        ("sites[0].at", "2026-03-02T21:00:00"),
        ("steps[0].at", None),
        ("used_stock[0].count", -1),
        ("used_stock[0].item", 0),
    ],
)
def test_what_cannot_be_is_named(ana_client: Client, anas_sites: list[AccessSite], field: str, given: Any) -> None:
    body = night_body(**whole_evening(anas_sites))
    listed, _, name = field.partition("[0].")
    if name:
        body[listed][0][name] = given
    else:
        body[field] = given
    found = faults(put(ana_client, uuid.uuid4(), body))
    assert set(found) == {field}
    assert found[field]["message"]
    assert found[field]["given"] == given


def test_setting_up_may_begin_hours_before_and_not_the_day_before(ana_client: Client) -> None:
    body = night_body(checks=[a_check(at=at(-700))], steps=[{"at": at(-719), "key": "wash"}])
    assert put(ana_client, uuid.uuid4(), body).status_code == 201
    body = night_body(checks=[a_check(at=at(-721))], steps=[{"at": at(-1000)}])
    found = faults(put(ana_client, uuid.uuid4(), body))
    assert set(found) == {"checks[0].at", "steps[0].at"}
    assert "lies outside this treatment" in found["checks[0].at"]["message"]


def test_a_pressure_at_an_event_is_the_right_way_up(ana_client: Client) -> None:
    event = {"at": at(60), "kind": "dizzy", "systolic": 80, "diastolic": 90}
    found = faults(put(ana_client, uuid.uuid4(), night_body(events=[event])))
    assert "below the systolic 80 mmHg; 90 was given" in found["events[0].diastolic"]["message"]


def sent_at(client: Client, record_id: uuid.UUID, clock: str, **changes: Any) -> Any:
    standing = client.get(address(record_id)).headers.get("ETag")
    headers = {"X-Phone-Time": clock} | ({"If-Match": standing} if standing else {})
    return client.put(address(record_id), night_body(**changes), content_type=JSON, headers=headers)


def test_a_phone_whose_clock_is_wrong_is_noted_beside_the_record(ana_client: Client) -> None:
    record_id, now = uuid.uuid4(), timezone.now()
    answer = sent_at(ana_client, record_id, (now + timedelta(hours=2)).isoformat())
    assert answer.json()["clock_offset_s"] == pytest.approx(7200, abs=30)
    later = sent_at(ana_client, record_id, (now - timedelta(days=400)).isoformat(), notes="Later.")
    assert later.json()["clock_offset_s"] == pytest.approx(-400 * 86400, abs=30)
    answer = put(ana_client, record_id, night_body(notes="Without."), STANDING)
    assert answer.json()["clock_offset_s"] == pytest.approx(-400 * 86400, abs=30), "what is known stays"


@pytest.mark.parametrize("clock", ["yesterday", "", "2026-03-02T21:30:00", "2026-13-02T21:30:00Z"])
def test_a_clock_that_names_no_moment_is_refused(ana_client: Client, clock: str) -> None:
    answer = sent_at(ana_client, uuid.uuid4(), clock)
    assert answer.status_code == 400
    assert "X-Phone-Time" in answer.json()["detail"]
    assert not ours(TreatmentRecord).exists()


def test_a_clock_at_the_end_of_time_is_no_harm(ana_client: Client) -> None:
    assert sent_at(ana_client, uuid.uuid4(), "9999-12-31T23:59:59Z").status_code == 201


def test_the_record_says_who_entered_it_last(ana: Patient, ana_client: Client, partner: User) -> None:
    record_id = uuid.uuid4()
    first = put(ana_client, record_id, night_body(patient=str(ana.pk))).json()
    assert ana.account is not None
    assert first["entered_by"] == {"id": ana.account.pk, "name": ana.name}
    changed = put(signed_in(partner), record_id, night_body(notes="For Ana."), STANDING).json()
    assert changed["entered_by"] == {"id": partner.pk, "name": "Rui, who helps Ana"}
