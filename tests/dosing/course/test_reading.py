"""The course holds what was done: broken off, twice written, not entered, away, by which way the fluid is known."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from dosing.science.course import AbsenceKind, ClearanceBy, Counts, DeliveredCourse, SampleWay
from dosing.science.course_fluid import FluidBy
from dosing.services.course.reading import PatientCourses, course_of
from sessions.models import AccessSite, HospitalStay, Patient, Prescription, UrineCollection
from tests.factories import A_NIGHT, AccessFactory, BloodFactory, PrescriptionFactory, UserFactory, record_night

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def course(patient: Patient, *, days: float = 14, until: float = 1) -> DeliveredCourse:
    """Of so many days to so many days after the night of 2 March, a Monday."""
    return course_of(patient, A_NIGHT + (until - days) * DAY, A_NIGHT + until * DAY)


def test_a_treatment_as_it_was(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> None:
    record = record_night(ana, machine_ktv=1.3)
    found = course(ana).treatments[0]
    assert (found.key, found.day, found.minutes, found.at_flow) == (str(record.pk), date(2026, 3, 2), 240, 240)
    assert (found.blood_flow, found.dialysate_flow, found.machine_ktv) == (300, 500, 1.3)
    assert (found.access, found.handed_over, found.counts) == ("fistula", True, Counts.FULL)
    assert found.clearance
    assert found.clearance.by == ClearanceBy.DIALYSER
    # By hand: KoA 1000 of the sheet is 800 in the patient; 285 of 300 mL/min are pumped, 245.1 of them water; Z is
    # exp(800/245.1 (1 - 245.1/500)) = 5.280, K 245.1 (Z - 1)/(Z - 0.4902) = 219.0, with 9.58 mL/min of UF 220.0.
    assert found.clearance.ml_min == pytest.approx(220.0, abs=0.1)
    assert (found.fluid.by, found.fluid.taken_off, found.fluid.net) == (FluidBy.TOTAL, 2.3, pytest.approx(2.0))


def test_minutes_without_flow_do_not_clear(ana: Patient, anas_prescription: Prescription) -> None:
    record_night(ana, blood_processed_l=54.0)
    assert course(ana).treatments[0].at_flow == pytest.approx(180)


def test_a_record_without_flows_clears_as_the_machine_says_else_as_prescribed(
    ana: Patient, anas_prescription: Prescription
) -> None:
    record_night(ana, A_NIGHT - 2 * DAY, readings=0)
    record_night(ana, readings=0, machine_ktv=1.3)
    ways = [each.clearance.by for each in course(ana).treatments if each.clearance]
    assert ways == [ClearanceBy.PRESCRIBED, ClearanceBy.MACHINE]


def test_broken_off_short_running_and_twice(ana: Patient, anas_prescription: Prescription) -> None:
    record_night(ana, A_NIGHT - 7 * DAY, minutes=12)
    record_night(ana, A_NIGHT - 6.5 * DAY)
    record_night(ana, A_NIGHT - 6.45 * DAY, minutes=200)
    record_night(ana, A_NIGHT - 4 * DAY, minutes=120)
    record_night(ana, A_NIGHT, status="open", ended_at=None)
    found = course(ana)
    kinds = [each.counts for each in found.treatments]
    assert kinds == [Counts.BROKEN_OFF, Counts.FULL, Counts.TWICE, Counts.SHORT, Counts.RUNNING]
    assert len(found.counted) == 3
    twin = found.treatments[2]
    assert found.before(twin) is None, "another record of the same treatment is not the one before"
    assert found.before(found.treatments[4]) == found.treatments[3]


def test_what_was_due_and_is_not_there(ana: Patient, anas_prescription: Prescription) -> None:
    for days in (-14, -12, -7, -5, 0):
        record_night(ana, A_NIGHT + days * DAY)
    assert course(ana, days=15).missing == (date(2026, 2, 20), date(2026, 2, 27))


def test_nobody_expects_a_treatment_before_joining_in_hospital_and_after_leaving(
    ana: Patient, anas_prescription: Prescription
) -> None:
    Patient.objects.filter(pk=ana.pk).update(joined_on=date(2026, 2, 18), left_on=date(2026, 3, 2))
    ana.refresh_from_db()
    HospitalStay.objects.create(
        patient=ana, admitted_on=date(2026, 2, 21), discharged_on=date(2026, 2, 24), entered_by=UserFactory(),
        entered_at=A_NIGHT,
    )  # fmt: skip
    record_night(ana, A_NIGHT - 12 * DAY)
    found = course(ana, days=21)
    assert [each.kind for each in found.absences] == [AbsenceKind.BEFORE, AbsenceKind.HOSPITAL, AbsenceKind.AFTER]
    assert found.missing == (date(2026, 2, 20), date(2026, 2, 25), date(2026, 2, 27))
    assert len(found.in_treatment(date(2026, 2, 1), date(2026, 3, 31))) == 8


def test_the_access_is_the_one_that_was_needled_else_the_newest_in_use(
    ana: Patient, anas_sites: list[AccessSite]
) -> None:
    """A catheter that bridged three weeks in January and is given up since."""
    AccessFactory(patient=ana, kind="catheter", created_on=date(2026, 1, 5), abandoned_on=date(2026, 1, 26))
    rows = [{"site": anas_sites[0].pk, "use": "arterial"}]
    needled = record_night(ana, A_NIGHT - 50 * DAY, sites=rows)
    bridged, since = record_night(ana, A_NIGHT - 49 * DAY), record_night(ana, A_NIGHT)
    kinds = {each.key: each.access for each in course(ana, days=60).treatments}
    assert [kinds[str(each.pk)] for each in (needled, bridged, since)] == ["fistula", "catheter", "fistula"]


def test_fluid_by_total_by_weights_by_a_late_reading_and_not_by_an_early_one(ana: Patient) -> None:
    nothing = {"uf_removed_l": None, "post_weight_kg": None}
    late = [{"at": (A_NIGHT - 2 * DAY + timedelta(minutes=230)).isoformat(), "uf_volume_l": 2.2}]
    early = [{"at": (A_NIGHT + timedelta(minutes=10)).isoformat(), "uf_volume_l": 0.02}]
    record_night(ana, A_NIGHT - 4 * DAY, uf_removed_l=None, intake_l=0.2)
    record_night(ana, A_NIGHT - 2 * DAY, readings=late, **nothing)
    record_night(ana, A_NIGHT, readings=early, minutes=423, **nothing)
    found = [(each.fluid.by, each.fluid.taken_off) for each in course(ana).treatments]
    assert found == [(FluidBy.WEIGHTS, pytest.approx(2.5)), (FluidBy.READINGS, 2.2), (None, None)]


def test_saline_counts_among_what_came_in(ana: Patient) -> None:
    event = {"at": (A_NIGHT + timedelta(hours=1)).isoformat(), "kind": "cramp", "note": "", "saline_l": 0.2}
    record_night(ana, events=[event])
    assert course(ana).treatments[0].fluid.net == pytest.approx(1.8)


def test_urea_pairs_with_way_and_time_of_the_sample(ana: Patient) -> None:
    record = record_night(ana)
    end = record.ended_at
    assert end is not None
    BloodFactory(patient=ana, treatment=record, value=25)
    drawn = end + timedelta(minutes=4)
    BloodFactory(patient=ana, treatment=record, value=8, timing="post", post_method="stop_dialysate", drawn_at=drawn)
    pair = course(ana).pair_of(str(record.pk))
    assert pair
    assert (pair.pre, pair.post, pair.way, pair.minutes_after) == (25, 8, SampleWay.STOP_DIALYSATE, 4)
    assert pair.protected


def test_the_clearance_of_the_kidney_ages(ana: Patient) -> None:
    """720 min of 300 mL with 150 mmol/L between samples of 12 and 20: 3.906 mL/min; a third is lost in a year."""
    began, ended = A_NIGHT - 20 * DAY, A_NIGHT - 19.5 * DAY
    for moment, value in ((began, 12), (ended, 20)):
        BloodFactory(patient=ana, value=value, drawn_at=moment, timing="apart")
    UrineCollection.objects.create(
        patient=ana, began_at=began, ended_at=ended, volume_ml=300, urea_mmol_l=150, entered_by=UserFactory(),
        entered_at=A_NIGHT,
    )  # fmt: skip
    found = course(ana, days=30)
    left = found.kidney_at(A_NIGHT)
    assert left
    assert left.collection.clearance == pytest.approx(3.906, abs=0.001)
    assert (left.days, left.clearance) == (19.5, pytest.approx(3.906 * (2 / 3) ** (19.5 / 365.25), abs=0.001))
    assert found.kidney_at(A_NIGHT + 200 * DAY) is None
    assert found.kidney_at(began) is None


def test_a_course_out_of_more_rows_is_the_one_read_alone(
    ana: Patient, ben: Patient, anas_prescription: Prescription, django_assert_num_queries: Any
) -> None:
    """Prescriptions, stays, bloods and urine before, in and after each stretch; the rows are read once."""
    for days in (-200, *range(-60, -38, 2), *range(-30, 40, 2)):
        record = record_night(ana, A_NIGHT + days * DAY)
        if days % 20 == 0:
            BloodFactory(patient=ana, treatment=record, value=25, drawn_at=record.started_at)
            BloodFactory(patient=ana, treatment=record, value=9, drawn_at=record.ended_at, timing="post")
            _collected(ana, record.started_at)
    record_night(ben, A_NIGHT)
    for first, last in ((-50, -45), (-21, -18), (10, None)):
        _stayed(ana, first, last)
    Prescription.objects.filter(pk=anas_prescription.pk).update(
        in_force=DateTimeTZRange(A_NIGHT - 300 * DAY, A_NIGHT - 22 * DAY)
    )
    PrescriptionFactory(patient=ana, version=2, in_force=DateTimeTZRange(A_NIGHT - 22 * DAY, None), weekdays=[])
    stretches = [(A_NIGHT + first * DAY, A_NIGHT + last * DAY) for first, last in ((-60, -10), (-20, 1), (-1, 30))]
    alone = [course_of(ana, *each) for each in stretches]
    courses = PatientCourses(ana)
    with django_assert_num_queries(12):
        courses.read(A_NIGHT - 100 * DAY, A_NIGHT + 40 * DAY)
        found = [courses.between(*each) for each in stretches]
    assert found == alone
    assert all(each.pairs and each.collections for each in found)
    assert found[0].missing
    assert [[len(each.orders), len(each.absences)] for each in found] == [[2, 2], [1, 1], [1, 1]]


def test_rows_are_read_again_only_for_what_lies_outside(ana: Patient, django_assert_num_queries: Any) -> None:
    record_night(ana)
    courses = PatientCourses(ana)
    courses.read(A_NIGHT - 7 * DAY, A_NIGHT + DAY)
    with django_assert_num_queries(0):
        assert len(courses.between(A_NIGHT - DAY, A_NIGHT + DAY).treatments) == 1
    before = record_night(ana, A_NIGHT - 30 * DAY)
    assert courses.between(A_NIGHT - 31 * DAY, A_NIGHT).treatments[0].key == str(before.pk)
    with django_assert_num_queries(0):
        assert len(courses.between(A_NIGHT - 31 * DAY, A_NIGHT + DAY).treatments) == 2


def _collected(ana: Patient, ended: datetime) -> None:
    UrineCollection.objects.create(
        patient=ana, began_at=ended - DAY, ended_at=ended, volume_ml=500, urea_mmol_l=140, entered_by=UserFactory(),
        entered_at=ended,
    )  # fmt: skip


def _stayed(ana: Patient, first: int, last: int | None) -> None:
    until = None if last is None else (A_NIGHT + last * DAY).date()
    HospitalStay.objects.create(
        patient=ana, admitted_on=(A_NIGHT + first * DAY).date(), discharged_on=until, entered_by=UserFactory(),
        entered_at=A_NIGHT,
    )  # fmt: skip
