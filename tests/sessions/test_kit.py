"""The kit for the phone: its keys, its content, whose it is, and what it costs."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.test import Client
from django.test.utils import CaptureQueriesContext

from alerts.models import Alert, AlertStep
from dosing.services.night.computing import compute
from homedialysis.accounts.models import User
from sessions.facts import plausible
from sessions.models import AccessSite, EventKind, Patient, Prescription, RecordState
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import (
    A_NIGHT,
    LONG_AGO,
    AccessFactory,
    CarePartnerFactory,
    MessageFactory,
    PrescriptionFactory,
    SiteFactory,
    record_night,
)

pytestmark = pytest.mark.django_db
WHERE = "/api/v1/bedside/"
NOW = A_NIGHT + timedelta(days=40)
KEYS = {
    "by_day", "made_at", "server_time", "release", "account", "patient", "language", "unit", "prescription", "changes",
    "messages", "due", "checklist", "run_sheet", "cards", "card_of", "on_each_card",
    "blood_back",
    "first_aid", "first_aid_unchecked", "access", "limits", "asked", "event_kinds", "event_kinds_here",
    "ready", "numbers", "stock", "computed", "history", "history_id", "open", "urls", "water",
    "flows", "flows_checked", "low_pressure", "left_out",
}  # fmt: skip


def kit_of(client: Client, **query: Any) -> Any:
    with time_machine.travel(NOW, tick=False):
        answer = client.get(WHERE, query)
    assert answer.status_code == 200, answer.content
    assert answer.headers["Cache-Control"] == "no-store"
    return answer.json()


def nights(patient: Patient, count: int, **changes: Any) -> list[Any]:
    """That many nights, each with its numbers, the last one two days before NOW."""
    first = NOW - timedelta(days=2 * count)
    records = [record_night(patient, first + timedelta(days=2 * index), **changes) for index in range(count)]
    for record in records:
        compute(record, at=NOW)
    return records


def test_it_has_the_keys_that_the_phone_reads_and_no_other(ana: Patient, ana_client: Client) -> None:
    kit = kit_of(ana_client)
    assert set(kit) == KEYS
    assert (kit["prescription"], kit["changes"], kit["access"], kit["history"]) == (None, None, None, [])
    told = {"name": "Ana Verdemar", "zone": "Europe/Lisbon", "access_side": None, "short_sheets": False} | {
        "home_zone": "Europe/Lisbon", "places": [], "cautions": ["Allergies: not asked yet", "Dangers: not asked yet"],
    }  # fmt: skip
    assert kit["patient"] == {"id": str(ana.pk)} | told
    assert datetime.fromisoformat(kit["server_time"]) == NOW
    assert kit["limits"] == plausible.for_scripts() | {
        name: limits | {"hard": list(limits["hard"]), "usual": list(limits["usual"])}
        for name, limits in plausible.for_scripts().items()
    }
    assert set(kit["event_kinds"]) == set(kit["first_aid"]) == set(EventKind.values)
    assert kit["unit"]["emergency_number"] == "112"
    assert kit["unit"]["opening_hours"][0] == {"weekday": 0, "opens": "08:00", "closes": "17:00"}


def test_the_prescription_comes_whole(ana_client: Client, anas_prescription: Prescription) -> None:
    kit = kit_of(ana_client)
    assert kit["changes"] is None, "the first has none before it"
    told = kit["prescription"]
    hidden = {"id", "patient", "in_force"}
    assert set(told) == {field.name for field in Prescription._meta.fields} - hidden | {"in_force_from", "lines"}
    assert (told["version"], told["target_weight_kg"], told["dialyser"]) == (1, 70.0, "Fenrow 17")
    assert told["lines"]["main"][0] == {"label": "Target weight", "number": "70", "unit": "kg", "was": ""}
    assert [line["label"] for line in told["lines"]["main"]] == [
        "Target weight", "Length", "Blood flow (Qb)", "Dialysate flow (Qd)", "UF rate, at most",
        "Dialysate temperature",
    ]  # fmt: skip
    assert {"label": "Needles", "number": "15", "unit": "G", "was": ""} in told["lines"]["other"]
    assert (told["weekdays"], told["quiet_at_night"], told["in_force_from"]) == (
        [0, 2, 4],
        False,
        LONG_AGO.isoformat(),
    )


def test_the_history_holds_what_was_computed(ana: Patient, ana_client: Client, anas_prescription: Prescription) -> None:
    older, newer = nights(ana, 2)
    rows = kit_of(ana_client)["history"]
    assert [row["id"] for row in rows] == [str(newer.pk), str(older.pk)]
    row = rows[0]
    assert (row["minutes"], row["pre_weight_kg"], row["uf_volume"]) == (240, 72.0, 2.3)
    assert (row["gain"], row["uf_rate_limit"], row["venous_median"], row["arterial_median"]) == (2.0, 10.0, 130, -140)
    assert row["uf_rate"] == pytest.approx(2300 / 4 / 70)
    assert (row["standard_ktv"], row["alerts"]) == (None, "none"), "no bloods, no dose"
    assert row["last_reading"]["at"] == (newer.started_at + timedelta(minutes=180)).isoformat()
    assert row["last_reading"]["venous_mmhg"] == 130
    assert not {"uf_volume_l", "uf_rate_ml_h"} & set(row["last_reading"]), "they were true of that treatment alone"
    assert rows[1]["gain"] is None


def test_the_history_stops_at_thirty_nights_and_leaves_open_ones_out(ana: Patient, ana_client: Client) -> None:
    records = nights(ana, 31)
    left = record_night(ana, NOW - timedelta(hours=3), status=RecordState.OPEN, ended_at=None)
    kit = kit_of(ana_client)
    assert [row["id"] for row in kit["history"]] == [str(record.pk) for record in records[:0:-1]]
    assert [row["id"] for row in kit["open"]] == [str(left.pk)]
    assert kit["open"][0]["entered_by"]["name"] == "Ana Verdemar"


def alert_on(record: Any, state: str = "open") -> Alert:
    closed = {} if state == "open" else {"closed_at": NOW, "closed_by": record.recorded_by, "outcome": "known"}
    made: Alert = Alert.objects.create(
        patient=record.patient, rule="uf_rate", cause=str(ours(Alert).count()), urgency=1,
        evidence=[{"record": str(record.pk)}], first_night=record.night,
        last_night=record.night, opened_at=NOW, last_seen_at=NOW, state=state, **closed,
    )  # fmt: skip
    return made


def test_a_night_says_whether_the_unit_will_look_at_it(ana: Patient, ana_client: Client, nurse: User) -> None:
    quiet, closed, seen, waiting = nights(ana, 4)
    alert_on(closed, "closed")
    AlertStep.objects.create(alert=alert_on(seen), kind="seen", who=nurse, at=NOW)
    alert_on(waiting, "closed")
    alert_on(waiting)
    told = {row["id"]: row["alerts"] for row in kit_of(ana_client)["history"]}
    assert told == {
        str(quiet.pk): "none",
        str(closed.pk): "seen",
        str(seen.pk): "seen",
        str(waiting.pk): "waiting",
    }


def test_the_access_says_where_the_needles_went(ana: Patient, ana_client: Client) -> None:
    access = AccessFactory(patient=ana, limb="upper_arm", flow="down", side="right")
    often = SiteFactory(access=access, name="A", x=0.4, y=0.7)
    once = SiteFactory(access=access, name="B", rest_until=NOW.date())
    rested = SiteFactory(access=access, name="C", rest_until=NOW.date() - timedelta(days=1))
    used = nights(ana, 3, sites=[{"site": often.pk, "use": "arterial"}])
    record_night(ana, NOW - timedelta(days=50), sites=[{"site": once.pk, "use": "arterial"}])
    kit = kit_of(ana_client)
    told = kit["access"]
    assert (kit["patient"]["access_side"], told["flow"], told["picture"]) == ("right", "down", {"limb": "upper_arm"})
    first, second, third = told["sites"]
    assert (first["x"], first["y"], first["resting"], first["uses_30"]) == (0.4, 0.7, False, 3)
    assert first["last_used"] == [record.night.isoformat() for record in used[::-1]]
    assert (second["resting"], second["rest_until"], second["uses_30"]) == (True, NOW.date().isoformat(), 0)
    assert second["last_used"] == [(NOW - timedelta(days=50)).date().isoformat()]
    assert (third["id"], third["resting"], third["last_used"]) == (rested.pk, False, [])


@pytest.mark.parametrize(
    ("kind", "technique", "first", "asked"),
    [
        ("fistula", "rope_ladder", "wash_arm", {"look", "feel", "listen"}),
        ("fistula", "buttonhole", "wash_arm", {"look", "feel", "listen"}),
        ("catheter", "catheter", "mask", {"exit_site", "caps"}),
    ],
)
def test_checks_and_run_sheet_go_with_the_access(
    ana: Patient, ana_client: Client, kind: str, technique: str, first: str, asked: set[str]
) -> None:
    SiteFactory(access=AccessFactory(patient=ana, kind=kind), technique=technique)
    kit = kit_of(ana_client)
    assert (kit["run_sheet"]["version"], kit["run_sheet"]["technique"]) == (0, technique)
    assert kit["run_sheet"]["steps"][0]["key"] == first
    items = kit["checklist"]["items"]
    assert {item["key"] for item in items if item["part"] == "access"} == asked
    assert set(items[0]) == {
        "key", "name", "hint", "unit", "part", "limit_low", "limit_high", "if_failed", "asks_value", "stop",
    }  # fmt: skip
    chlorine = next(item for item in items if item["key"] == "chlorine")
    assert (chlorine["limit_low"], chlorine["limit_high"], chlorine["unit"]) == (None, 0.1, "mg/L")


def test_a_changed_prescription_is_compared_with_the_last_one_known(ana: Patient, ana_client: Client) -> None:
    middle, late = A_NIGHT + timedelta(days=10), A_NIGHT + timedelta(days=20)
    common = {"patient": ana}
    PrescriptionFactory(**common, version=1, in_force=DateTimeTZRange(LONG_AGO, middle))
    assert kit_of(ana_client)["changes"] is None
    PrescriptionFactory(**common, version=2, in_force=DateTimeTZRange(middle, late), target_weight_kg=69, qb_ml_min=320)
    PrescriptionFactory(**common, version=3, in_force=DateTimeTZRange(late, None), target_weight_kg=68, qb_ml_min=320)
    told = kit_of(ana_client)["changes"]
    assert (told["since_version"], told["acknowledged"]) == (2, False)
    record_night(ana, A_NIGHT)
    told = kit_of(ana_client)["changes"]
    assert (told["since_version"], [line["field"] for line in told["lines"]]) == (1, ["target_weight_kg", "qb_ml_min"])
    assert told["lines"][0] == {
        "field": "target_weight_kg", "label": "Target weight, kg", "before": "70", "after": "68",
    }  # fmt: skip
    assert acknowledge(ana_client, 2).status_code == 200
    told = kit_of(ana_client)["changes"]
    assert (told["since_version"], told["acknowledged"]) == (2, False)
    assert acknowledge(ana_client, 3).status_code == 200
    told = kit_of(ana_client)["changes"]
    assert (told["since_version"], told["acknowledged"]) == (2, True)


def acknowledge(client: Client, version: Any, at: str = NOW.isoformat()) -> Any:
    body = {"version": version, "at": at}
    return client.post(f"{WHERE}acknowledge/", body, content_type="application/json")


def test_acknowledging_twice_keeps_the_first_time(
    ana: Patient, ana_client: Client, partner: User, anas_prescription: Prescription
) -> None:
    first = acknowledge(ana_client, 1)
    again = acknowledge(ana_client, 1, at=(NOW + timedelta(hours=1)).isoformat())
    assert (first.status_code, again.json()) == (200, first.json())
    assert acknowledge(signed_in(partner), 1).status_code == 200
    assert set(anas_prescription.acknowledgements.values_list("by", flat=True)) == {ana.account_id, partner.pk}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"version": 9, "at": NOW.isoformat()}, "version"),
        ({"version": 0, "at": NOW.isoformat()}, "version"),
        ({"at": NOW.isoformat()}, "version"),
        ({"version": 1}, "at"),
        ({"version": 1, "at": "today"}, "at"),
        ({"version": 1, "at": NOW.isoformat(), "word": "yes"}, "word"),
    ],
)
def test_a_wrong_acknowledgement_is_refused_field_by_field(
    ana_client: Client, anas_prescription: Prescription, body: Any, field: str
) -> None:
    answer = ana_client.post(f"{WHERE}acknowledge/", body, content_type="application/json")
    assert answer.status_code == 400
    assert [fault["field"] for fault in answer.json()["errors"]] == [field]
    assert not anas_prescription.acknowledgements.exists()


def test_a_message_is_told_until_this_person_has_seen_it(
    ana: Patient, ana_client: Client, partner: User, ben_client: Client
) -> None:
    message = MessageFactory(patient=ana, sent_by__name="Nurse Kim")
    assert kit_of(ana_client)["messages"] == [
        {"id": message.pk, "words": message.words, "from": "Nurse Kim", "at": A_NIGHT.isoformat()}
    ]
    where = f"{WHERE}messages/{message.pk}/seen/"
    first = ana_client.post(where, {"at": NOW.isoformat()}, content_type="application/json")
    again = ana_client.post(where, {"at": A_NIGHT.isoformat()}, content_type="application/json")
    assert (first.status_code, again.json()) == (200, first.json())
    assert datetime.fromisoformat(first.json()["at"]) == NOW
    assert kit_of(ana_client)["messages"] == []
    assert len(kit_of(signed_in(partner))["messages"]) == 1
    assert ben_client.post(where, {"at": NOW.isoformat()}, content_type="application/json").status_code == 404
    assert ana_client.post(where, {}, content_type="application/json").status_code == 400


def test_only_the_patient_and_who_helps_get_it(
    ana: Patient, ana_client: Client, partner: User, ben_client: Client, nurse_client: Client
) -> None:
    assert kit_of(signed_in(partner))["patient"]["name"] == "Ana Verdemar"
    assert nurse_client.get(WHERE, {"patient": str(ana.pk)}).status_code == 403
    foreign = ben_client.get(WHERE, {"patient": str(ana.pk)})
    assert (foreign.status_code, "Ana" in foreign.content.decode()) == (400, False)
    assert Client().get(WHERE).status_code == 401


def test_who_helps_several_is_told_whom_there_is_to_choose(ana: Patient, ben: Patient, partner: User) -> None:
    CarePartnerFactory(patient=ben, user=partner)
    client = signed_in(partner)
    answer = client.get(WHERE)
    assert answer.status_code == 400
    assert answer.json()["patients"] == [
        {"id": str(ana.pk), "name": "Ana Verdemar"},
        {"id": str(ben.pk), "name": "Ben Okonjo"},
    ]
    assert kit_of(client, patient=str(ben.pk))["patient"]["name"] == "Ben Okonjo"


def asked_queries(client: Client) -> int:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        kit_of(client)
    return len(caught)


def test_it_costs_the_same_number_of_queries_whatever_lies_behind(
    ana: Patient, ana_client: Client, anas_prescription: Prescription, anas_sites: list[AccessSite], nurse: User
) -> None:
    sites = [{"site": site.pk, "use": site.use} for site in anas_sites]
    alert_on(nights(ana, 2, sites=sites)[0])
    MessageFactory(patient=ana)
    record_night(ana, NOW - timedelta(hours=2), status=RecordState.OPEN, ended_at=None)
    few = asked_queries(ana_client)
    ana.treatments.all().delete()
    for record in nights(ana, 40, sites=sites):
        AlertStep.objects.create(alert=alert_on(record), kind="seen", who=nurse, at=NOW)
    MessageFactory.create_batch(5, patient=ana)
    for hours in (2, 20, 30):
        record_night(ana, NOW - timedelta(hours=hours), status=RecordState.OPEN, ended_at=None)
    SiteFactory.create_batch(6, access=anas_sites[0].access)
    assert asked_queries(ana_client) == few
    assert few <= 52


def test_it_speaks_the_language_of_the_account(ana: Patient, ana_client: Client) -> None:
    assert ana.account is not None
    ana.account.language = "es"
    ana.account.save(update_fields=["language"])
    assert kit_of(ana_client)["language"] == "es"


def test_a_day_is_that_of_the_patients_clock(ana: Patient, ana_client: Client) -> None:
    """Half past midnight in Lisbon's summer is still the day before by UTC."""
    SiteFactory(access=AccessFactory(patient=ana), rest_until=date(2026, 7, 1))
    with time_machine.travel(datetime(2026, 7, 1, 23, 30, tzinfo=UTC), tick=False):
        site = ana_client.get(WHERE).json()["access"]["sites"][0]
    assert (site["rest_until"], site["resting"]) == ("2026-07-01", False)


