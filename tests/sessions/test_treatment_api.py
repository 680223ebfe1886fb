"""PUT of one treatment: made once, repeated without harm, replaced only by who saw what is replaced."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.test import Client

from alerts.models import PendingEvaluation
from homedialysis.accounts.models import User
from sessions.models import (
    AccessSite,
    AnsweredCheck,
    Event,
    Medicine,
    Patient,
    Prescription,
    Reading,
    RecordState,
    SiteUsed,
    TreatmentRecord,
)
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, night_body, record_night
from tests.over_http import ELSEWHERE, STANDING, address, faults, put

pytestmark = pytest.mark.django_db


@pytest.fixture
def record_id() -> uuid.UUID:
    return uuid.uuid4()


def test_a_new_treatment_is_made_under_the_phones_own_id(
    ana_client: Client, ana: Patient, anas_prescription: Prescription, record_id: uuid.UUID
) -> None:
    answer = put(ana_client, record_id, night_body())
    assert (answer.status_code, answer.headers["ETag"]) == (201, ours(TreatmentRecord).get().etag)
    record = ours(TreatmentRecord).get()
    assert (record.pk, record.patient, record.revision) == (record_id, ana, 1)
    assert (record.prescription, record.recorded_by) == (anas_prescription, ana.account)
    assert (record.pre_weight_kg, record.post_weight_kg, record.uf_removed_l) == (72.0, 70.0, 2.3)
    assert (record.started_at, record.minutes, record.state) == (A_NIGHT, 240, RecordState.FINISHED)


def test_the_answer_is_the_document_with_what_the_server_adds(
    ana_client: Client, ana: Patient, record_id: uuid.UUID
) -> None:
    body = put(ana_client, record_id, night_body()).json()
    added = {name: body[name] for name in ("id", "patient", "revision", "night", "marks")}
    assert added == {
        "id": str(record_id),
        "patient": str(ana.pk),
        "revision": 1,
        "night": "2026-03-02",
        "marks": [],
    }
    assert body["received_at"]
    assert body["pre_weight_kg"] == 72.0
    assert body["pre_pulse"] is None, "what was not given is null, never left out and never zero"


def test_every_list_of_the_document_becomes_rows(
    ana_client: Client, anas_sites: list[AccessSite], record_id: uuid.UUID
) -> None:
    at = A_NIGHT.isoformat()
    body = night_body(
        readings=2,
        events=[{"at": at, "kind": "cramp", "note": "left calf"}],
        medicines=[{"at": at, "name": "Heparin", "amount": 2000, "unit": "[iU]"}],
        checks=[{"name": "Total chlorine", "passed": True, "value": 0.02, "unit": "mg/L"}],
        sites=[{"site": site.pk, "use": site.use, "attempts": 1, "bleeding_minutes": 4.5} for site in anas_sites],
    )
    assert put(ana_client, record_id, body).status_code == 201
    counts = [ours(model).count() for model in (Reading, Event, Medicine, AnsweredCheck, SiteUsed)]
    assert counts == [2, 1, 1, 1, 2]
    assert ours(Event).get().note == "left calf"
    assert set(ours(SiteUsed).values_list("site", "bleeding_minutes")) == {(site.pk, 4.5) for site in anas_sites}


def test_the_same_body_again_is_answered_like_the_first_time(ana_client: Client, record_id: uuid.UUID) -> None:
    first = put(ana_client, record_id, night_body())
    again = put(ana_client, record_id, night_body())
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.headers["ETag"] == first.headers["ETag"]
    assert again.json() == first.json()
    assert ours(TreatmentRecord).count() == 1
    assert ours(PendingEvaluation).count() == 1, "nothing new, so nothing to evaluate again"
    assert ours(TreatmentRecord).get().events.count() == 1  # type: ignore[attr-defined]


@pytest.mark.parametrize("if_match", [STANDING, ELSEWHERE, f"W/{ELSEWHERE}", ELSEWHERE.strip('"')])
def test_a_repeat_is_harmless_whatever_revision_it_names(
    ana_client: Client, record_id: uuid.UUID, if_match: str
) -> None:
    put(ana_client, record_id, night_body())
    assert put(ana_client, record_id, night_body(), if_match).status_code == 200


def test_the_same_moment_in_another_zone_is_the_same_body(ana_client: Client, record_id: uuid.UUID) -> None:
    put(ana_client, record_id, night_body(readings=0))
    elsewhere = night_body(readings=0, started_at="2026-03-02T22:30:00+01:00", ended_at="2026-03-03T03:30:00+02:00")
    assert put(ana_client, record_id, elsewhere).status_code == 200


def test_what_the_server_made_may_be_sent_back_and_is_ignored(ana_client: Client, record_id: uuid.UUID) -> None:
    put(ana_client, record_id, night_body())
    echo = ana_client.get(address(record_id)).json()
    assert put(ana_client, record_id, echo).status_code == 200
    forged = echo | {"revision": 9, "night": "2020-01-01", "marks": [{"field": "x"}], "id": str(uuid.uuid4())}
    assert put(ana_client, record_id, forged).json() == echo


def test_a_change_without_if_match_is_428_and_changes_nothing(ana_client: Client, record_id: uuid.UUID) -> None:
    put(ana_client, record_id, night_body())
    answer = put(ana_client, record_id, night_body(post_weight_kg=70.4))
    assert answer.status_code == 428
    assert "If-Match" in answer.json()["detail"]
    assert ours(TreatmentRecord).get().post_weight_kg == 70.0


def test_a_change_of_the_revision_that_stands_replaces_it(ana_client: Client, record_id: uuid.UUID) -> None:
    put(ana_client, record_id, night_body(readings=3))
    ours(PendingEvaluation).all().delete()
    answer = put(ana_client, record_id, night_body(readings=1, post_weight_kg=70.4), STANDING)
    assert (answer.status_code, answer.json()["revision"]) == (200, 2)
    record = ours(TreatmentRecord).get()
    assert answer.headers["ETag"] == record.etag
    assert (record.post_weight_kg, record.reading_set.count()) == (70.4, 1)
    assert ours(PendingEvaluation).get().record == record


def test_a_stale_revision_is_412_with_the_record_as_it_stands(ana_client: Client, record_id: uuid.UUID) -> None:
    first = put(ana_client, record_id, night_body()).headers["ETag"]
    put(ana_client, record_id, night_body(post_weight_kg=70.4), first)
    answer = put(ana_client, record_id, night_body(post_weight_kg=71.0), first)
    standing = ours(TreatmentRecord).get().etag
    assert (answer.status_code, answer.headers["ETag"]) == (412, standing)
    body = answer.json()
    assert body["current"] == ana_client.get(address(record_id)).json()
    assert f"at {standing}, not at {first}" in body["detail"]
    assert ours(TreatmentRecord).get().post_weight_kg == 70.4


@pytest.mark.parametrize("if_match", ["", '"abc"', "*", f"{ELSEWHERE}, {ELSEWHERE}", '"1"', '"1.0"'])
def test_an_if_match_that_names_no_revision_is_refused(ana_client: Client, record_id: uuid.UUID, if_match: str) -> None:
    put(ana_client, record_id, night_body())
    answer = put(ana_client, record_id, night_body(post_weight_kg=70.4), if_match)
    assert answer.status_code == 400
    assert if_match in answer.json()["detail"]
    assert ours(TreatmentRecord).get().revision == 1


def test_an_open_record_may_hold_almost_nothing(ana_client: Client, record_id: uuid.UUID) -> None:
    answer = put(ana_client, record_id, {"status": "open", "started_at": A_NIGHT.isoformat()})
    assert answer.status_code == 201
    record = ours(TreatmentRecord).get()
    assert (record.state, record.minutes, record.finished_at) == (RecordState.OPEN, None, None)


def test_an_open_record_is_filled_in_and_then_handed_over(ana_client: Client, record_id: uuid.UUID) -> None:
    part = {"status": "open", "started_at": A_NIGHT.isoformat(), "pre_weight_kg": 72.0}
    put(ana_client, record_id, part)
    answer = put(ana_client, record_id, night_body(), STANDING)
    assert (answer.status_code, answer.json()["status"]) == (200, "finished")
    assert ours(TreatmentRecord).get().finished_at is not None


def test_a_record_handed_over_needs_its_end(ana_client: Client, record_id: uuid.UUID) -> None:
    answer = put(ana_client, record_id, night_body(ended_at=None))
    assert set(faults(answer)) == {"ended_at"}
    assert not ours(TreatmentRecord).exists()


def test_a_record_belongs_to_the_prescription_in_force_when_it_began(ana_client: Client, record_id: uuid.UUID) -> None:
    assert put(ana_client, record_id, night_body()).status_code == 201, "none in force is no obstacle"
    assert ours(TreatmentRecord).get().prescription is None


def test_a_record_that_is_not_there_is_404(ana_client: Client, record_id: uuid.UUID) -> None:
    assert ana_client.get(address(record_id)).status_code == 404


def test_one_record_is_read_with_its_revision_as_etag(ana_client: Client, ana: Patient) -> None:
    record = record_night(ana)
    answer = ana_client.get(address(record.pk))
    assert (answer.status_code, answer.headers["ETag"], answer.json()) == (200, record.etag, record.as_sent)


def test_answers_of_the_api_are_kept_by_no_cache(ana_client: Client, ana: Patient) -> None:
    assert ana_client.get(address(record_night(ana).pk)).headers["Cache-Control"] == "no-store"


def test_staff_say_which_patient(nurse_client: Client, ana: Patient, record_id: uuid.UUID) -> None:
    assert set(faults(put(nurse_client, record_id, night_body()))) == {"patient"}
    assert put(nurse_client, record_id, night_body(patient=str(ana.pk))).status_code == 201
    again = put(nurse_client, record_id, night_body(post_weight_kg=70.4), STANDING)
    assert again.status_code == 200, "a record that exists has said it already"


def test_a_care_partner_of_two_patients_says_which(
    partner: User, ben: Patient, ana: Patient, record_id: uuid.UUID
) -> None:
    ben.carepartner_set.create(user=partner)
    client = signed_in(partner)
    assert set(faults(put(client, record_id, night_body()))) == {"patient"}
    assert put(client, record_id, night_body(patient=str(ben.pk))).status_code == 201
    assert ours(TreatmentRecord).get().patient == ben


@pytest.mark.parametrize("body", ["[]", '"text"', "3", "null"])
def test_a_body_that_is_no_object_is_refused(ana_client: Client, record_id: uuid.UUID, body: str) -> None:
    assert put(ana_client, record_id, body).status_code == 400


@pytest.mark.parametrize("body", ["", "{", '{"status": NaN}', "\x00", '{"pre_weight_kg": Infinity}'])
def test_a_body_that_is_no_json_is_refused(ana_client: Client, record_id: uuid.UUID, body: str) -> None:
    assert put(ana_client, record_id, body).status_code == 400
    assert not ours(TreatmentRecord).exists()


def test_only_json_is_read(ana_client: Client, record_id: uuid.UUID) -> None:
    assert ana_client.put(address(record_id), b"x", content_type="text/plain").status_code == 415


def test_an_address_without_a_uuid_is_404(ana_client: Client) -> None:
    assert put(ana_client, "not-a-uuid", night_body()).status_code == 404


def test_somebody_elses_id_is_taken_and_stays_as_it_was(ana_client: Client, ben: Patient, ana: Patient) -> None:
    bens = record_night(ben)
    before: dict[str, Any] = TreatmentRecord.objects.get(pk=bens.pk).as_sent
    answer = put(ana_client, bens.pk, night_body(post_weight_kg=69.0), STANDING)
    assert set(faults(answer)) == {"id"}
    assert "Ben" not in answer.content.decode()
    assert ours(TreatmentRecord).get().as_sent == before
