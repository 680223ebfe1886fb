"""What is due and when, and how long supplies last: at a fixed number of queries for any number of patients."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils.translation import override

from homedialysis.accounts.models import User
from sessions.models import Interval, Patient, Prescription, Training, UrineCollection
from sessions.services.due import Due, due_for, due_of
from sessions.services.stock import Stock, days_of_cover, for_kit, stock_for
from sessions.services.surroundings import note
from sessions.services.surroundings_facts import USUAL, Dense, Every, facts_of, facts_of_many
from sessions.texts.ready import words_of
from tests.factories import (
    BloodFactory,
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

pytestmark = pytest.mark.django_db

TODAY = date(2026, 3, 20)
DAY = timedelta(days=1)


def at(day: date, hour: int = 12) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


def ago(days: int, hour: int = 12) -> datetime:
    return at(TODAY - days * DAY, hour)


def due(patient: Patient, kind: str, *, ahead: int = 400) -> Due | None:
    found = [each for each in due_for(patient, TODAY, ahead=ahead) if each.kind == kind]
    assert len(found) <= 1
    return found[0] if found else None


def days_to(patient: Patient, kind: str) -> int | None:
    found = due(patient, kind)
    return None if found is None else (found.due_on - TODAY).days


def test_nothing_is_due_where_nothing_was_set_up(ana: Patient, anas_prescription: Prescription) -> None:
    record_night(ana, ago(1))
    assert due_for(ana, TODAY, ahead=400) == []


def test_water_is_due_from_the_day_the_plant_came(ana: Patient) -> None:
    IntervalFactory(kind="bacteria", every_days=91, first_tests=0)
    MachineFactory(patient=ana, kind="water", name="Brookline RO", since=TODAY - 10 * DAY)
    found = due(ana, "bacteria")
    assert found == Due(
        "bacteria",
        TODAY - 10 * DAY,
        True,
        said=("none_since", {"machine": "Brookline RO"}),
        form="water",
        id="bacteria",
    )
    assert (found.label, found.words) == ("Water culture", "None yet since Brookline RO came.")
    WaterTestFactory(patient=ana, sampled_at=ago(11))  # of the plant before it
    assert days_to(ana, "bacteria") == -10
    WaterTestFactory(patient=ana, sampled_at=ago(4))
    found = due(ana, "bacteria")
    assert found
    assert (found.due_on, found.overdue, found.words) == (TODAY + 87 * DAY, False, "Last on 16 Mar 2026.")
    assert days_to(ana, "endotoxin") == -10


DENSE_CASES: list[tuple[str, dict[str, int], int, list[tuple[int, float]], int]] = [
    ("new: a month after the first", {}, 40, [(35, 10)], -5),
    ("and after the second", {}, 80, [(75, 10), (45, 10)], -15),
    ("three in a row, then by quarters", {}, 100, [(95, 10), (65, 10), (35, 10)], 91 - 35),
    ("one at the action level breaks the row", {}, 100, [(95, 10), (65, 10), (35, 60)], -5),
    ("three after it make it whole", {}, 160, [(155, 60), (95, 10), (65, 10), (35, 10)], 91 - 35),
    ("two samples of a day are one day", {}, 60, [(20, 10), (20.1, 10), (20.2, 10)], 30 - 20),
    ("more than 400 days ago is not new", {}, 401, [(35, 10)], 91 - 35),
    ("400 days ago is", {}, 400, [(35, 10)], 30 - 35),
    ("the unit's own number and spacing", {"first_tests": 2, "first_days": 14}, 60, [(10, 10)], 4),
    ("and it is enough", {"first_tests": 2, "first_days": 14}, 60, [(24, 10), (10, 10)], 81),
    ("the unit does not", {"first_tests": 0}, 60, [(10, 10)], 81),
    ("only the spacing is the unit's", {"first_days": 7}, 60, [(24, 10), (10, 10)], -3),
    ("never less often than else", {"first_days": 200}, 60, [(10, 10)], 81),
]


@pytest.mark.parametrize(("own", "since", "samples", "days"), [case[1:] for case in DENSE_CASES])
def test_a_new_water_treatment_is_sampled_denser_until_it_proved_clean(
    ana: Patient, own: dict[str, int], since: int, samples: list[tuple[float, float]], days: int
) -> None:
    MachineFactory(patient=ana, kind="water", since=TODAY - since * DAY)
    if own:
        IntervalFactory(kind="bacteria", every_days=91, **own)
    for back, value in samples:
        WaterTestFactory(patient=ana, sampled_at=ago(0) - back * DAY, value=value)
    assert days_to(ana, "bacteria") == days


def test_after_a_service_it_is_denser_again_and_says_how_far_it_is(ana: Patient) -> None:
    MachineFactory(patient=ana, kind="water", since=TODAY - 500 * DAY)
    for back in (200, 150, 100, 20):
        WaterTestFactory(patient=ana, sampled_at=ago(back))
    assert days_to(ana, "bacteria") == 91 - 20
    TaskDoneFactory(patient=ana, kind="water_service", done_at=ago(30))
    found = due(ana, "bacteria")
    assert found
    assert (found.due_on - TODAY).days == 30 - 20
    assert found.words == "Last on 28 Feb 2026; since 18 Feb 2026 1 of 3 in a row were clean."


def test_only_cultures_come_denser_at_first(nurse: User) -> None:
    row = Interval(kind="service", every_days=365, first_tests=3, set_by=nurse, set_at=ago(0))
    with pytest.raises(ValidationError, match="Only cultures and endotoxin tests come denser at first"):
        row.full_clean()
    row.kind, row.first_tests = "bacteria", 25
    with pytest.raises(ValidationError, match="must be between 0 and 24"):
        row.full_clean()


def test_a_test_taken_back_does_not_count(ana: Patient) -> None:
    IntervalFactory(kind="bacteria", every_days=91, first_tests=0)
    MachineFactory(patient=ana, kind="water", since=TODAY - 200 * DAY)
    WaterTestFactory(patient=ana, sampled_at=ago(100))
    WaterTestFactory(patient=ana, sampled_at=ago(4), taken_back="Another patient's.")
    assert days_to(ana, "bacteria") == 91 - 100


def test_the_unit_sets_how_often_and_a_patient_has_their_own(ana: Patient, ben: Patient) -> None:
    for person in (ana, ben):
        MachineFactory(patient=person, kind="water", since=TODAY - 200 * DAY)
        WaterTestFactory(patient=person, sampled_at=ago(10))
    IntervalFactory(kind="bacteria", every_days=30)
    IntervalFactory(kind="bacteria", every_days=14, patient=ana)
    assert (days_to(ana, "bacteria"), days_to(ben, "bacteria")) == (4, 20)
    IntervalFactory(kind="endotoxin", every_days=None, stopped=True, patient=ana)
    assert due(ana, "endotoxin") is None
    assert due(ben, "endotoxin")


def test_what_the_unit_stopped_is_never_due(ana: Patient) -> None:
    """Of every kind: also where days are still written down, and where nothing was ever done."""
    SupplyItemFactory()
    for kind in ("dialysis", "water"):
        MachineFactory(patient=ana, kind=kind, since=TODAY - 200 * DAY)
    before = {each.kind for each in due_for(ana, TODAY, ahead=400)}
    assert before >= {"bacteria", "endotoxin", "disinfection", "service", "supply_count"}
    for kind in before:
        IntervalFactory(kind=kind, every_days=7, stopped=True, patient=ana)
    assert due_for(ana, TODAY, ahead=400) == []


def test_a_panel_without_weeks_or_without_analytes_is_never_due(ana: Patient) -> None:
    BloodFactory(patient=ana, analyte="2823-3", drawn_at=ago(100))
    BloodsDueFactory(patient=ana, name="Without weeks", analytes=["2823-3"], every_weeks=None, stopped=True)
    BloodsDueFactory(patient=ana, name="Empty", analytes=[], every_weeks=4)
    assert due(ana, "bloods") is None


@pytest.mark.parametrize(("every", "days"), [(1, 2), (2, 4), (7, 14), (20, 40)])
def test_treatments_that_are_left_take_their_share_of_the_weeks(ana: Patient, every: int, days: int) -> None:
    """None done since: 20 of them at 3.5 a week take 40 days, and 7 two weeks."""
    PrescriptionFactory(patient=ana, days_per_week=3.5, weekdays=[])
    MachineFactory(patient=ana)
    IntervalFactory(kind="service", every_days=None, every_treatments=every, patient=ana)
    assert days_to(ana, "service") == days


@pytest.mark.parametrize(("days", "overdue"), [(7, False), (8, True)])
def test_due_today_is_not_overdue_yet(ana: Patient, days: int, overdue: bool) -> None:
    MachineFactory(patient=ana)
    TaskDoneFactory(patient=ana, done_at=ago(days))
    found = due(ana, "disinfection")
    assert found
    assert (found.overdue, found.form, found.id) == (overdue, "done", "disinfection")


def test_it_tells_a_week_ahead_and_the_earliest_first(ana: Patient) -> None:
    MachineFactory(patient=ana, since=TODAY - 364 * DAY)
    TaskDoneFactory(patient=ana, kind="disinfection", done_at=ago(9))
    TaskDoneFactory(patient=ana, kind="filter_change", done_at=ago(83))
    assert [(each.kind, each.overdue) for each in due_for(ana, TODAY)] == [("disinfection", True), ("service", False)]
    assert "filter_change" in [each.kind for each in due_for(ana, TODAY, ahead=8)]


def test_a_new_machine_starts_the_count_again(ana: Patient) -> None:
    TaskDoneFactory(patient=ana, kind="service", done_at=ago(300))
    MachineFactory(patient=ana, since=TODAY - 500 * DAY, until=TODAY - 20 * DAY)
    assert due(ana, "service") is None
    MachineFactory(patient=ana, since=TODAY - 20 * DAY)
    assert days_to(ana, "service") == 345


def test_a_record_that_notes_the_disinfection_counts(ana: Patient) -> None:
    MachineFactory(patient=ana)
    TaskDoneFactory(patient=ana, done_at=ago(9))
    record_night(ana, ago(3), disinfected=True)
    record_night(ana, ago(1), disinfected=False)
    assert days_to(ana, "disinfection") == 4


def test_by_treatments_or_days_whichever_comes_first(ana: Patient) -> None:
    PrescriptionFactory(patient=ana, days_per_week=3.5, weekdays=[])
    MachineFactory(patient=ana)
    IntervalFactory(kind="filter_change", every_days=None, every_treatments=3)
    TaskDoneFactory(patient=ana, kind="filter_change", done_at=ago(10))
    for days in (10.5, 8, 6):
        record_night(ana, ago(0) - timedelta(days=days))
    assert days_to(ana, "filter_change") == 2, "two of three were done since; one more is two days off"
    record_night(ana, ago(4))
    assert days_to(ana, "filter_change") == -4, "since the third"
    IntervalFactory(kind="filter_change", every_days=5, every_treatments=3, patient=ana)
    assert days_to(ana, "filter_change") == -5
    IntervalFactory(kind="service", every_days=None, every_treatments=7, patient=ana)
    assert days_to(ana, "service") == 6
    IntervalFactory(kind="carbon_change", every_days=None, every_treatments=20, patient=ana)
    MachineFactory(patient=ana, kind="water", since=TODAY - 7 * DAY)
    assert days_to(ana, "carbon_change") == 36, "two of twenty since it came; eighteen more take 36 days"


def test_supplies_are_counted_again_by_the_oldest_count(ana: Patient) -> None:
    one, two = SupplyItemFactory(name="Dialysers"), SupplyItemFactory(name="Lines")
    SupplyItemFactory(name="Old needles", in_use=False)
    found = due(ana, "supply_count")
    assert found
    assert (found.due_on, found.overdue, found.form) == (TODAY, False, "count")
    assert found.words == "Never counted: Dialysers, Lines."
    SupplyCountFactory(patient=ana, item=one, counted_at=ago(2))
    SupplyCountFactory(patient=ana, item=two, counted_at=ago(16))
    assert days_to(ana, "supply_count") == -2


def test_what_is_set_by_treatments_alone_has_no_day_where_only_days_are_counted(ana: Patient) -> None:
    MachineFactory(patient=ana, kind="water")
    SupplyItemFactory()
    for kind in ("supply_count", "bacteria", "endotoxin"):
        IntervalFactory(kind=kind, every_days=None, every_treatments=3, patient=ana)
        assert due(ana, kind) is None


def test_bloods_are_as_old_as_the_oldest_of_the_panel(ana: Patient, ben: Patient) -> None:
    BloodsDueFactory()  # urea and potassium, every 4 weeks
    BloodFactory(patient=ana, analyte="22664-7", drawn_at=ago(3))
    found = due(ana, "bloods")
    assert found
    assert (found.label, found.due_on, found.words) == (
        "Bloods: Monthly",
        ana.joined_on + 28 * DAY,
        "No result yet of Potassium.",
    )
    assert found.form is None
    BloodFactory(patient=ana, analyte="2823-3", drawn_at=ago(30))
    BloodFactory(patient=ana, analyte="2823-3", drawn_at=ago(60))
    found = due(ana, "bloods")
    assert found
    assert (found.label, found.due_on, found.words) == ("Bloods: Monthly", TODAY - 2 * DAY, "Last on 18 Feb 2026.")
    BloodsDueFactory(patient=ana, every_weeks=8)
    assert (days_to(ana, "bloods"), days_to(ben, "bloods")) == (26, -415)
    BloodsDueFactory(patient=ben, every_weeks=None, stopped=True)
    assert due(ben, "bloods") is None


@pytest.mark.parametrize(
    ("joined", "drawn", "due_on", "words"),
    [
        (10, {}, -18, "No result yet of Urea, Potassium."),
        (29, {}, 1, "No result yet of Urea, Potassium."),
        (300, {"22664-7": 200}, 272, "No result yet of Potassium."),
        (30, {"22664-7": 200}, 172, "Last on 1 Sep 2025."),
        (300, {"22664-7": 200, "2823-3": 200}, 172, "Last on 1 Sep 2025."),
    ],
)
def test_bloods_never_drawn_are_due_on_a_day_that_passes(
    ana: Patient, joined: int, drawn: dict[str, int], due_on: int, words: str
) -> None:
    """Four weeks after joining and not "today" every day; what was drawn long ago is not forgotten for it."""
    ana.joined_on = TODAY - joined * DAY
    BloodsDueFactory()
    for analyte, days in drawn.items():
        BloodFactory(patient=ana, analyte=analyte, drawn_at=ago(days))
    found = due(ana, "bloods")
    assert found
    assert (found.due_on, found.overdue, found.words) == (TODAY - due_on * DAY, due_on > 0, words)


def test_the_first_of_what_comes_round_sooner_is_due_sooner(ana: Patient) -> None:
    ana.joined_on = TODAY - 10 * DAY
    BloodsDueFactory(every_weeks=1)
    assert days_to(ana, "bloods") == -3


def test_training_is_due_again_for_whoever_still_helps(ana: Patient) -> None:
    helper = CarePartnerFactory(patient=ana, user__name="Rui")
    elsewhere = CarePartnerFactory(user__name="Nobody of Ana's")
    TrainingFactory(patient=ana, topic="Needles", valid_until=TODAY - DAY)
    TrainingFactory(patient=ana, topic="Needles", partner=helper.user, valid_until=TODAY + 3 * DAY)
    TrainingFactory(patient=ana, topic="Needles", partner=elsewhere.user, valid_until=TODAY - 9 * DAY)
    TrainingFactory(patient=ana, topic="Hands", valid_until=None)
    found = due_for(ana, TODAY)
    assert [(each.label, each.overdue, each.words.split(".")[0]) for each in found] == [
        ("Training: Needles", True, "Ana Verdemar"),
        ("Training: Needles", False, "Rui"),
    ]
    TrainingFactory(patient=ana, topic="Needles", done_on=TODAY, valid_until=TODAY + 365 * DAY)
    assert [each.overdue for each in due_for(ana, TODAY)] == [False]


def test_a_delivery_that_should_have_come_is_overdue(ana: Patient) -> None:
    late = DeliveryFactory(patient=ana, item__name="Dialysers", count=24, expected_on=TODAY - DAY)
    DeliveryFactory(patient=ana, expected_on=TODAY - DAY, arrived_at=ago(1))
    (found,) = [each for each in due_for(ana, TODAY) if each.kind == "delivery"]
    assert (found.label, found.words, found.overdue, found.id) == (
        "Delivery: Dialysers",
        "24 pieces.",
        True,
        str(late.pk),
    )


def test_treatments_and_deliveries_of_long_ago_are_not_read(ana: Patient) -> None:
    """400 days back from the end of today, and nothing of tomorrow."""
    item = SupplyItemFactory()
    for days in (400.6, 399.4, 3, -1):
        record_night(ana, ago(0) - timedelta(days=days))
        DeliveryFactory(patient=ana, item=item, expected_on=TODAY, arrived_at=ago(0) - timedelta(days=days))
    coming = DeliveryFactory(patient=ana, item=item, expected_on=TODAY + DAY)
    facts = facts_of(ana, TODAY)
    moments = [ago(0) - timedelta(days=days) for days in (399.4, 3)]
    assert [each.at for each in facts.treatments] == moments
    assert sorted(each.arrived_at for each in facts.deliveries if each.arrived_at) == moments
    assert [each for each in facts.deliveries if each.arrived_at is None] == [coming]


def test_what_is_noted_for_tomorrow_is_not_done_yet(ana: Patient) -> None:
    item, tomorrow = SupplyItemFactory(), ago(-1)
    WaterTestFactory(patient=ana, sampled_at=tomorrow)
    BloodFactory(patient=ana, analyte="2823-3", drawn_at=tomorrow)
    TrainingFactory(patient=ana, topic="Needles", done_on=tomorrow.date(), valid_until=ago(-2).date())
    SupplyCountFactory(patient=ana, item=item, counted_at=tomorrow)
    facts = facts_of(ana, TODAY)
    assert (facts.water, facts.drawn, facts.trainings, facts.counts) == ({}, {}, [], {})
    facts = facts_of(ana, TODAY + DAY)
    assert [len(each) for each in (facts.water, facts.drawn, facts.trainings, facts.counts)] == [1, 1, 1, 1]


def test_of_several_patients_each_by_the_clock_on_their_own_wall(ana: Patient, ben: Patient) -> None:
    """In the afternoon of today in Lisbon it is tomorrow in Auckland."""
    ben.time_zone = "Pacific/Auckland"
    ben.save()
    for patient in (ana, ben):
        TaskDoneFactory(patient=patient, done_at=at(TODAY, 15))
    assert [bool(facts.done) for facts in facts_of_many([ana, ben], TODAY)] == [True, False]
    assert [bool(facts.done) for facts in facts_of_many([ben, ana], TODAY + DAY)] == [True, True]


def test_treatments_a_week_are_those_of_what_is_in_force_today(ana: Patient) -> None:
    """One that ends in the course of today still holds today; one of tomorrow does not yet."""

    def ordered(version: int, since: datetime, until: datetime | None, often: float) -> None:
        PrescriptionFactory(
            patient=ana, version=version, in_force=DateTimeTZRange(since, until), days_per_week=often, weekdays=[]
        )

    ordered(1, ago(200), ago(100), 2)
    assert facts_of(ana, TODAY).per_week is None
    ordered(2, ago(100), ago(0), 3)
    assert [facts_of(ana, TODAY + days * DAY).per_week for days in (-1, 0, 1)] == [3, 3, None]
    ordered(3, ago(-1), None, 4)
    assert [facts_of(ana, TODAY + days * DAY).per_week for days in (-1, 0, 1)] == [3, 3, 4]


def test_machines_from_their_first_day_to_their_last(ana: Patient) -> None:
    new = MachineFactory(patient=ana, name="New", since=TODAY, until=TODAY + DAY)
    old = MachineFactory(patient=ana, name="Old", since=TODAY - 9 * DAY, until=TODAY)
    found = [facts_of(ana, TODAY + days * DAY).machines.get("dialysis") for days in (-10, -9, -1, 0, 1, 2)]
    assert found == [None, old, old, new, new, None]


def test_the_next_delivery_is_the_one_expected_first(ana: Patient) -> None:
    item = SupplyItemFactory()
    later = DeliveryFactory(patient=ana, item=item, expected_on=TODAY + 9 * DAY)
    first = DeliveryFactory(patient=ana, item=item, expected_on=TODAY + 2 * DAY)
    assert only(ana).expected == first
    assert facts_of(ana, TODAY).deliveries == [first, later]


def test_what_was_taken_back_was_never_done(ana: Patient) -> None:
    item, back = SupplyItemFactory(), {"patient": ana, "taken_back": "Another patient's."}
    TrainingFactory(topic="Needles", valid_until=TODAY - DAY, **back)
    SupplyCountFactory(item=item, counted_at=ago(2), **back)
    DeliveryFactory(item=item, expected_on=TODAY - DAY, **back)
    facts = facts_of(ana, TODAY)
    assert (facts.trainings, facts.counts, facts.deliveries) == ([], {}, [])


def test_of_two_counts_of_one_moment_the_one_entered_last(ana: Patient) -> None:
    item = SupplyItemFactory()
    for count, entered in ((5, ago(1)), (7, ago(0)), (6, ago(2))):
        SupplyCountFactory(patient=ana, item=item, counted_at=ago(3), entered_at=entered, count=count)
    assert facts_of(ana, TODAY).counts[item.pk].count == 7


def test_the_day_is_the_one_on_the_patients_wall(ana: Patient) -> None:
    ana.time_zone = "Pacific/Auckland"  # 13 hours ahead
    ana.save()
    MachineFactory(patient=ana)
    TaskDoneFactory(patient=ana, done_at=at(TODAY - DAY, 20))  # which is today there
    assert days_to(ana, "disinfection") == 7
    TaskDoneFactory(patient=ana, done_at=at(TODAY, 20))  # tomorrow there: not done yet
    assert days_to(ana, "disinfection") == 7


@pytest.mark.parametrize(
    ("have", "per_treatment", "per_week", "days"),
    [
        (14, 1, 7, 14),  # one a day
        (13, 2, 3.5, 12),  # six whole treatments, every other day
        (3, 0.1, 3, 70),  # a pack for ten treatments: thirty
        (1, 2, 3, 0),
        (0, 1, 5, 0),
        (5, 0, 3, None),
    ],
)
def test_days_of_cover_by_hand(have: float, per_treatment: float, per_week: float, days: int | None) -> None:
    found = days_of_cover(have=have, per_treatment=per_treatment, treatments_per_week=per_week)
    assert found == days


def only(patient: Patient) -> Stock:
    (found,) = stock_for(patient, TODAY)
    return found


def test_stock_is_the_count_and_what_came_less_what_was_used(ana: Patient) -> None:
    PrescriptionFactory(patient=ana, days_per_week=3, weekdays=[])
    item = SupplyItemFactory(name="Needle pairs", per_treatment=1, cover_days=21)
    SupplyCountFactory(patient=ana, item=item, counted_at=ago(20), count=99)
    SupplyCountFactory(patient=ana, item=item, counted_at=ago(10), count=10)
    SupplyCountFactory(patient=ana, item=item, counted_at=ago(1), count=999, taken_back="Miscounted.")
    for before in (10, 11):
        record_night(ana, ago(before), used_stock=[{"item": item.pk, "count": 9}])
    record_night(ana, ago(8), used_stock=[{"item": item.pk, "count": 3}])
    record_night(ana, ago(6))
    record_night(ana, ago(4), used_stock=[{"item": SupplyItemFactory(in_use=False).pk, "count": 1}])
    DeliveryFactory(patient=ana, item=item, count=6, arrived_at=ago(5), arrived=4)
    for before in (10, 12):
        DeliveryFactory(patient=ana, item=item, count=50, arrived_at=ago(before))
    coming = DeliveryFactory(patient=ana, item=item, count=24, expected_on=TODAY + 2 * DAY)
    found = only(ana)
    assert (found.have, found.assumed) == (10 + 4 - 3 - 1 - 0, 1)
    assert (found.days, found.short, found.runs_out_on) == (23, False, TODAY + 23 * DAY)
    assert (found.expected, found.counted_at) == (coming, ago(10))
    item.cover_days = 24
    item.save()
    assert only(ana).short


def test_more_used_than_was_there_is_none_left(ana: Patient) -> None:
    PrescriptionFactory(patient=ana)
    item = SupplyItemFactory(per_treatment=2)
    SupplyCountFactory(patient=ana, item=item, counted_at=ago(5), count=1)
    record_night(ana, ago(3))
    assert (only(ana).have, only(ana).days) == (0, 0)


def test_cover_that_nobody_can_know_has_its_reason(ana: Patient) -> None:
    item = SupplyItemFactory()
    assert (only(ana).have, only(ana).days, only(ana).why) == (None, None, "never counted")
    SupplyCountFactory(patient=ana, item=item, counted_at=ago(5), count=8)
    assert (only(ana).have, only(ana).days, only(ana).why) == (8, None, "no prescription is in force")
    assert not only(ana).short
    PrescriptionFactory(patient=ana)
    assert only(ana).days == 18
    item.per_treatment = 0
    item.save()
    assert only(ana).why == "the list does not say how many a treatment uses"


def test_the_phone_gets_what_can_be_counted(ana: Patient) -> None:
    item = SupplyItemFactory(name="Lines", unit_word="sets", per_treatment=1)
    SupplyCountFactory(patient=ana, item=item, counted_at=ago(5), count=8)
    assert for_kit(stock_for(ana, TODAY)) == [
        {
            "id": item.pk,
            "name": "Lines",
            "unit": "sets",
            "per_treatment": 1,
            "have": 8,
            "counted_at": ago(5).isoformat(),
        }
    ]


def test_a_due_item_as_the_phone_gets_it() -> None:
    found = Due("bacteria", TODAY, False, said=("last", {"day": "2026-01-01"}), form="water", id="bacteria")
    assert found.as_json() == {
        "kind": "bacteria",
        "label": "Water culture",
        "due_on": "2026-03-20",
        "overdue": False,
        "words": "Last on 1 Jan 2026.",
        "form": "water",
        "id": "bacteria",
    }


def _full(patient: Patient, count: int) -> None:
    PrescriptionFactory(patient=patient)
    MachineFactory(patient=patient)
    MachineFactory(patient=patient, kind="water")
    for index in range(count):
        WaterTestFactory(patient=patient, sampled_at=ago(index + 1))
        TaskDoneFactory(patient=patient, done_at=ago(index + 1))
        SupplyCountFactory(patient=patient, counted_at=ago(index + 1))
        DeliveryFactory(patient=patient)
        TrainingFactory(patient=patient, topic=f"Topic {index}")
        BloodFactory(patient=patient, drawn_at=ago(index + 1))
        record_night(patient, ago(index + 1))


def _urine(person: Patient, by: User, days: int, volume_ml: float) -> None:
    ended = ago(days)
    UrineCollection.objects.create(
        patient=person, began_at=ended - DAY, ended_at=ended, volume_ml=volume_ml, entered_by=by, entered_at=ended
    )


def test_urine_is_collected_each_quarter_while_there_is_some(ana: Patient, nurse: User) -> None:
    """A quarter is 91 days here; under 100 mL a day nobody is asked any more."""
    assert due(ana, "urine") is None
    _urine(ana, nurse, 90, 800)
    assert days_to(ana, "urine") == 1
    _urine(ana, nurse, 10, 90)
    assert due(ana, "urine") is None


def test_who_is_treated_less_than_three_times_a_week_owes_a_collection(ana: Patient) -> None:
    PrescriptionFactory(patient=ana, days_per_week=2, weekdays=[1, 4])
    assert days_to(ana, "urine") == -415


@pytest.mark.parametrize("count", [1, 5])
def test_it_asks_a_fixed_number_of_times(
    ana: Patient, ben: Patient, count: int, django_assert_num_queries: Any
) -> None:
    for person in (ana, ben)[:count]:
        _full(person, count)
    with django_assert_num_queries(17):
        found = [due_of(each) for each in facts_of_many([ana, ben][:count], TODAY)]
    assert all(found)


def test_many_at_once_are_as_each_alone(ana: Patient, ben: Patient) -> None:
    _full(ana, 2)
    _full(ben, 1)
    together = [due_of(each) for each in facts_of_many([ben, ana], TODAY)]
    assert together == [due_for(ben, TODAY), due_for(ana, TODAY)]
    assert facts_of(ana, TODAY).patient == ana


def test_how_often_in_words() -> None:
    assert Every(days=7).words == "every 7 days"
    assert Every(days=7, treatments=3).words == "every 7 days or 3 treatments"
    assert Every(stopped=True).words == "not done here"
    assert USUAL["bacteria"].words == (
        "every 91 days; new or after service every 30 days until 3 in a row are clean (common practice)"
    )
    assert Every(days=91, dense=Dense(tests=0, days=30)).words == "every 91 days"
    assert USUAL["access_exam"].words == "not regularly, only after an infection of the access"
    assert {kind for kind, each in USUAL.items() if each.stopped} == {"access_exam"}
    assert all(each.usual and each.words.startswith("every ") for each in USUAL.values() if not each.stopped)


def test_of_nobody_there_is_nothing() -> None:
    assert facts_of_many([], TODAY) == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_topic_that_is_asked_for_is_kept_by_its_code_in_whatever_language_it_is_typed(
    ana: Patient, nurse: User, language: str
) -> None:
    with override(language):
        typed = words_of(Training.ACCESS_CARE)
        row = Training(patient=ana, topic=f" {typed.upper()} ", done_on=TODAY, trained_by="Kim")
        note(row, by=nurse, at=ago(0))
        assert (row.topic, words_of(row.topic)) == (Training.ACCESS_CARE, typed)
    own = Training(patient=ana, topic="Holiday abroad", done_on=TODAY, trained_by="Kim")
    note(own, by=nurse, at=ago(0))
    assert own.topic == "Holiday abroad"


def test_the_upgrade_gives_codes_to_what_was_noted_in_words(ana: Patient) -> None:
    old = TrainingFactory(patient=ana, topic="Treatment at home under supervision", done_on=TODAY, valid_until=None)
    other = TrainingFactory(patient=ana, topic="Needles", done_on=TODAY, valid_until=None)
    import_module("sessions.migrations.0026_topics_asked_for_have_codes").give_codes(apps, None)
    assert Training.objects.get(pk=old.pk).topic == Training.SUPERVISED
    assert Training.objects.get(pk=other.pk).topic == "Needles"
