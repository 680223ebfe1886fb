"""Medicines: written with a dose and a code, changed, stopped, put right and taken back, with every version kept."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from dosing.services.decision.decided import medicine_marks
from dosing.services.decision.half_year import read_half_year
from homedialysis.accounts.models import User
from sessions.facts.months import first_of
from sessions.models import Medication, Patient
from sessions.services import medications
from tests.factories import MedicationFactory

pytestmark = pytest.mark.django_db
A_DAY = date(2026, 3, 2)


def where(patient: Patient, row: Medication | None = None) -> str:
    return f"/patients/{patient.pk}/medicines/" + (f"{row.pk}/" if row else "")


GIVEN = {
    "name": "Sevelamer carbonate", "kind": "binder", "amount": "0,8", "unit": "g", "times": "3", "period": "day",
    "from_on": "2026-03-02", "why": "phosphate",
}  # fmt: skip


def test_a_medicine_is_written_with_the_code_of_its_name(ana: Patient, nurse_client: Client) -> None:
    assert nurse_client.post(where(ana), GIVEN).status_code == 302
    row = ana.medications.get()
    assert (row.atc, row.dose, row.weekly) == ("V03AE02", "0.8 g, 3 times a day", pytest.approx(16.8))
    assert "Sevelamer carbonate, 0.8 g, 3 times a day" in nurse_client.get(where(ana)).content.decode()
    again = nurse_client.post(where(ana), GIVEN)
    assert "This medicine is entered from this day already." in again.content.decode()


REFUSED = [
    ({"atc": "B03XA2"}, "“B03XA2” is no ATC code"),
    ({"amount": "0"}, "Must be above 0"),
    ({"unit": ""}, "A dose needs its unit"),
    ({"period": ""}, "how often it is taken needs a time"),
]


@pytest.mark.parametrize(("changed", "words"), REFUSED)
def test_what_no_dose_can_be_is_refused(
    ana: Patient, nurse_client: Client, changed: dict[str, str], words: str
) -> None:
    page = nurse_client.post(where(ana), GIVEN | changed)
    assert (page.status_code, ana.medications.count()) == (200, 0)
    assert words in page.content.decode()


def test_another_dose_ends_the_one_before(ana: Patient, nurse_client: Client) -> None:
    row = MedicationFactory(patient=ana, from_on=A_DAY)
    sent = {"amount": "40", "unit": "ug", "times": "1", "period": "week", "from_on": "2026-04-01", "because": "Hb 96"}
    named = {f"change-{name}": value for name, value in sent.items()}
    too_early = nurse_client.post(where(ana, row), named | {"task": "change", "change-from_on": "2026-03-02"})
    assert "The other dose must begin after 2 Mar 2026" in too_early.content.decode()
    assert ana.medications.get().until_on is None
    assert nurse_client.post(where(ana, row), named | {"task": "change"}).status_code == 302
    now, before = ana.medications.all()
    assert (now.name, now.atc, now.amount, now.until_on) == ("Darbepoetin alfa", "B03XA02", 40, None)
    assert (before.until_on, before.ended_because) == (date(2026, 3, 31), "Hb 96")
    assert [each.amount for each in medications.taken_now(ana, date(2026, 3, 31))] == [30]
    assert [each.amount for each in medications.taken_now(ana, date(2026, 4, 1))] == [40]


def test_what_was_stopped_today_is_not_taken_now_any_more(ana: Patient, nurse_client: Client) -> None:
    """Not on its page, nor at the end of the month that is judged, where stopping is told."""
    row = MedicationFactory(patient=ana, from_on=A_DAY)
    today = timezone.localdate()
    sent = {"task": "stop", "stop-last_day": today.isoformat(), "stop-because": "Hb 131"}
    assert nurse_client.post(where(ana, row), sent).status_code == 302
    page = nurse_client.get(f"/patients/{ana.pk}/medicines/")
    assert (page.context["groups"], page.context["over"]) == ([], [row])
    half_year = read_half_year(ana, first_of(today), at=timezone.now())
    (mark,) = medicine_marks(half_year, [row.kind])
    assert (mark.day, "stopped" in mark.words) == (today, True)


def test_it_is_stopped_put_right_and_taken_back_and_every_version_stays(
    ana: Patient, nurse_client: Client, nurse: User
) -> None:
    row = MedicationFactory(patient=ana, from_on=A_DAY, entered_by=nurse)
    with pytest.raises(ValidationError, match="Say why it is stopped"):
        medications.stop(row, last_day=A_DAY, why=" ", by=nurse, at=timezone.now())
    nurse_client.post(where(ana, row), {"task": "stop", "stop-last_day": "2026-03-20", "stop-because": "Hb 131"})
    nurse_client.post(where(ana, row), {"task": "take back", "why": "Another patient's."})
    row.refresh_from_db()
    assert (row.until_on, row.taken_back) == (date(2026, 3, 20), "Another patient's.")
    assert medications.taken_now(ana, A_DAY) == []
    page = nurse_client.get(where(ana, row)).content.decode()
    assert page.index("Another patient&#x27;s.") < page.index("Hb 131") < page.index("from 2 Mar 2026")
    assert nurse_client.post(where(ana, row), {"task": "stop"}).status_code == 200
    assert ana.medications.get().ended_because == "Hb 131"


def test_the_list_asks_no_more_for_more_rows(
    ana: Patient, nurse_client: Client, django_assert_max_num_queries: Any
) -> None:
    for at in range(2):
        MedicationFactory(patient=ana, from_on=A_DAY + timedelta(days=at))
    nurse_client.get(where(ana))
    with django_assert_max_num_queries(60) as few:
        nurse_client.get(where(ana))
    for at in range(9):
        MedicationFactory(patient=ana, from_on=A_DAY + timedelta(days=10 + at))
    with django_assert_max_num_queries(len(few)):
        nurse_client.get(where(ana))


def test_patient_and_machines_read_it(ana: Patient, ana_client: Client, ben_client: Client) -> None:
    row = MedicationFactory(patient=ana, from_on=A_DAY)
    MedicationFactory(patient=ana, name="Never taken", from_on=A_DAY, taken_back="Slip.")
    (told,) = ana_client.get("/api/v1/medications/").json()["results"]
    assert (told["name"], told["dose"], told["atc"]) == ("Darbepoetin alfa", "30 µg, once a week", "B03XA02")
    assert ben_client.get(f"/api/v1/medications/?patient={ana.pk}").status_code == 400
    found = ana_client.get(f"/api/v1/fhir/MedicationStatement?patient={ana.pk}&code=B03XA02&effective=ge2026-03-02")
    (entry,) = found.json()["entry"]
    resource = entry["resource"]
    assert resource["id"] == f"medication-{row.pk}"
    assert resource["medicationCodeableConcept"] == {
        "coding": [{"system": "http://www.whocc.no/atc", "code": "B03XA02"}],
        "text": "Darbepoetin alfa",
    }
    assert resource["dosage"][0]["timing"] == {"repeat": {"frequency": 1, "period": 1, "periodUnit": "wk"}}
    quantity = resource["dosage"][0]["doseAndRate"][0]["doseQuantity"]
    assert (quantity["value"], quantity["code"]) == (30, "ug")
    assert ben_client.get(f"/api/v1/fhir/MedicationStatement/medication-{row.pk}").status_code == 404
    sent = ana_client.get(f"/takeout/{ana.pk}/record.json")
    taken_out = json.loads(b"".join(sent.streaming_content))["medications"]  # type: ignore[attr-defined]
    assert [each["name"] for each in taken_out] == ["Darbepoetin alfa", "Never taken"]
