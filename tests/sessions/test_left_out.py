"""Not tonight, and begun by mistake: said at the bedside, seen by the unit, called missing by nobody."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from alerts.rules import RULES
from alerts.services.history import history_of
from dosing.models import RecordNumbers
from dosing.services.course.reading import course_of
from dosing.services.night.computing import compute
from homedialysis.accounts.models import User
from sessions.models import LeftOut, Patient, Prescription, SiteUsed, TreatmentRecord
from tests.factories import A_NIGHT, night_body, record_night

pytestmark = pytest.mark.django_db
SAID = uuid.UUID("5f3c1c1e-0000-4000-8000-000000000002")
BEGUN = uuid.UUID("5f3c1c1e-0000-4000-8000-000000000003")


@pytest.fixture
def phone(client: Client, ana: Patient) -> Client:
    assert ana.account is not None
    client.force_login(ana.account)
    return client


def say(phone: Client, day: date, **changes: Any) -> Any:
    body = {"day": f"{day:%Y-%m-%d}", "reason": "ill", "at": A_NIGHT.isoformat()}
    return phone.put(f"/api/v1/bedside/left-out/{SAID}/", body | changes, content_type="application/json")


def seen(ana: Patient, at: datetime) -> set[str]:
    found = history_of(ana, at=at)
    return {rule.key for rule in RULES if rule.key in ("missing", "left_out") for _ in rule.see(found, at)}


class TestNotTonight:
    def test_no_rule_calls_it_missing_and_one_tells_of_it(
        self, phone: Client, ana: Patient, anas_prescription: Prescription
    ) -> None:
        record_night(ana, A_NIGHT)
        later = A_NIGHT + timedelta(days=4)
        day = next(
            when
            for when in (A_NIGHT.date() + timedelta(days=count) for count in range(1, 4))
            if when in course_of(ana, A_NIGHT - timedelta(days=1), later + timedelta(days=1)).missing
        )
        assert say(phone, day).status_code == 200
        found = course_of(ana, A_NIGHT - timedelta(days=1), later + timedelta(days=1))
        assert day not in found.missing
        assert found.left_out == (day,)
        assert "left_out" in seen(ana, later)
        phone.delete(f"/api/v1/bedside/left-out/{SAID}/")
        found = course_of(ana, A_NIGHT - timedelta(days=1), later + timedelta(days=1))
        assert (day in found.missing, found.left_out) == (True, ())
        assert "left_out" not in seen(ana, later)

    def test_the_unit_and_the_phone_see_it(self, phone: Client, ana: Patient, nurse_client: Client) -> None:
        today = datetime.now(UTC).date()
        say(phone, today, reason="other", words="The water is off")
        page = nurse_client.get(f"/patients/{ana.pk}/").content.decode()
        assert "another reason, as Ana Verdemar said" in page
        assert "The water is off" in page
        (told,) = phone.get("/api/v1/bedside/").json()["left_out"]
        assert (told["id"], told["reason"], told["words"]) == (str(SAID), "other", "The water is off")
        phone.delete(f"/api/v1/bedside/left-out/{SAID}/")
        assert "taken back" in nurse_client.get(f"/patients/{ana.pk}/").content.decode()
        assert phone.get("/api/v1/bedside/").json()["left_out"] == []

    def test_said_again_is_one_row_and_nobody_says_it_of_somebody_else(
        self, phone: Client, ana: Patient, ben: Patient
    ) -> None:
        say(phone, A_NIGHT.date())
        say(phone, A_NIGHT.date(), reason="away")
        assert LeftOut.objects.get(pk=SAID).reason == "away"
        other = Client()
        assert ben.account is not None
        other.force_login(ben.account)
        assert say(other, A_NIGHT.date()).status_code == 400
        other.delete(f"/api/v1/bedside/left-out/{SAID}/")
        assert LeftOut.objects.standing().filter(pk=SAID).exists()
        assert say(phone, A_NIGHT.date(), reason="bored").status_code == 400


def put(phone: Client, *, again: bool = False, **changes: Any) -> Any:
    headers = {"If-Match": TreatmentRecord.with_mistaken.get(pk=BEGUN).etag} if again else {}
    body = night_body(A_NIGHT, status="open", ended_at=None) | changes
    return phone.put(f"/api/v1/treatments/{BEGUN}/", body, content_type="application/json", headers=headers)


class TestBegunByMistake:
    def empty(self, **changes: Any) -> dict[str, Any]:
        return {"readings": [], "events": [], "medicines": [], "status": "mistaken"} | changes

    def test_it_is_kept_shown_and_counts_for_nothing(
        self, phone: Client, ana: Patient, nurse_client: Client, anas_sites: list[Any], anas_prescription: Prescription
    ) -> None:
        used = [{"site": anas_sites[0].pk, "use": "arterial"}]
        assert put(phone, readings=[], events=[], medicines=[], sites=used).status_code == 201
        record = TreatmentRecord.objects.get(pk=BEGUN)
        compute(record, at=A_NIGHT)
        answer = put(phone, again=True, **self.empty(sites=used))
        assert (answer.status_code, answer.json()["status"]) == (200, "mistaken")
        assert not TreatmentRecord.objects.filter(pk=BEGUN).exists()
        assert TreatmentRecord.with_mistaken.get(pk=BEGUN).state == "mistaken"
        assert not SiteUsed.objects.filter(record=BEGUN).exists()
        assert not RecordNumbers.objects.filter(record=BEGUN).exists()
        span = (A_NIGHT - timedelta(days=1), A_NIGHT + timedelta(days=1))
        assert course_of(ana, *span).treatments == ()
        assert history_of(ana, at=A_NIGHT + timedelta(days=1)).nights == []

    def test_what_pages_api_and_fhir_say(self, phone: Client, ana: Patient, nurse_client: Client) -> None:
        put(phone, readings=[], events=[], medicines=[])
        put(phone, again=True, **self.empty())
        for client in (phone, nurse_client):
            page = client.get(f"/nights/{BEGUN}/").content.decode()
            assert "begun by mistake" in page
            assert client.get(f"/nights/{BEGUN}/versions/").status_code == 200
            assert client.get(f"/api/v1/treatments/{BEGUN}/").json()["status"] == "mistaken"
            assert client.get(f"/api/v1/treatments/?patient={ana.pk}").json()["count"] == 0
        procedure = nurse_client.get(f"/api/v1/fhir/Procedure/{BEGUN}").json()
        assert procedure["status"] == "entered-in-error"
        kit = phone.get("/api/v1/bedside/").json()
        assert (kit["open"], [each["id"] for each in kit["history"]]) == ([], [])

    def test_it_can_be_taken_back(self, phone: Client, ana: Patient) -> None:
        put(phone, readings=[], events=[], medicines=[])
        put(phone, again=True, **self.empty())
        assert put(phone, again=True, readings=[], events=[], medicines=[]).status_code == 200
        assert TreatmentRecord.objects.get(pk=BEGUN).state == "open"

    @pytest.mark.parametrize("name", ["readings", "events", "medicines"])
    def test_what_happened_is_no_mistake(self, phone: Client, ana: Patient, name: str) -> None:
        rows = {
            "readings": {"at": A_NIGHT.isoformat(), "pulse": 70},
            "events": {"at": A_NIGHT.isoformat(), "kind": "needle_dislodged"},
            "medicines": {"at": A_NIGHT.isoformat(), "name": "heparin"},
        }
        answer = put(phone, **self.empty(**{name: [rows[name]]}))
        assert answer.status_code == 400
        assert f"A record in which {name} were noted was not begun by mistake" in answer.content.decode()


def test_a_nurse_sees_who_said_it(phone: Client, ana: Patient, nurse: User, nurse_client: Client) -> None:
    start = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=2)
    body = night_body(start, status="mistaken", ended_at=None) | {"readings": [], "events": [], "medicines": []}
    assert phone.put(f"/api/v1/treatments/{BEGUN}/", body, content_type="application/json").status_code == 201
    page = nurse_client.get(f"/patients/{ana.pk}/").content.decode()
    assert "by mistake:" in page
    assert f"/nights/{BEGUN}/" in page