@pytest.mark.parametrize(
    ("ordered", "told"),
    [
        ({}, True),
        ({"minutes": 355, "max_minutes": 360}, True),
        ({"minutes": 360, "max_minutes": 420}, False),
        ({"quiet_at_night": True}, False),
    ],
)
def test_before_the_first_treatment_the_prescription_says_whether_it_is_one_of_the_night(
    ana: Patient, ana_client: Client, anas_prescription: Prescription, ordered: dict[str, Any], told: bool
) -> None:
    Prescription.objects.filter(pk=anas_prescription.pk).update(**ordered)
    assert kit_of(ana_client)["by_day"] is told


def test_without_a_prescription_no_night_is_spoken_of(ana: Patient, ana_client: Client) -> None:
    assert kit_of(ana_client)["by_day"] is True


@pytest.mark.parametrize(("hour", "told"), [(4, False), (5, True), (10, True), (16, True), (17, False), (22, False)])
def test_whose_treatments_begin_by_day_reads_of_the_day(
    ana: Patient, ana_client: Client, anas_prescription: Prescription, hour: int, told: bool
) -> None:
    """Lisbon is on the clock of UTC in March."""
    for day in range(1, 4):
        record_night(ana, datetime(2026, 3, day, hour, 0, tzinfo=UTC))
    assert kit_of(ana_client)["by_day"] is told
