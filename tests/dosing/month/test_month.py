"""A patient's month: its numbers against sums done by hand, what is missing said, and when it is computed again."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from dosing.models import PatientMonth
from dosing.receivers import on_prescription
from dosing.services.month import computing
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import (
    add_missing,
    compute_month,
    compute_some,
    mark_stale,
    months_between,
    waiting,
)
from dosing.services.month.review_sheet import review_sheet
from dosing.services.month.working import QUANTITIES
from dosing.services.night.computing import compute
from dosing.services.numbers.reasons import reason_words
from sessions.facts.choices import Analyte, PostSampleMethod
from sessions.facts.choices_surroundings import WaterKind
from sessions.models import Patient, Prescription, UrineCollection
from sessions.services.bloods import enter_bloods
from tests.crowd import ours
from tests.dosing.made_up import english
from tests.factories import BloodFactory, PrescriptionFactory, WaterTestFactory, record_night

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)
DAYS = (0, 2, 4, 7, 9, 11, 14, 16, 18, 21, 23, 25, 28)
NOW = datetime(2026, 4, 2, 9, tzinfo=UTC)


@pytest.fixture
def month(ana: Patient) -> Patient:
    """Thirteen treatments of four hours in March, 2.3 L off each, under a prescription of three a week."""
    PrescriptionFactory(patient=ana, version=1, days_per_week=3, weekdays=[], minutes=240, uf_rate_limit_ml_kg_h=8)
    for index, day in enumerate(DAYS):
        start = datetime(2026, 3, 2, 20, tzinfo=UTC) + timedelta(days=day)
        compute(record_night(ana, start, pre_weight_kg=72.3, post_weight_kg=70 + index / 10), at=NOW)
    return ana


def numbers(patient: Patient, at: datetime = NOW) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = compute_month(patient, MARCH, at=at).numbers
    return found


def test_counts_and_means_are_those_done_by_hand(month: Patient) -> None:
    found = numbers(month)
    asked = pytest.approx(3 * 31 / 7, abs=0.05)
    assert found["nights"]["inputs"] == {"delivered": 13, "prescribed": asked, "days": 31}
    assert found["nights"]["value"] == pytest.approx(13 / (3 * 31 / 7))
    assert found["time"]["value"] == 1
    assert found["weekly_hours"]["value"] == pytest.approx(13 * 4 / 31 * 7)
    rates = [1000 * 2.3 / 4 / (70 + index / 10) for index in range(13)]
    assert found["uf_rate_mean"]["value"] == pytest.approx(sum(rates) / 13)
    assert found["uf_rate_highest"]["value"] == pytest.approx(max(rates))
    assert found["uf_over"]["value"] == pytest.approx(sum(round(rate, 1) > 8 for rate in rates) / 13)
    assert found["pre_systolic_mean"]["value"] == 140


def test_what_was_prescribed_is_what_was_in_force_at_each_treatment(month: Patient) -> None:
    """Another length is signed on the last day of the month: the thirteen treatments were prescribed at 240 min."""
    signed_at = datetime(2026, 3, 31, 12, tzinfo=UTC)
    first = month.prescriptions.get()
    first.in_force = DateTimeTZRange(first.in_force.lower, signed_at)
    first.save(update_fields=["in_force"])
    PrescriptionFactory(patient=month, version=2, minutes=300, in_force=DateTimeTZRange(signed_at, None))
    found = numbers(month)
    assert found["prescribed_minutes"]["value"] == 240
    assert found["prescribed_minutes"]["inputs"]["prescribed_each"] == [240] * 13
    one, two = review_sheet(month, MARCH, at=NOW).orders
    assert "Prescription 1, from" in one
    assert "Length: 240 min." in one
    assert "Prescription 2, since 31 March 2026." in two
    assert "240" in two
    assert "300" in two


def test_one_prescription_of_a_month_is_not_listed_twice(month: Patient) -> None:
    assert review_sheet(month, MARCH, at=NOW).orders == []


def test_the_weekly_dose_is_that_of_the_published_equation(month: Patient) -> None:
    record = month.treatments.order_by("-started_at").first()
    assert record
    BloodFactory(patient=month, treatment=record, value=22, drawn_at=record.started_at, timing="pre")
    method = {"timing": "post", "post_method": PostSampleMethod.SLOW_FLOW}
    BloodFactory(patient=month, treatment=record, value=6.5, drawn_at=record.ended_at, **method)
    compute(record, at=NOW)
    found = numbers(month)
    week = found["measured_week"]
    assert week["inputs"]["weekly_uf_l"] == pytest.approx(13 * 2.0 / 31 * 7), "net of 0.3 L of rinse-back"
    by_hand = week_by_hand(found["single_pool_ktv_last"]["value"], found["npcr"]["inputs"]["volume_l"], kidney=0)
    assert week["value"] == pytest.approx(by_hand)
    assert found["measured_week_kidney"]["value"] == pytest.approx(by_hand), "no urine was collected"
    assert found["single_pool_ktv_last"]["at"] == record.started_at.isoformat()
    assert found["modelled_week"]["value"] == pytest.approx(week["value"], rel=0.15), "two roads to the same week"
    assert found["npcr"]["value"] is not None


def week_by_hand(single_pool: float, volume: float, kidney: float) -> float:
    """Daugirdas 2010 over Leypoldt 2004 for the fixture's month: 13 treatments of 240 min, 2.0 L net each, in 31 days.

    kidney: clearance of plasma water [mL/min].
    """
    per_week, minutes, weekly_uf = 13 / 31 * 7, 240, 13 * 2.0 / 31 * 7
    equilibrated = single_pool * minutes / (minutes + 30.7)
    left = 1 - math.exp(-equilibrated)
    fixed = 10080 * left / minutes / (left / equilibrated + 10080 / (per_week * minutes) - 1)
    spared = 0.974 / (single_pool + 1.62) + 0.4
    return fixed / (1 - 0.74 * weekly_uf / (per_week * volume)) + kidney * spared * 10.080 / volume


def test_the_kidney_is_added_where_urine_was_collected_and_only_there(month: Patient) -> None:
    """44 h of urine from the end of one treatment to the next: U V/(t C), 0.93 of it in plasma water, aged."""
    last, before = month.treatments.order_by("-started_at")[:2]
    assert before.ended_at
    method = {"timing": "post", "post_method": PostSampleMethod.SLOW_FLOW}
    for record, pre, post in ((before, 21, 6), (last, 22, 6.5)):
        BloodFactory(patient=month, treatment=record, value=pre, drawn_at=record.started_at, timing="pre")
        BloodFactory(patient=month, treatment=record, value=post, drawn_at=record.ended_at, **method)
        compute(record, at=NOW)
    span = {"began_at": before.ended_at, "ended_at": last.started_at}
    UrineCollection.objects.create(
        patient=month, **span, volume_ml=1100, urea_mmol_l=110, entered_by=month.account, entered_at=NOW
    )
    minutes = (last.started_at - before.ended_at).total_seconds() / 60
    found = numbers(month)
    single_pool, volume = found["single_pool_ktv_last"]["value"], found["npcr"]["inputs"]["volume_l"]
    days = found["kidney_age"]["value"]
    assert 0 < days < 3
    kidney = 110 * 1100 / minutes / ((6 + 22) / 2) * 0.93 * (2 / 3) ** (days / 365.25)
    assert found["measured_week"]["value"] == pytest.approx(week_by_hand(single_pool, volume, kidney=0))
    assert found["measured_week_kidney"]["value"] == pytest.approx(week_by_hand(single_pool, volume, kidney))


def test_a_month_of_seven_days_has_a_week_and_one_of_six_has_none(month: Patient) -> None:
    record = month.treatments.order_by("started_at")[1]
    BloodFactory(patient=month, treatment=record, value=22, drawn_at=record.started_at, timing="pre")
    method = {"timing": "post", "post_method": PostSampleMethod.SLOW_FLOW}
    BloodFactory(patient=month, treatment=record, value=6.5, drawn_at=record.ended_at, **method)
    compute(record, at=NOW)
    seventh = datetime(2026, 3, 8, tzinfo=UTC)  # midnight where the patient lives
    assert numbers(month, seventh - timedelta(minutes=1))["measured_week"]["value"] is None
    assert numbers(month, seventh)["measured_week"]["value"] is not None


def test_a_number_taken_over_from_a_treatment_leads_to_it(month: Patient, nurse_client: Any) -> None:
    record = month.treatments.order_by("-started_at")[1]
    BloodFactory(patient=month, treatment=record, value=22, drawn_at=record.started_at, timing="pre")
    method = {"timing": "post", "post_method": PostSampleMethod.SLOW_FLOW}
    BloodFactory(patient=month, treatment=record, value=6.5, drawn_at=record.ended_at, **method)
    compute(record, at=NOW)
    numbers(month)
    for key, own in (("urr_last", "urr"), ("single_pool_ktv_last", "single_pool_ktv")):
        page = nurse_client.get(f"/patients/{month.pk}/months/2026-03/{key}/").content.decode()
        assert f'href="/nights/{record.pk}/numbers/{own}/"' in page
    assert "/nights/" not in nurse_client.get(f"/patients/{month.pk}/months/2026-03/nights/").content.decode()


def test_what_is_missing_is_said(month: Patient) -> None:
    found = numbers(month)
    assert english(found["measured_week"]["why"]) == "no single-pool Kt/V was measured this month"
    assert english(found["potassium"]["why"]) == "no result in half a year"
    assert english(found["water"]["why"]) == "no water test in three months that a limit is held for"
    assert all(each["value"] is not None or each["why"] for each in found.values())


def test_an_older_result_is_not_taken_for_one_of_this_month(month: Patient) -> None:
    BloodFactory(patient=month, analyte="2823-3", value=5.1, drawn_at=datetime(2026, 2, 20, 9, tzinfo=UTC))
    potassium = numbers(month)["potassium"]
    assert potassium["value"] is None
    words = "not measured this month; 5.1 mmol/L on 20 February 2026"
    assert reason_words(potassium["why"]) == words, "a day stays right whenever it is read"


def test_what_is_reckoned_from_older_results_is_told_as_old(month: Patient) -> None:
    """Payne: 2.33 + 0.02 * (40 - 41) = 2.31."""
    drawn = datetime(2026, 2, 20, 9, tzinfo=UTC)
    for code, value in ((Analyte.CALCIUM, 2.33), (Analyte.ALBUMIN, 41), (Analyte.POTASSIUM, 5.1)):
        BloodFactory(patient=month, analyte=code, value=value, drawn_at=drawn)
    found = numbers(month)
    calcium, gradient = found["corrected_calcium"], found["potassium_gradient"]
    words = "not measured this month; 2.31 mmol/L on 20 February 2026"
    assert (calcium["value"], reason_words(calcium["why"])) == (None, words)
    assert (gradient["value"], english(gradient["why"])) == (None, "potassium was not measured this month")


def test_a_result_after_a_treatment_is_not_the_one_of_the_month(month: Patient) -> None:
    BloodFactory(patient=month, analyte="2823-3", value=5.6, drawn_at=datetime(2026, 3, 10, 9, tzinfo=UTC))
    BloodFactory(
        patient=month, analyte="2823-3", value=3.4, drawn_at=datetime(2026, 3, 11, 9, tzinfo=UTC), timing="post"
    )
    assert numbers(month)["potassium"]["value"] == 5.6


def test_a_month_without_anything_says_so_everywhere(ana: Patient) -> None:
    found = numbers(ana)
    assert {key for key, each in found.items() if each["value"] is not None} <= {"weekly_hours"}
    assert set(found) == set(MONTH_NUMBERS)


def test_news_makes_the_months_wait_and_computing_lets_them_rest(month: Patient, nurse: Any) -> None:
    while compute_some(at=timezone.now()):
        pass
    assert not waiting(timezone.now()).exists()
    drawn = datetime(2026, 3, 10, 9, tzinfo=UTC)
    result = BloodFactory.build(patient=month, analyte="2823-3", value=5.6, drawn_at=drawn, entered_by=nurse)
    enter_bloods(results=[result], by=nurse, at=NOW)
    assert waiting(timezone.now()).earliest("month").month == MARCH
    while compute_some(at=timezone.now()):
        pass
    assert PatientMonth.objects.get(patient=month, month=MARCH).numbers["potassium"]["value"] == 5.6


def test_another_science_makes_every_month_wait(month: Patient) -> None:
    compute_month(month, MARCH, at=NOW)
    ours(PatientMonth).filter(month=MARCH).update(science_version="0")
    assert ours(PatientMonth).get(month=MARCH) in waiting(timezone.now())


def test_no_month_before_the_patient_joined(ana: Patient) -> None:
    ana.joined_on = date(2026, 2, 14)
    mark_stale(ana, datetime(2025, 11, 1, tzinfo=UTC), until=NOW)
    assert sorted(ours(PatientMonth).values_list("month", flat=True)) == months_between(
        date(2026, 2, 1), date(2026, 4, 1)
    )


def test_a_signed_prescription_makes_its_month_wait(month: Patient) -> None:
    ours(PatientMonth).update(stale=False)
    on_prescription(prescription=ours(Prescription).get())
    assert waiting(timezone.now()).exists()


def test_a_month_computed_before_its_end_is_computed_again_until_it_is_over(ana: Patient) -> None:
    last_day = datetime(2026, 3, 31, 12, tzinfo=UTC)
    row = compute_month(ana, MARCH, at=last_day - timedelta(days=11))
    for at, waits in ((last_day, True), (last_day - timedelta(days=10, hours=12), False)):
        assert waiting(at).filter(pk=row.pk).exists() is waits
    compute_month(ana, MARCH, at=last_day + timedelta(days=5))
    assert not waiting(last_day + timedelta(days=90)).filter(pk=row.pk).exists()


def test_who_sends_nothing_has_a_month_all_the_same(ana: Patient, ben: Patient) -> None:
    Patient.objects.filter(pk=ben.pk).update(left_on=date(2026, 2, 10))
    ours(PatientMonth).all().delete()
    add_missing(at=datetime(2026, 4, 2, tzinfo=UTC))
    made = ours(PatientMonth).filter(patient__in=[ana, ben]).values_list("patient", "month")
    assert set(made) == {(ana.pk, MARCH), (ana.pk, date(2026, 4, 1))}


def test_one_month_that_fails_does_not_hold_up_the_others(
    ana: Patient, ben: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours(PatientMonth).all().delete()
    add_missing(at=datetime(2026, 4, 2, tzinfo=UTC))
    really = computing.compute_month

    def failing(patient: Patient, month: date, *, at: datetime) -> PatientMonth:
        if patient.pk == ana.pk:
            raise ZeroDivisionError
        return really(patient, month, at=at)

    monkeypatch.setattr(computing, "compute_month", failing)
    compute_some(at=datetime(2026, 4, 2, tzinfo=UTC))
    assert set(ours(PatientMonth).filter(stale=True).values_list("patient", flat=True)) == {ana.pk}


def test_everything_that_goes_in_has_words(month: Patient, nurse_client: Any) -> None:
    """And a water test is kept by its code, and called by its name where it is read."""
    WaterTestFactory(patient=month, kind="bacteria", sampled_at=datetime(2026, 3, 20, 9, tzinfo=UTC))
    BloodFactory(patient=month, analyte="2823-3", value=5.1, drawn_at=datetime(2026, 3, 10, 9, tzinfo=UTC))
    found = numbers(month)
    assert {name for each in found.values() for name in each["inputs"]} <= {*QUANTITIES, "value", "values"}
    assert found["water"]["inputs"]["test"] == "bacteria"
    page = nurse_client.get(f"/patients/{month.pk}/months/2026-03/water/").content.decode()
    assert "Water test" in page
    assert str(WaterKind("bacteria").label) in page
