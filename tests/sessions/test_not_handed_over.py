"""What a phone could not hand over: told to the unit, shown until it came in or somebody saw to it."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client

from homedialysis.accounts.models import User
from sessions.models import NotHandedOver, Patient
from tests.factories import A_NIGHT, night_body

pytestmark = pytest.mark.django_db
ENTRY = uuid.UUID("5f3c1c1e-0000-4000-8000-000000000001")
SINCE = datetime(2026, 3, 2, 2, 10, tzinfo=UTC)


@pytest.fixture
def phone(client: Client, ana: Patient) -> Client:
    assert ana.account is not None
    client.force_login(ana.account)
    return client


def tell(phone: Client, **changes: Any) -> Any:
    body = {
        "what": "treatment",
        "started_at": A_NIGHT.isoformat(),
        "status": 413,
        "tries": 2,
        "since": SINCE.isoformat(),
    }
    return phone.put(f"/api/v1/bedside/not-handed-over/{ENTRY}/", body | changes, content_type="application/json")


def test_the_unit_sees_whose_what_when_and_why(phone: Client, ana: Patient, nurse_client: Client) -> None:
    assert tell(phone).status_code == 200
    for address in ("/triage/", f"/patients/{ana.pk}/"):
        page = nurse_client.get(address).content.decode()
        assert "Could not be handed over from the phone: call" in page
        assert "Ana Verdemar" in page
        assert "takes no entry as large as this one (413)" in page
        assert "after 2 tries" in page


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"status": 500, "tries": 3}, "The server broke over it (500): tell who runs it."),
        ({"status": 403}, "The server, or a filter on the way, did not let it through (403)."),
        ({"status": 400, "said": "Weight after must be less."}, "It was refused (400): Weight after must be less."),
        ({"status": None, "what": "damaged", "words": "nights"}, "storage gave it back damaged"),
    ],
)
def test_each_answer_is_named_as_what_it_is(
    phone: Client, nurse_client: Client, told: dict[str, Any], words: str
) -> None:
    assert tell(phone, **told).status_code == 200
    assert words in nurse_client.get("/triage/").content.decode()


def test_told_again_is_one_row_with_the_newest(phone: Client) -> None:
    tell(phone)
    tell(phone, status=500, tries=7)
    entry = NotHandedOver.objects.get(pk=ENTRY)
    assert (entry.status, entry.tries) == (500, 7)


def test_it_is_over_when_the_record_comes_in(phone: Client, ana: Patient, nurse_client: Client) -> None:
    tell(phone)
    phone.put(f"/api/v1/treatments/{ENTRY}/", night_body(A_NIGHT), content_type="application/json")
    assert NotHandedOver.objects.get(pk=ENTRY).over == "sent"
    assert f"stuck-{ENTRY}" not in nurse_client.get("/triage/").content.decode()


def test_it_is_over_when_somebody_has_seen_to_it_and_stands_again_when_told_again(
    phone: Client, nurse_client: Client, nurse: User
) -> None:
    tell(phone)
    nurse_client.post(f"/not-handed-over/{ENTRY}/seen/")
    entry = NotHandedOver.objects.get(pk=ENTRY)
    assert (entry.over, entry.over_by) == ("seen", nurse)
    again = nurse_client.post(f"/not-handed-over/{ENTRY}/seen/", follow=True)
    assert "It is over already" in again.content.decode()
    tell(phone, status=500)
    assert NotHandedOver.objects.standing().filter(pk=ENTRY).exists()


def test_the_phone_says_that_it_let_it_go(phone: Client) -> None:
    tell(phone, what="note", words="Water test")
    assert phone.delete(f"/api/v1/bedside/not-handed-over/{ENTRY}/?how=left").status_code == 204
    assert NotHandedOver.objects.get(pk=ENTRY).over == "left"
    answer = phone.delete(f"/api/v1/bedside/not-handed-over/{ENTRY}/?how=perhaps")
    assert answer.status_code == 400
    assert "perhaps was given" in answer.content.decode()


def test_nobody_tells_or_ends_what_is_somebody_elses(phone: Client, ben: Patient) -> None:
    tell(phone)
    assert ben.account is not None
    other = Client()
    other.force_login(ben.account)
    assert tell(other).status_code == 400
    assert other.delete(f"/api/v1/bedside/not-handed-over/{ENTRY}/?how=left").status_code == 204
    assert NotHandedOver.objects.standing().filter(pk=ENTRY).exists()
