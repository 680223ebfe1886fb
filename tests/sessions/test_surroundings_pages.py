"""The pages on which staff note, correct and set what surrounds the treatment, and where it is shown together."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from homedialysis.accounts.models import User
from sessions.models import (
    BloodsDue,
    Interval,
    Machine,
    Patient,
    SupplyCount,
    SupplyDelivery,
    SupplyItem,
    TaskDone,
    Training,
    WaterStandard,
    WaterTest,
)
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import (
    BloodsDueFactory,
    CarePartnerFactory,
    DeliveryFactory,
    IntervalFactory,
    MachineFactory,
    PrescriptionFactory,
    SupplyCountFactory,
    SupplyItemFactory,
    TaskDoneFactory,
    TrainingFactory,
    WaterTestFactory,
    record_night,
)
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db

CULTURE = {"kind": "bacteria", "sampled_at": "2026-03-02T10:15", "place": "product", "value": "12"}


@pytest.fixture
def tove(technologist: User) -> Client:
    return signed_in(technologist)


def where(patient: Patient, *parts: Any) -> str:
    return "/".join([f"/patients/{patient.pk}/surroundings", *map(str, parts)]) + "/"


def errors(page: Any) -> set[str]:
    assert page.status_code == 200
    return set(page.context["form"].errors)


def saved(answer: Any) -> bool:
    return bool(answer.status_code == 302)


def test_a_technologist_notes_a_test_in_the_patients_time(tove: Client, technologist: User, ana: Patient) -> None:
    assert saved(tove.post(where(ana, "water"), CULTURE))
    test = ours(WaterTest).get()
    assert (test.value, test.fluid, test.entered_by) == (12, "dialysis_water", technologist)
    assert test.sampled_at.isoformat() == "2026-03-02T10:15:00+00:00"
    text = tove.get(where(ana)).content.decode()
    assert "Bacterial culture" in text
    assert "within the limit" in text


def test_the_page_shows_the_patient_s_own_and_nobody_else_s(tove: Client, ana: Patient) -> None:
    mine = MachineFactory(patient=ana)
    page = tove.get(where(ana))
    assert list(page.context["machines"]) == [mine]
    assert list(page.context["tests"]) == []


def test_an_unusual_result_is_asked_about_once_more(tove: Client, ana: Patient) -> None:
    page = tove.post(where(ana, "water"), CULTURE | {"value": "4000"})
    assert page.status_code == 200
    assert "Bacterial culture: 4000 CFU/mL, usually between 0 and 1000 CFU/mL" in page.content.decode()
    assert not ours(WaterTest).exists()
    assert saved(tove.post(where(ana, "water"), CULTURE | {"value": "4000", "sure": page.context["form"].asked_key}))


@pytest.mark.parametrize(
    ("fault", "fields"),
    [
        ({"value": "-1"}, {"value"}),
        ({"value": "2000000"}, {"value"}),
        ({"value": ""}, {"value"}),
        ({"kind": "taste"}, {"kind"}),
        ({"sampled_at": "soon"}, {"sampled_at"}),
        ({"sampled_at": "2199-01-01T00:00"}, {"sampled_at"}),
        ({"place": ""}, {"place"}),
    ],
)
def test_what_cannot_be_stays_on_the_page(tove: Client, ana: Patient, fault: dict[str, str], fields: set[str]) -> None:
    assert errors(tove.post(where(ana, "water"), CULTURE | fault)) == fields
    assert not ours(WaterTest).exists()


def test_a_test_is_corrected_and_taken_back(tove: Client, ana: Patient, ben: Patient) -> None:
    test = WaterTestFactory(patient=ana, value=12)
    assert tove.get(where(ana, "water", test.pk)).context["form"].initial["value"] == 12
    assert saved(tove.post(where(ana, "water", test.pk), CULTURE | {"value": "21"}))
    test.refresh_from_db()
    assert test.value == 21
    assert tove.get(where(ben, "water", test.pk)).status_code == 404
    back = {"task": "take back", "why": ""}
    assert "Say why" in tove.post(where(ana, "water", test.pk), back, follow=True).content.decode()
    assert saved(tove.post(where(ana, "water", test.pk), back | {"why": "Ben's bottle."}))
    test.refresh_from_db()
    assert test.taken_back == "Ben's bottle."
    assert tove.get(where(ana, "water", test.pk)).status_code == 404
    assert "None noted." in tove.get(where(ana)).content.decode()


@pytest.mark.parametrize("row", ["x", "0", "9" * 40, "5f0c1a52-0000-4000-8000-000000000001"])
@pytest.mark.parametrize("what", ["water", "machine", "interval", "nothing"])
def test_a_row_that_is_not_there_is_404(tove: Client, ana: Patient, what: str, row: str) -> None:
    assert tove.get(where(ana, what, row)).status_code == 404


def test_a_machine_comes_and_goes(tove: Client, ana: Patient) -> None:
    body = {"kind": "water", "name": "Brookline RO", "serial": "B-7", "since": "2026-01-05"}
    assert saved(tove.post(where(ana, "machine"), body))
    assert errors(tove.post(where(ana, "machine"), body | {"serial": "B-8"})) == {"__all__"}
    machine = ours(Machine).get()
    assert errors(tove.post(where(ana, "machine", machine.pk), body | {"until": "2025-12-31"})) == {"__all__"}
    assert saved(tove.post(where(ana, "machine", machine.pk), body | {"until": "2026-02-01"}))
    assert "5 Jan 2026 – 1 Feb 2026" in laid_flat(tove.get(where(ana)))


def test_a_task_is_noted_and_taken_back(tove: Client, ana: Patient) -> None:
    MachineFactory(patient=ana, since=timezone.localdate() - timedelta(days=20))
    assert "overdue since" in tove.get(where(ana)).content.decode()
    now = f"{timezone.localtime():%Y-%m-%dT%H:%M}"
    assert saved(tove.post(where(ana, "done"), {"kind": "disinfection", "done_at": now, "note": "Heat"}))
    assert "overdue since" not in tove.get(where(ana)).content.decode()
    done = ours(TaskDone).get()
    assert saved(tove.post(where(ana, "done", done.pk), {"task": "take back", "why": "It stopped half way."}))
    assert "overdue since" in tove.get(where(ana)).content.decode()


def test_supplies_are_counted_together(tove: Client, ana: Patient) -> None:
    assert "supply list is empty" in tove.get(where(ana, "count")).content.decode()
    items = [SupplyItemFactory(name=name) for name in ("Dialysers", "Lines")]
    names = [f"item_{item.pk}" for item in items]
    when = {"counted_at": "2026-03-02T10:15"}
    assert errors(tove.post(where(ana, "count"), when)) == {"__all__"}
    assert errors(tove.post(where(ana, "count"), when | {names[0]: "-1"})) == {names[0]}
    assert errors(tove.post(where(ana, "count"), {"counted_at": "2199-01-01T00:00", names[0]: "3"})) == {"__all__"}
    assert not ours(SupplyCount).exists()
    assert saved(tove.post(where(ana, "count"), when | {names[0]: "24", names[1]: ""}))
    assert list(ours(SupplyCount).values_list("item", "count")) == [(items[0].pk, 24)]


def test_a_delivery_is_expected_and_comes(tove: Client, ana: Patient) -> None:
    item = SupplyItemFactory(name="Dialysers")
    SupplyItemFactory(name="Old ones", in_use=False)
    assert "Old ones" not in tove.get(where(ana, "delivery")).content.decode()
    body = {"item": item.pk, "count": "24", "expected_on": "2026-03-20"}
    assert errors(tove.post(where(ana, "delivery"), body | {"expected_on": ""})) == {"__all__"}
    assert saved(tove.post(where(ana, "delivery"), body))
    delivery = ours(SupplyDelivery).get()
    assert "Delivery: Dialysers" in tove.get(where(ana)).content.decode()
    came = body | {"arrived_at": "2026-03-21T09:00", "arrived": "20"}
    assert saved(tove.post(where(ana, "delivery", delivery.pk), came))
    delivery.refresh_from_db()
    assert delivery.came == 20
    assert "Delivery: Dialysers" not in tove.get(where(ana)).content.decode()


def test_a_nurse_notes_training(nurse_client: Client, ana: Patient) -> None:
    helper = CarePartnerFactory(patient=ana, user__name="Rui").user
    stranger = CarePartnerFactory(user__name="Nobody of Ana's").user
    body = {"topic": "Needles", "done_on": "2026-01-31", "trained_by": "Nurse Kim"}
    page = nurse_client.get(where(ana, "training")).content.decode()
    assert "Rui" in page
    assert "Nobody of Ana" not in page
    assert errors(nurse_client.post(where(ana, "training"), body | {"partner": stranger.pk})) == {"partner"}
    assert errors(nurse_client.post(where(ana, "training"), body | {"months": "0"})) == {"months"}
    both = body | {"months": "3", "valid_until": "2026-04-01"}
    assert errors(nurse_client.post(where(ana, "training"), both)) == {"months"}
    early = body | {"valid_until": "2026-01-31"}
    assert errors(nurse_client.post(where(ana, "training"), early)) == {"__all__"}
    assert errors(nurse_client.post(where(ana, "training"), body | {"done_on": "2199-01-01"})) == {"done_on"}
    assert saved(nurse_client.post(where(ana, "training"), body | {"months": "13", "partner": helper.pk}))
    training = ours(Training).get()
    assert (training.who, training.valid_until) == ("Rui", date(2027, 2, 28))
    assert saved(nurse_client.post(where(ana, "training"), body))
    assert "Needles</a>, Ana Verdemar" in nurse_client.get(where(ana)).content.decode()


def test_a_patient_has_intervals_of_their_own_until_they_go(tove: Client, ana: Patient) -> None:
    MachineFactory(patient=ana)
    IntervalFactory(kind="disinfection", every_days=9)
    assert "every 9 days" in tove.get(where(ana)).content.decode()
    assert tove.get(where(ana, "interval"), {"kind": "disinfection"}).context["form"]["kind"].value() == "disinfection"
    assert errors(tove.post(where(ana, "interval"), {"kind": "disinfection"})) == {"__all__"}
    assert saved(tove.post(where(ana, "interval"), {"kind": "disinfection", "every_treatments": "1"}))
    assert "every 1 treatments" in tove.get(where(ana)).content.decode()
    own = Interval.objects.get(patient=ana)
    assert saved(tove.post(where(ana, "interval", own.pk), {"task": "take back"}))
    assert ours(Interval).get().patient is None


def test_the_unit_keeps_its_lists(tove: Client, nurse_client: Client) -> None:
    item = {"name": "Dialysers", "unit_word": "pieces", "per_treatment": "1", "cover_days": "21", "pack_size": "12"}
    assert saved(tove.post("/unit/surroundings/supply/", item | {"in_use": "on"}))
    assert errors(tove.post("/unit/surroundings/supply/", item)) == {"name"}
    kept = ours(SupplyItem).get()
    assert errors(tove.post(f"/unit/surroundings/supply/{kept.pk}/", item | {"per_treatment": "-1"})) == {
        "per_treatment"
    }
    assert saved(tove.post(f"/unit/surroundings/supply/{kept.pk}/", item))  # off the list
    assert saved(tove.post("/unit/surroundings/interval/", {"kind": "service", "every_days": "300"}))
    service = ours(Interval).get()
    assert saved(tove.post(f"/unit/surroundings/interval/{service.pk}/", {"kind": "service", "stopped": "on"}))
    assert saved(tove.post("/unit/surroundings/standard/", {"edition": "us_2004"}))
    assert saved(tove.post("/unit/surroundings/standard/", {"edition": "iso_2019"}))
    assert WaterStandard.objects.get().edition == "iso_2019"
    own = {"edition": "iso_2024", "dialysis_water_bacteria_limit": "80", "dialysis_water_bacteria_action": "40"}
    assert saved(tove.post("/unit/surroundings/standard/", own))
    assert WaterStandard.objects.get().figures == {"dialysis_water": {"bacteria": [80.0, 40.0]}}
    half = {"edition": "iso_2024", "dialysis_water_hardness_action": "10"}
    assert errors(tove.post("/unit/surroundings/standard/", half)) == {"dialysis_water_hardness_limit"}
    panel = {"name": "Monthly", "every_weeks": "4", "analytes": ["22664-7", "2823-3"]}
    assert saved(nurse_client.post("/unit/surroundings/bloods/", panel))
    assert errors(nurse_client.post("/unit/surroundings/bloods/", panel)) == {"__all__"}
    assert errors(nurse_client.post("/unit/surroundings/bloods/", panel | {"name": "More", "every_weeks": "209"})) == {
        "every_weeks"
    }
    text = tove.get("/unit/surroundings/").content.decode()
    for words in ("off the list", "not done here", "common practice", "every 4 weeks", "ISO 23500"):
        assert words in text


def test_a_row_of_a_patient_is_none_of_the_units(tove: Client, nurse_client: Client, ana: Patient) -> None:
    own = IntervalFactory(patient=ana)
    panel = BloodsDueFactory(patient=ana)
    assert tove.get(f"/unit/surroundings/interval/{own.pk}/").status_code == 404
    assert nurse_client.get(f"/unit/surroundings/bloods/{panel.pk}/").status_code == 404
    assert nurse_client.get("/unit/surroundings/nothing/").status_code == 404
    assert saved(nurse_client.post(where(ana, "bloods", panel.pk), {"task": "take back"}))
    assert not ours(BloodsDue).exists()


def test_a_technologist_neither_trains_nor_orders_bloods(tove: Client, ana: Patient) -> None:
    training, panel = TrainingFactory(patient=ana), BloodsDueFactory(patient=ana)
    closed = [where(ana, "training"), where(ana, "bloods"), "/unit/surroundings/bloods/"]
    closed += [where(ana, "training", training.pk), where(ana, "bloods", panel.pk)]
    assert {tove.get(each).status_code for each in closed} == {403}
    assert {tove.post(each, {"task": "take back", "why": "x"}).status_code for each in closed} == {403}
    assert ours(Training).standing().exists()


def test_an_administrator_looks_and_writes_nothing(administrator: User, ana: Patient) -> None:
    client = signed_in(administrator)
    assert client.get(where(ana)).status_code == 200
    assert "Note a water test" not in client.get(where(ana)).content.decode()
    assert client.post(where(ana, "water"), CULTURE).status_code == 403
    assert client.get("/unit/surroundings/").status_code == 200
    assert client.post("/unit/surroundings/interval/", {"kind": "service", "every_days": "3"}).status_code == 403


def _furnished(patient: Patient, rows: int) -> None:
    now = timezone.now()
    PrescriptionFactory(patient=patient)
    MachineFactory(patient=patient)
    MachineFactory(patient=patient, kind="water", since=timezone.localdate() - timedelta(days=30))
    for index in range(rows):
        then = now - timedelta(days=index + 1)
        WaterTestFactory(patient=patient, sampled_at=then, value=60)
        TaskDoneFactory(patient=patient, done_at=then)
        SupplyCountFactory(patient=patient, counted_at=then, count=3)
        DeliveryFactory(patient=patient)
        TrainingFactory(patient=patient, topic=f"Topic {index}")
        record_night(patient, then.replace(microsecond=0), at=now)


@pytest.mark.parametrize("rows", [1, 4])
def test_the_page_asks_a_fixed_number_of_times(
    tove: Client, ana: Patient, rows: int, django_assert_num_queries: Any
) -> None:
    _furnished(ana, rows)
    tove.get(where(ana))
    with django_assert_num_queries(35):
        text = tove.get(where(ana)).content.decode()
    assert "action level" in text
    assert "short" in text


@pytest.mark.parametrize("both", [False, True])
def test_so_does_the_page_of_everybody(
    tove: Client, ana: Patient, ben: Patient, both: bool, django_assert_num_queries: Any
) -> None:
    _furnished(ana, 1)
    if both:
        _furnished(ben, 2)
    with django_assert_num_queries(25):
        text = tove.get("/surroundings/").content.decode()
    for words in ("Ana Verdemar", "Ben Okonjo", "Endotoxin test", "action level"):
        assert words in text


def test_a_patients_page_leads_to_it(tove: Client, ana: Patient) -> None:
    assert where(ana) in tove.get(f"/patients/{ana.pk}/").content.decode()
    assert 'href="/surroundings/"' in tove.get("/patients/").content.decode()
