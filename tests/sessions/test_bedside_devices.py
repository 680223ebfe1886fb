"""Phones with the bedside: met at each contact, taken back by the unit or their owner, and told to wipe."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from homedialysis.accounts.models import BedsideDevice, User
from homedialysis.accounts.services.bedside_devices import contact, name_from, signed_out, take_back
from sessions.models import Patient, Prescription
from tests.conftest import signed_in
from tests.crowd import ours

pytestmark = pytest.mark.django_db
PHONE = "7d1b9a34-5c55-4f0e-8a39-6a2f0d1f4a10"
ANDROID = (
    "Mozilla/5.0 (Linux; Android 14; Pixel 8) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0 Mobile Safari/537.36"
)
IPHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 17_4 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
    "Version/17.4 Safari/604.1"
)


def fetch_kit(client: Client, phone: str = PHONE) -> int:
    headers = {"X-Bedside-Device": phone, "User-Agent": ANDROID}
    return client.get(reverse("api:bedside"), headers=headers).status_code


def state(client: Client, phone: str = PHONE) -> int:
    return client.get(reverse("api:bedside-device", args=[phone])).status_code


CHROME = "AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0 Safari/537.36"


@pytest.mark.parametrize(
    ("told", "name"),
    [
        (ANDROID, "Android, Chrome"),
        (IPHONE, "iPhone, Safari"),
        (IPHONE.replace("Version/17.4", "CriOS/126.0"), "iPhone, Chrome"),
        (IPHONE.replace("iPhone", "iPad").replace("Version/17.4", "FxiOS/126.0"), "iPad, Firefox"),
        ("Mozilla/5.0 (Android 14; Mobile; rv:127.0) Gecko/127.0 Firefox/127.0", "Android, Firefox"),
        ("Mozilla/5.0 (X11; Linux x86_64; rv:127.0) Gecko/20100101 Firefox/127.0", "Linux, Firefox"),
        (f"Mozilla/5.0 (Windows NT 10.0; Win64; x64) {CHROME} Edg/126.0", "Windows, Edge"),
        (f"Mozilla/5.0 (X11; CrOS x86_64 14541.0.0) {CHROME}", "Chromebook, Chrome"),
        (f"Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) {CHROME}", "Mac, Chrome"),
        ("Something else on Linux", "Linux"),
        ("", "Unknown browser"),
    ],
)
def test_a_browser_is_named_in_words_that_people_know(told: str, name: str) -> None:
    assert name_from(told) == name


def test_a_phone_is_noted_at_each_contact(ana: Patient, ana_client: Client, anas_prescription: Prescription) -> None:
    assert [fetch_kit(ana_client), fetch_kit(ana_client)] == [200, 200]
    device = ours(BedsideDevice).get()
    assert (str(device.pk), device.user, device.name) == (PHONE, ana.account, "Android, Chrome")
    assert device.last_contact > device.first_contact
    assert "Android, Chrome" in ana_client.get(reverse("accounts:devices")).content.decode()


def test_an_id_that_is_none_notes_nothing(ana_client: Client, anas_prescription: Prescription) -> None:
    assert fetch_kit(ana_client, "no uuid") == 200
    assert not ours(BedsideDevice).exists()


def test_taken_back_by_the_unit_it_is_signed_out_and_told_to_wipe(
    ana: Patient, ana_client: Client, nurse: User, nurse_client: Client, anas_prescription: Prescription
) -> None:
    other = signed_in(ana.account)
    fetch_kit(ana_client)
    assert fetch_kit(other, str(uuid.uuid4())) == 200
    page = nurse_client.get(reverse("treatments:devices", args=[ana.pk])).content.decode()
    assert page.count("Take back") == 2
    nurse_client.post(reverse("treatments:take-device-back", args=[ana.pk, PHONE]))
    assert fetch_kit(ana_client) == 401, "the session is over"
    assert state(Client()) == 410, "and its own id tells it why"
    assert fetch_kit(signed_in(ana.account)) == 410, "signing in again does not help this id"
    answer = Client().get(reverse("api:bedside-device", args=[PHONE])).json()
    assert answer["wipe"] is True
    assert nurse.name in answer["reason"]
    assert other.get(reverse("accounts:devices")).status_code == 200, "another phone of hers is left alone"


def test_it_is_the_newest_session_that_ends(
    ana: Patient, nurse_client: Client, anas_prescription: Prescription
) -> None:
    """She signed in again since the phone came first."""
    earlier, now = signed_in(ana.account), signed_in(ana.account)
    assert [fetch_kit(earlier), fetch_kit(now)] == [200, 200]
    nurse_client.post(reverse("treatments:take-device-back", args=[ana.pk, PHONE]))
    assert fetch_kit(now) == 401


def test_taken_back_twice_is_taken_back_by_the_first(
    ana: Patient, ana_client: Client, nurse: User, nephrologist: User, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    device = ours(BedsideDevice).get()
    first, later = device.last_contact + timedelta(hours=1), device.last_contact + timedelta(hours=2)
    take_back(device=device, by=nurse, at=first)
    take_back(device=device, by=nephrologist, at=later)
    device.refresh_from_db()
    assert (device.revoked_at, device.revoked_by, device.session_key) == (first, nurse, "")


def test_a_phone_says_what_it_is_by_now(ana: Patient, ana_client: Client, anas_prescription: Prescription) -> None:
    assert ana.account
    fetch_kit(ana_client)
    before = ours(BedsideDevice).get()
    at = before.last_contact + timedelta(hours=1)
    contact(user=ana.account, device_id=before.pk, name="Android, Firefox", session_key="x", at=at)
    after = ours(BedsideDevice).get()
    assert (after.name, after.first_contact, after.last_contact) == ("Android, Firefox", before.first_contact, at)


def test_the_phone_in_hand_is_marked_among_ones_own(
    ana: Patient, ana_client: Client, anas_prescription: Prescription
) -> None:
    assert ana.account
    fetch_kit(ana_client)
    other = uuid.UUID(int=77)
    at = ours(BedsideDevice).get().last_contact
    contact(user=ana.account, device_id=other, name="Android, Firefox", session_key="another", at=at)
    rows = ana_client.get(reverse("accounts:devices")).content.decode().split("<form")
    told = {device: "this phone" in row for device in (PHONE, str(other)) for row in rows if str(device) in row}
    assert told == {PHONE: True, str(other): False}


def test_a_person_takes_back_an_own_phone(
    ana_client: Client, ben_client: Client, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    assert ben_client.post(reverse("accounts:take-bedside-back", args=[PHONE])).status_code == 404
    ana_client.post(reverse("accounts:take-bedside-back", args=[PHONE]))
    assert state(Client()) == 410


def test_somebody_elses_phone_is_left_alone(
    ana: Patient, ana_client: Client, ben_client: Client, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    assert fetch_kit(ben_client) == 200, "two people may share a browser"
    assert ours(BedsideDevice).get().user == ana.account


def test_an_unknown_phone_learns_nothing(client: Client) -> None:
    assert state(client) == 204


def test_who_may_only_look_takes_nothing_back(
    ana: Patient, ana_client: Client, technologist: User, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    client = signed_in(technologist)
    assert "Take back" not in client.get(reverse("treatments:devices", args=[ana.pk])).content.decode()
    assert client.post(reverse("treatments:take-device-back", args=[ana.pk, PHONE])).status_code == 403


def test_signing_out_forgets_the_phone_and_clears_it_when_asked(
    ana_client: Client, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    answer = ana_client.post(reverse("account_logout"), {"wipe": "1"}, headers={"X-Bedside-Device": PHONE})
    assert answer.headers["Clear-Site-Data"] == '"storage"'
    assert not ours(BedsideDevice).exists()


def test_signing_out_forgets_nobody_elses_phone_and_none_that_has_yet_to_wipe(
    ana: Patient, ana_client: Client, ben_client: Client, nurse: User, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    ben_client.post(reverse("account_logout"), headers={"X-Bedside-Device": PHONE})
    device = ours(BedsideDevice).get()
    take_back(device=device, by=nurse, at=device.last_contact)
    assert ana.account
    signed_out(user=ana.account, device_id=device.pk)
    assert state(Client()) == 410, "it learns at its next contact that it has to wipe"


def test_the_page_to_sign_out_clears_the_phone_of_who_is_at_the_bedside_and_nobody_elses_browser(
    ana_client: Client, nurse_client: Client
) -> None:
    assert 'name="wipe" value="1"' in ana_client.get(reverse("account_logout")).content.decode()
    assert 'name="wipe"' not in nurse_client.get(reverse("account_logout")).content.decode()
    assert "Clear-Site-Data" not in nurse_client.post(reverse("account_logout")).headers


def test_signing_out_on_another_page_forgets_the_phone_by_its_session(
    ana_client: Client, anas_prescription: Prescription
) -> None:
    fetch_kit(ana_client)
    ana_client.post(reverse("account_logout"), {"wipe": "1"})
    assert not ours(BedsideDevice).exists()


def test_both_ways_to_sign_out_forget_the_same_of_the_plain_storage() -> None:
    """Two scripts of two packages, of which none can import the other, name what says something of a person."""
    listed = []
    for path in ("sessions/static/bedside/js/vault.js", "homedialysis/static/homedialysis/js/sign_out.js"):
        found = re.findall(r"\[([^\]]+), `device\.\$\{\w+\}`\]", (settings.BASE_DIR / path).read_text())
        assert len(found) == 1, path
        listed.append(re.findall(r'"(\w+)"', found[0]))
    assert listed[0] == listed[1] != []
