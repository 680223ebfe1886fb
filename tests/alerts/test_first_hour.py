"""From an empty installation to the first patient, by the page that says what is missing."""

from __future__ import annotations

from datetime import time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone
from django.utils.formats import date_format

from alerts.models import RotaTurn
from alerts.models.looked_over import Part
from alerts.services.first_hour import steps_of_unit
from homedialysis.accounts.models import Role, Unit, User
from sessions.models import Caution, Patient, Training
from sessions.models.local_time import zone_of
from sessions.services.cautions import write_cautions
from sessions.services.readiness import ToDo, steps_to_first_treatment
from sessions.services.water_release import release_water
from tests.conftest import signed_in
from tests.factories import (
    AccessFactory,
    DialyserFactory,
    MachineFactory,
    PatientFactory,
    PrescriptionFactory,
    SiteFactory,
    TrainingFactory,
    UserFactory,
    WaterTestFactory,
    record_night,
)
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db

WEEK: dict[str, Any] = {"opening_hours-TOTAL_FORMS": 7, "opening_hours-INITIAL_FORMS": 0} | {
    f"opening_hours-{day}-{name}": value
    for day in range(5)
    for name, value in (("weekday", day), ("opens", "08:00"), ("closes", "17:00"))
}
UNIT = {
    "name": "Home unit, Quillhaven", "time_zone": "America/Denver", "unit_system": "us", "weight_unit": "lb",
    "temperature_unit": "°F", "emergency_number": "911",
    "day_order": "ymd", "hour_clock": "24", "week_begins": "0", "english": "en",
    "on_call_number": "+1 (303) 555-0142",
}  # fmt: skip


@pytest.fixture
def adi() -> User:
    return User.objects.create_superuser("adi@example.org", "a long phrase for tests", name="Adi")


def missing() -> set[str]:
    return {step.title for step in steps_of_unit() if step.needed and not step.done}


def test_the_administrator_lands_on_what_is_missing_until_nothing_is(adi: User) -> None:
    client = signed_in(adi)
    assert client.get("/")["Location"] == "/unit/first/"
    assert len(missing()) == 13
    assert client.post("/unit/", UNIT | WEEK).status_code == 302
    assert Unit.objects.get().opening_hours.count() == 5
    nurse = UserFactory(role=Role.NURSE)
    UserFactory(role=Role.NEPHROLOGIST)
    RotaTurn.objects.create(person=nurse, weekday=0, begins=time(8), ends=time(12))
    DialyserFactory()
    PatientFactory()
    assert missing() == {str(part.label) for part in Part if part != Part.BY_HAND} | {"Laboratories"}
    for part in Part:
        page = client.post("/unit/first/", {"part": part}, follow=True).content.decode()
        there = timezone.now().astimezone(ZoneInfo("America/Denver"))
        assert f"right for this unit, says Adi on {there:%Y-%m-%d}" in page
    assert missing() == set()
    assert client.get("/")["Location"] == "/team/"


def test_where_patients_are_treated_it_says_so_beside_what_is_not_done(adi: User, ana: Patient) -> None:
    client = signed_in(adi)
    before = "things are missing before a patient can begin"
    assert before in " ".join(client.get("/unit/first/").content.decode().split())
    record_night(ana)
    page = " ".join(client.get("/unit/first/").content.decode().split())
    assert before not in page
    assert "Patients are treated already, and" in page


def test_nothing_is_chosen_before_the_unit_chooses(adi: User) -> None:
    form = signed_in(adi).get("/unit/").context["form"]
    assert {name: form[name].value() for name in ("time_zone", "unit_system")} == {"time_zone": "", "unit_system": ""}
    assert "America/Denver" in str(form["time_zone"])


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"on_call_number": "12"}, "on_call_number", "has 2 figures; at least 5 are needed"),
        ({"emergency_number": "call us"}, "emergency_number", "is no telephone number"),
        ({"time_zone": ""}, "time_zone", "required"),
        ({"unit_system": ""}, "unit_system", "required"),
    ],
)
def test_numbers_are_checked(adi: User, changes: dict[str, str], field: str, words: str) -> None:
    page = signed_in(adi).post("/unit/", UNIT | WEEK | changes)
    assert words in page.context["form"].errors[field][0]
    assert not Unit.objects.exists()


