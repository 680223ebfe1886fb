"""Noting, correcting and taking back what surrounds the treatment, and what the database holds to."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from homedialysis.accounts.models import User
from homedialysis.accounts.services.dates import short_day
from sessions.facts import plausible
from sessions.facts.choices_surroundings import WATER_UNITS, DueKind, TaskKind, WaterKind
from sessions.models import Interval, Machine, Patient, SupplyDelivery, SupplyItem, TaskDone, WaterTest
from sessions.models.supplies import months_after
from sessions.services import surroundings
from sessions.signals import surroundings_noted
from tests.crowd import ours
from tests.factories import (
    A_NIGHT,
    CarePartnerFactory,
    DeliveryFactory,
    IntervalFactory,
    MachineFactory,
    SupplyItemFactory,
    WaterTestFactory,
)

pytestmark = pytest.mark.django_db

NOW = A_NIGHT + timedelta(hours=12)


def culture(patient: Patient, **changes: Any) -> WaterTest:
    usual: dict[str, Any] = {
        "patient": patient,
        "kind": "bacteria",
        "value": 12.0,
        "sampled_at": A_NIGHT,
        "fluid": "dialysis_water",
        "place": "product",
    }
    return WaterTest(**usual | changes)


def problems(entry: Any, by: User, at: datetime = NOW) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        surroundings.note(entry, by=by, at=at)
    return caught.value.message_dict


def test_a_result_is_kept_in_the_unit_of_its_test(ana: Patient, nurse: User) -> None:
    noted = surroundings.note(culture(ana), by=nurse, at=NOW)
    assert noted.created
    row = ours(WaterTest).get()
    assert (row.unit, row.entered_by, row.entered_at) == ("CFU/mL", nurse, NOW)


def test_the_same_entry_sent_again_is_one_entry(ana: Patient, nurse: User) -> None:
    key = uuid.uuid4()
    assert surroundings.note(culture(ana, id=key), by=nurse, at=NOW).created
    again = surroundings.note(culture(ana, id=key), by=nurse, at=NOW + timedelta(hours=1))
    assert not again.created
    assert again.entry.entered_at == NOW
    assert ours(WaterTest).count() == 1


def test_it_stays_one_after_it_was_corrected_or_taken_back(ana: Patient, nurse: User) -> None:
    key = uuid.uuid4()
    row = surroundings.note(culture(ana, id=key), by=nurse, at=NOW).entry
    row.value = 40
    surroundings.correct(row, by=nurse, at=NOW)
    assert not surroundings.note(culture(ana, id=key), by=nurse, at=NOW).created
    surroundings.take_back(row, why="Another patient's.", by=nurse, at=NOW)
    assert surroundings.note(culture(ana, id=key), by=nurse, at=NOW).entry.taken_back == "Another patient's."
    assert ours(WaterTest).get().value == 40


@pytest.mark.parametrize("other", [{"value": 13.0}, {"kind": "endotoxin", "value": 0.1}])
def test_something_else_under_the_same_id_is_not_noted(ana: Patient, nurse: User, other: dict[str, Any]) -> None:
    key = uuid.uuid4()
    surroundings.note(culture(ana, id=key), by=nurse, at=NOW)
    with pytest.raises(surroundings.NotedDifferently, match="under this id"):
        surroundings.note(culture(ana, id=key, **other), by=nurse, at=NOW)


def test_nor_is_another_patients(ana: Patient, ben: Patient, nurse: User) -> None:
    key = uuid.uuid4()
    surroundings.note(culture(ana, id=key), by=nurse, at=NOW)
    with pytest.raises(surroundings.NotedDifferently):
        surroundings.note(culture(ben, id=key), by=nurse, at=NOW)


def test_every_version_is_kept(ana: Patient, nurse: User) -> None:
    row = surroundings.note(culture(ana), by=nurse, at=NOW).entry
    row.value = 120
    surroundings.correct(row, by=nurse, at=NOW)
    surroundings.take_back(row, why="Wrong bottle.", by=nurse, at=NOW)
    kept = row.events.order_by("pgh_id").values_list("value", "taken_back")  # type: ignore[attr-defined]
    assert list(kept) == [(12, ""), (120, ""), (120, "Wrong bottle.")]
    assert not ours(WaterTest).standing().exists()


def test_taking_back_needs_a_reason(ana: Patient, nurse: User) -> None:
    row = surroundings.note(culture(ana), by=nurse, at=NOW).entry
    with pytest.raises(ValidationError, match="Say why"):
        surroundings.take_back(row, why="  ", by=nurse, at=NOW)
    row.refresh_from_db()
    assert row.taken_back == ""


@pytest.mark.parametrize("kind", WaterKind.values)
def test_a_result_outside_its_limits_is_refused_naming_them(ana: Patient, nurse: User, kind: str) -> None:
    limits = plausible.WATER[kind]
    assert limits.unit == WATER_UNITS[WaterKind(kind)]
    above = limits.hard[1] + 1
    assert problems(culture(ana, kind=kind, value=above), nurse) == {"value": [limits.refusal(above)]}
    assert "value" in problems(culture(ana, kind=kind, value=-0.1), nurse)
    assert surroundings.note(culture(ana, kind=kind, value=limits.hard[1]), by=nurse, at=NOW).created


def test_another_unit_is_refused(ana: Patient, nurse: User) -> None:
    found = problems(culture(ana, unit="EU/mL"), nurse)
    assert found == {"unit": ["Bacterial culture is given in CFU/mL; EU/mL was given."]}


@pytest.mark.parametrize(
    ("when", "words"),
    [(NOW + timedelta(days=1, minutes=1), "ahead of now"), (datetime(1959, 1, 1, tzinfo=UTC), "before 1 Jan 1960")],
)
def test_a_time_that_cannot_be_is_refused(ana: Patient, nurse: User, when: datetime, words: str) -> None:
    (said,) = problems(culture(ana, sampled_at=when), nurse)["sampled_at"]
    assert words in said
    assert short_day(when) in said


def test_one_result_of_a_test_at_a_place_and_time(ana: Patient, nurse: User) -> None:
    first = surroundings.note(culture(ana), by=nurse, at=NOW).entry
    assert "stands already" in str(problems(culture(ana, value=30), nurse))
    with pytest.raises(IntegrityError, match="water_test_once"), transaction.atomic():
        WaterTestFactory(patient=ana)
    surroundings.take_back(first, why="Wrong.", by=nurse, at=NOW)
    assert surroundings.note(culture(ana, value=30), by=nurse, at=NOW).created


@pytest.mark.parametrize(("fault", "name"), [({"value": -1}, "not_negative"), ({"unit": "mg/L"}, "unit_of_kind")])
def test_the_database_refuses_it_too(ana: Patient, fault: dict[str, Any], name: str) -> None:
    with pytest.raises(IntegrityError, match=f"water_{name}|water_value_{name}"), transaction.atomic():
        WaterTestFactory(patient=ana, **fault)


def test_what_a_sample_is_by_its_place_and_machine(ana: Patient, ben: Patient) -> None:
    MachineFactory(patient=ana, kind="water", ultrapure=True, since=date(2026, 1, 1), until=date(2026, 2, 1))
    MachineFactory(patient=ben, kind="dialysis", ultrapure=True)
    day = date(2026, 2, 1)
    assert surroundings.usual_fluid(ana, "product", day) == "ultrapure_water"
    assert surroundings.usual_fluid(ana, "product", day + timedelta(days=1)) == "dialysis_water"
    assert surroundings.usual_fluid(ana, "fluid_port", day) == "dialysis_fluid"
    assert surroundings.usual_fluid(ben, "fluid_port", day) == "ultrapure_fluid"
    assert surroundings.usual_fluid(ben, "product", day) == "dialysis_water"


def test_chlorine_is_sampled_after_the_first_bed() -> None:
    assert surroundings.usual_place("total_chlorine") == "first_carbon"
    assert surroundings.usual_place("endotoxin") == "product"


def test_one_machine_of_a_kind_at_a_time(ana: Patient, ben: Patient, nurse: User) -> None:
    first = MachineFactory(patient=ana)
    second = Machine(patient=ana, kind="dialysis", name="Larkfield 4", serial="9", since=date(2026, 1, 1))
    with pytest.raises(ValidationError, match="has one in use"):
        surroundings.keep(second, by=nurse, at=NOW)
    with pytest.raises(IntegrityError, match="machine_one_of_a_kind"), transaction.atomic():
        MachineFactory(patient=ana)
    elsewhere = Machine(patient=ben, kind="dialysis", name=first.name, serial=first.serial, since=date(2026, 1, 1))
    with pytest.raises(ValidationError, match="in use at a patient's"):
        surroundings.keep(elsewhere, by=nurse, at=NOW)
    first.until = date(2024, 1, 1)
    with pytest.raises(ValidationError, match="must not lie before the first"):
        surroundings.keep(first, by=nurse, at=NOW)
    first.until = date(2026, 1, 1)
    surroundings.keep(first, by=nurse, at=NOW)
    surroundings.keep(second, by=nurse, at=NOW)
    surroundings.keep(elsewhere, by=nurse, at=NOW)
    assert ours(Machine).filter(until=None).count() == 2


def test_an_interval_says_how_often(ana: Patient, nurse: User) -> None:
    for fault, words in (
        ({}, "Say after how many days"),
        ({"every_days": 0}, "must be between 1 and 3660 days; 0 was given"),
        ({"every_treatments": 2001}, "must be between 1 and 2000 treatments; 2001 was given"),
        ({"every_treatments": 3, "kind": "bacteria"}, "by days only"),
    ):
        with pytest.raises(ValidationError, match=words):
            surroundings.keep(Interval(**{"patient": ana, "kind": "service"} | fault), by=nurse, at=NOW)
    surroundings.keep(Interval(patient=ana, kind="service", stopped=True), by=nurse, at=NOW)
    surroundings.keep(Interval(kind="service", every_days=300), by=nurse, at=NOW)
    with pytest.raises(ValidationError, match="is set already"):
        surroundings.keep(Interval(kind="service", every_days=200), by=nurse, at=NOW)
    with pytest.raises(IntegrityError, match="interval_once"), transaction.atomic():
        IntervalFactory(kind="service")
    with pytest.raises(IntegrityError, match="interval_says_how_often"), transaction.atomic():
        IntervalFactory(kind="carbon_change", every_days=None)


def test_a_patients_own_interval_can_go_and_leaves_a_trace(ana: Patient, nurse: User) -> None:
    own = IntervalFactory(patient=ana, every_days=3)
    own_key = own.pk
    events = type(own).pgh_event_model.objects  # type: ignore[attr-defined]
    surroundings.give_up_own(own, at=NOW)
    assert not ours(Interval).exists()
    assert [each.pgh_label for each in events.filter(pgh_obj_id=own_key).order_by("pgh_id")] == ["insert", "delete"]


def test_tasks_are_a_part_of_what_comes_round() -> None:
    assert set(TaskKind.values) < set(DueKind.values)
    assert [TaskKind(each).label for each in TaskKind.values] == [DueKind(each).label for each in TaskKind.values]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"per_treatment": 101}, "must be between 0 and 100; 101 was given"),
        ({"per_treatment": -1}, "must be between 0 and 100"),
        ({"cover_days": 366}, "must be between 0 and 365 days"),
        ({"pack_size": 0}, "must be between 1 and 10000"),
    ],
)
def test_an_item_has_its_limits(nurse: User, fault: dict[str, Any], words: str) -> None:
    item = SupplyItem(**{"name": "Lines", "unit_word": "sets", "per_treatment": 1} | fault)
    with pytest.raises(ValidationError, match=words):
        surroundings.keep(item, by=nurse, at=NOW)


def test_a_delivery_comes_once(ana: Patient, nurse: User) -> None:
    delivery = DeliveryFactory(patient=ana, count=24)
    assert surroundings.deliver(delivery, arrived_at=A_NIGHT, arrived=20, by=nurse, at=NOW)
    assert not surroundings.deliver(delivery, arrived_at=NOW, arrived=24, by=nurse, at=NOW)
    delivery.refresh_from_db()
    assert (delivery.arrived_at, delivery.came, delivery.entered_by) == (A_NIGHT, 20, nurse)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"count": 0, "expected_on": A_NIGHT.date()}, "at least 1; 0 was given"),
        ({"count": 100_001, "expected_on": A_NIGHT.date()}, "must be between 0 and 100000"),
        ({"count": 5}, "when it is expected, or when it arrived"),
        ({"count": 5, "expected_on": A_NIGHT.date(), "arrived": 5}, "Say when it arrived"),
    ],
)
def test_a_delivery_has_a_day_and_a_count(ana: Patient, nurse: User, fault: dict[str, Any], words: str) -> None:
    assert words in str(problems(SupplyDelivery(patient=ana, item=SupplyItemFactory(), **fault), nurse))


def test_listeners_hear_of_it_once(ana: Patient, nurse: User) -> None:
    heard: list[tuple[Patient, datetime]] = []

    def listen(sender: Any, patient: Patient, at: datetime, **kwargs: Any) -> None:
        heard.append((patient, at))

    surroundings_noted.connect(listen)
    try:
        entry = TaskDone(patient=ana, kind="service", done_at=A_NIGHT)
        surroundings.note(entry, by=nurse, at=NOW)
        surroundings.note(TaskDone(id=entry.pk, patient=ana, kind="service", done_at=A_NIGHT), by=nurse, at=NOW)
        surroundings.keep(SupplyItem(name="Lines", unit_word="sets", per_treatment=1), by=nurse, at=NOW)
    finally:
        surroundings_noted.disconnect(listen)
    assert heard == [(ana, NOW)]


def test_who_sees_what(ana: Patient, ben: Patient, technologist: User) -> None:
    partner = CarePartnerFactory(patient=ana).user
    WaterTestFactory(patient=ana)
    IntervalFactory(patient=ana)
    IntervalFactory()
    assert ana.account
    assert ben.account
    counted = {
        user.name: (ours(WaterTest).visible_to(user).count(), ours(Interval).visible_to(user).count())
        for user in (ana.account, ben.account, partner, technologist)
    }
    assert counted == {ana.name: (1, 2), ben.name: (0, 1), partner.name: (1, 2), technologist.name: (1, 2)}
    assert not ours(Interval).visible_to(User(role="nurse", is_active=False)).exists()
    assert not ours(SupplyItem).visible_to(User(role="nurse", is_active=False)).exists()


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 12, 31), 2, date(2028, 2, 29)),
        (date(2026, 11, 30), 1, date(2026, 12, 30)),
        (date(2026, 12, 15), 12, date(2027, 12, 15)),
        (date(2026, 5, 31), 120, date(2036, 5, 31)),
    ],
)
def test_months_later_is_the_same_day_or_the_months_last(day: date, months: int, later: date) -> None:
    assert months_after(day, months) == later