def not_ready(patient: Patient) -> set[str]:
    return {
        step.title for step in steps_to_first_treatment(patient, at=timezone.now()) if step.needed and not step.done
    }


def test_a_patient_is_ready_once_everything_is_there(nurse_client: Client, nurse: User, unit: Unit) -> None:
    patient = PatientFactory(account=None)
    page = nurse_client.get(f"/patients/{patient.pk}/invite/").content.decode()
    assert "Ready for the first treatment?" in page
    assert not_ready(patient) == {
        "Allergies and dangers", "Access", "Sites for both needles", "Prescription", "Machine at home", "Water tested",
        "Training", "Invitation",
    }  # fmt: skip
    access = AccessFactory(patient=patient)
    SiteFactory(access=access, use="arterial")
    assert "Sites for both needles" in not_ready(patient)
    SiteFactory(access=access, use="venous")
    PrescriptionFactory(patient=patient)
    MachineFactory(patient=patient)
    WaterTestFactory(patient=patient)
    TrainingFactory(patient=patient)
    assert not_ready(patient) == {"Allergies and dangers", "Invitation"}
    write_cautions(
        Caution(patient=patient, no_allergies=True, dangers="Falls"), after=None, by=nurse, at=timezone.now()
    )
    assert not_ready(patient) == {"Invitation"}
    on_the_way = nurse_client.get(f"/patients/{patient.pk}/").content.decode()
    assert "On the way to the first treatment" in on_the_way
    assert "texts are not signed" in on_the_way
    assert "0 of 3 noted" in on_the_way
    TrainingFactory(patient=patient, topic=Training.SUPERVISED)
    assert "1 of 3 noted" in nurse_client.get(f"/patients/{patient.pk}/").content.decode()


def water_step(patient: Patient) -> ToDo:
    (found,) = (step for step in steps_to_first_treatment(patient, at=timezone.now()) if step.title == "Water tested")
    return found


def test_water_over_its_limit_is_not_ready(nurse_client: Client, nurse: User, unit: Unit) -> None:
    """Of each kind and place the newest counts; at the action level it is told, and is within the limit."""
    patient, when = PatientFactory(), timezone.now() - timedelta(days=2)
    culture = {"patient": patient, "kind": "bacteria", "place": "product", "fluid": "dialysis_water"}
    WaterTestFactory(sampled_at=when - timedelta(days=30), value=3, **culture)
    assert "Water tested" not in not_ready(patient)
    WaterTestFactory(sampled_at=when, value=140, **culture)
    chlorine = {"kind": "total_chlorine", "place": "first_carbon", "fluid": "dialysis_water"}
    WaterTestFactory(patient=patient, sampled_at=when, value=0.3, **chlorine)
    assert "Water tested" in not_ready(patient)
    day = date_format(when.astimezone(zone_of(patient)), "j M Y")
    assert water_step(patient).words == (
        f"Bacterial culture, product water, at the machine, {day}: over the limit; "
        f"Total chlorine, after the first carbon bed, {day}: over the limit"
    )
    page = laid_flat(nurse_client.get(f"/patients/{patient.pk}/invite/"))
    assert page.count("> not ready<") + page.count(">not ready<") == 1
    later = when + timedelta(hours=1)
    day = date_format(later.astimezone(zone_of(patient)), "j M Y")
    WaterTestFactory(sampled_at=later, value=60, **culture)
    WaterTestFactory(patient=patient, sampled_at=later, value=0.01, **chlorine)
    assert "not released" in water_step(patient).words
    release_water(patient=patient, words="Disinfected.", by=nurse, at=timezone.now())
    assert (water_step(patient).done, water_step(patient).words) == (
        True,
        f"within the limit, at or over the action level: Bacterial culture, product water, at the machine, {day}",
    )


def test_what_an_administrator_cannot_open_is_no_link(adi: User) -> None:
    page = signed_in(adi).get("/unit/first/").content.decode()
    assert 'href="/patients/new/"' not in page
    assert "(a nurse or a nephrologist does it)" in page
