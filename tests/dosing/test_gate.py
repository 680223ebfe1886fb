"""Before a dose is told: what records, missing ones, samples and volumes do to it, with figures before and after."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import pytest

from dosing.services.night.computing import numbers_of
from dosing.services.night.inputs import gather
from dosing.services.numbers.reasons import reason_words
from sessions.models import HospitalStay, Patient, TreatmentRecord
from tests.factories import (
    A_NIGHT,
    AccessFactory,
    BloodFactory,
    PrescriptionFactory,
    SiteFactory,
    UserFactory,
    record_night,
)

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def bloods(record: TreatmentRecord, pre: float, post: float, *, after: float = 2, **sample: Any) -> None:
    """Urea before and after; after: minutes from the end to the second sample."""
    assert record.ended_at
    BloodFactory(patient=record.patient, treatment=record, value=pre, drawn_at=record.started_at - timedelta(minutes=5))
    how = {
        "timing": "post",
        "post_method": "slow_flow",
        "drawn_at": record.ended_at + timedelta(minutes=after),
    } | sample
    BloodFactory(patient=record.patient, treatment=record, value=post, **how)


def told(record: TreatmentRecord) -> dict[str, dict[str, Any]]:
    return numbers_of(gather(record))


def codes(number: dict[str, Any]) -> list[str]:
    return [each["code"] for each in number.get("doubts", [])]


class TestTheTreatmentBefore:
    """Every other day for 240 minutes: 25 to 6.49 mmol/L, 0.757 L net, 70 kg after."""

    @pytest.fixture
    def record(self, ana: Patient) -> TreatmentRecord:
        PrescriptionFactory(patient=ana, version=1, days_per_week=3.5, weekdays=[])
        for days in range(2, 40, 2):
            record_night(ana, A_NIGHT - days * DAY)
        made = record_night(ana, pre_weight_kg=70.757, uf_removed_l=1.057)
        bloods(made, 25.0, 6.49)
        return made

    def test_one_that_was_broken_off_after_twelve_minutes_is_none(self, ana: Patient, record: TreatmentRecord) -> None:
        """With it as the treatment before, 14 hours earlier, Kt/V read 2.00 for 1.53.

        By hand: -ln(0.2596 - 4 · 0.0174/PIDI) + (4 - 3.5 · 0.2596) · 0.757/70 with PIDI 0.583 and 2 days.
        """
        before = told(record)["single_pool_ktv"]["value"]
        record_night(ana, A_NIGHT - timedelta(hours=14), minutes=12)
        found = told(record)["single_pool_ktv"]
        assert found["inputs"]["days_since_last"] == 2
        assert found["inputs"]["not_counted"] == [12]
        assert (found["value"], codes(found)) == (before, [])
        assert before == pytest.approx(1.526, abs=0.001), "and not 1.998"

    def test_a_short_one_counts_and_is_said(self, ana: Patient, record: TreatmentRecord) -> None:
        TreatmentRecord.objects.filter(started_at=A_NIGHT - 2 * DAY).update(
            ended_at=A_NIGHT - 2 * DAY + timedelta(minutes=120)
        )
        assert codes(told(record)["single_pool_ktv"]) == ["short_before"]


class TestNightsNotEntered:
    """Every night for 8 hours: 12 to 2.968 mmol/L, 4.35 L net, 70 kg after; slow flows.

    By hand: -ln(0.2473 - 8 · 0.0174/PIDI) + (4 - 3.5 · 0.2473) · 4.35/70: 1.80 with three days, 2.42 with one.
    """

    @pytest.fixture
    def record(self, ana: Patient) -> TreatmentRecord:
        PrescriptionFactory(
            patient=ana, version=1, days_per_week=7, weekdays=[0, 1, 2, 3, 4, 5, 6], minutes=480, max_minutes=480,
            qb_ml_min=200, qd_ml_min=300,
        )  # fmt: skip
        for days in range(3, 40):
            record_night(ana, A_NIGHT - days * DAY, minutes=480, readings=0)
        made = record_night(ana, minutes=480, readings=0, pre_weight_kg=74.35, uf_removed_l=4.65)
        bloods(made, 12.0, 2.968)
        return made

    def test_two_nights_missing_are_said_with_what_it_were_with_them(self, record: TreatmentRecord) -> None:
        found = told(record)
        dose = found["single_pool_ktv"]
        assert (dose["inputs"]["days_since_last"], codes(dose)) == (3, ["due_not_entered"])
        assert dose["value"] == pytest.approx(1.80, abs=0.005)
        assert dose["doubts"][0] == {"code": "due_not_entered", "count": 2, "other": 2.42}
        assert reason_words(dose["doubts"][0]) == (
            "treatments due since the last one and not entered: 2; had they been done, it would be 2.42"
        )
        assert "due_not_entered_lately" in codes(found["standard_ktv"])
        assert codes(found["gain"]) == ["gain_over_missing"]

    def test_with_every_night_entered_it_is_sure(self, ana: Patient, record: TreatmentRecord) -> None:
        for days in (1, 2):
            record_night(ana, A_NIGHT - days * DAY, minutes=480, readings=0)
        found = told(record)
        assert found["single_pool_ktv"]["value"] == pytest.approx(2.42, abs=0.005)
        assert [codes(found[key]) for key in ("single_pool_ktv", "equilibrated_ktv", "standard_ktv", "gain")] == [
            []
        ] * 4
        assert found["standard_ktv"]["inputs"]["per_week"] == 7

    def test_the_first_record_of_all_takes_the_interval_prescribed_and_says_so(
        self, ana: Patient, record: TreatmentRecord
    ) -> None:
        ana.treatments.exclude(pk=record.pk).delete()
        found = told(record)["single_pool_ktv"]
        assert found["value"] == pytest.approx(2.42, abs=0.005), "with the factor of three a week it read 1.89"
        assert codes(found) == ["first_treatment"]

    def test_after_hospital_the_interval_prescribed_is_taken(self, ana: Patient, record: TreatmentRecord) -> None:
        HospitalStay.objects.create(
            patient=ana, admitted_on=(A_NIGHT - 2 * DAY).date(), discharged_on=(A_NIGHT - DAY).date(),
            entered_by=UserFactory(), entered_at=A_NIGHT,
        )  # fmt: skip
        found = told(record)["single_pool_ktv"]
        assert (found["inputs"]["days_since_last"], codes(found)) == (1, ["away_between"])


class TestFluid:
    def test_a_reading_from_the_beginning_is_no_total(self, ana: Patient) -> None:
        """Nothing but 0.02 L at minute 10 of 423: it read "known", and 0.04 mL/kg/h."""
        early = [{"at": (A_NIGHT + timedelta(minutes=10)).isoformat(), "uf_volume_l": 0.02}]
        nothing = {"uf_removed_l": None, "pre_weight_kg": None}
        found = told(record_night(ana, minutes=423, readings=early, **nothing))
        for key in ("uf_volume", "uf_rate"):
            assert found[key]["value"] is None
            assert found[key]["why"] == {"code": "fluid_read_early", "minute": 10, "length": 423}

    def test_the_weights_stand_in_for_the_total_and_are_said(self, ana: Patient) -> None:
        early = [{"at": (A_NIGHT + timedelta(minutes=10)).isoformat(), "uf_volume_l": 0.02}]
        found = told(record_night(ana, minutes=423, readings=early, uf_removed_l=None))
        assert found["uf_volume"]["value"] == pytest.approx(72 - 70 + 0.3)
        assert found["uf_rate"]["value"] == pytest.approx(2300 / (423 / 60) / 70)
        assert [codes(found[key]) for key in ("uf_volume", "uf_rate")] == [["fluid_by_weights"]] * 2

    def test_a_total_that_the_weights_contradict_is_doubtful(self, ana: Patient) -> None:
        found = told(record_night(ana, uf_removed_l=0.23))
        assert (found["uf_volume"]["value"], codes(found["uf_rate"])) == (0.23, ["fluid_off_balance"])
        assert reason_words(found["uf_rate"]["doubts"][0]) == "the machine's total is 0.23 L, the weights say 2.3 L"

    def test_the_dose_takes_net_fluid_and_the_rate_what_the_machine_took(self, ana: Patient) -> None:
        record = record_night(ana, uf_removed_l=2.8, intake_l=0.5)
        bloods(record, 25.0, 7.3)
        found = told(record)
        assert found["single_pool_ktv"]["inputs"]["net_uf_l"] == pytest.approx(2.0)
        assert found["uf_rate"]["value"] == pytest.approx(2800 / 4 / 70)


def by_hand(e: float, *, per_week: float, net_uf_l: float, inputs: dict[str, Any]) -> float:
    """Leypoldt 2004 from an equilibrated dose of 240 min, with the fluid of Daugirdas 2010 and V by Watson."""
    left = 1 - math.exp(-e)
    fixed = 10080 * left / 240 / (left / e + 10080 / (per_week * 240) - 1)
    water = 2.447 - 0.09516 * inputs["age_years"] + 0.1074 * inputs["height_cm"] + 0.3362 * inputs["weight_kg"]
    return fixed / (1 - 0.74 * net_uf_l / water)


class TestSamples:
    @pytest.fixture
    def record(self, ana: Patient) -> TreatmentRecord:
        PrescriptionFactory(patient=ana, version=1)
        for days in (7, 5, 3):
            record_night(ana, A_NIGHT - days * DAY)
        return record_night(ana)

    def test_a_late_sample_gives_the_equilibrated_dose_straight_and_the_week_with_it(
        self, record: TreatmentRecord
    ) -> None:
        bloods(record, 25.0, 8.5, post_method="late", after=45)
        found = told(record)
        assert found["single_pool_ktv"]["why"] == {"code": "sample_was_late"}
        # -ln(0.34 - 0.0174/3 4) + (4 - 3.5 0.34) 2/70
        assert found["equilibrated_ktv"]["value"] == pytest.approx(1.2297, abs=0.0005)
        week = found["standard_ktv"]
        assert week["value"] == pytest.approx(
            by_hand(1.2297, per_week=3, net_uf_l=2.0, inputs=week["inputs"]), abs=0.001
        )
        assert codes(found["equilibrated_ktv"]) == []

    @pytest.mark.parametrize(
        ("noted", "doubts"), [(30, []), (60, []), (29, ["late_sample_off"]), (90, ["late_sample_off"])]
    )
    def test_minutes_that_were_noted_hold_before_those_of_the_clock(
        self, record: TreatmentRecord, noted: float, doubts: list[str]
    ) -> None:
        bloods(record, 25.0, 8.5, post_method="late", after=45, post_minutes=noted)
        assert codes(told(record)["equilibrated_ktv"]) == doubts

    def test_a_protected_sample_long_after_the_end_is_doubtful(self, record: TreatmentRecord) -> None:
        bloods(record, 25.0, 7.3, after=40)
        assert codes(told(record)["single_pool_ktv"]) == ["post_sample_off"]

    def test_a_diluted_sample_stands_for_a_volume_unlike_the_body(self, record: TreatmentRecord) -> None:
        """0.55 of 7.3 mmol/L: the dose rises by half, and V falls to little more than half of Watson's."""
        bloods(record, 25.0, 0.55 * 7.3)
        dose = told(record)["single_pool_ktv"]
        assert codes(dose) == ["volume_unlike_body"]
        assert dose["doubts"][0]["percent"] < 70

    def test_urr_says_nothing_of_five_hours(self, ana: Patient) -> None:
        long = record_night(ana, minutes=300)
        bloods(long, 25.0, 7.3)
        assert told(long)["urr"]["why"] == {"code": "urr_of_long"}


@pytest.mark.parametrize(
    ("kind", "gauge", "doubts"),
    [("catheter", 15, ["needle_with_catheter"]), ("catheter", None, []), ("fistula", 15, [])],
)
def test_a_needle_noted_with_a_catheter_makes_the_rebound_doubtful(
    ana: Patient, kind: str, gauge: int | None, doubts: list[str]
) -> None:
    """The equilibrated dose alone asks for the access."""
    PrescriptionFactory(patient=ana, version=1, days_per_week=3.5, weekdays=[])
    for days in range(2, 40, 2):
        record_night(ana, A_NIGHT - days * DAY)
    access = AccessFactory(patient=ana, kind=kind)
    out, back = (
        SiteFactory(access=access, name=name, use=use) for name, use in (("Red", "arterial"), ("Blue", "venous"))
    )
    rows = [{"site": out.pk, "use": "arterial", "gauge": gauge}, {"site": back.pk, "use": "venous"}]
    record = record_night(ana, pre_weight_kg=70.757, uf_removed_l=1.057, sites=rows)
    bloods(record, 25.0, 6.49)
    found = told(record)
    assert (codes(found["equilibrated_ktv"]), codes(found["single_pool_ktv"])) == (doubts, [])
    if doubts:
        assert [reason_words(each) for each in found["equilibrated_ktv"]["doubts"]] == [
            "a needle of 15 G was noted, and the access is a catheter: one of the two is wrong"
        ]


def test_bloods_of_the_last_night_before_the_gap_are_said_to_read_high(ana: Patient) -> None:
    """Five nights a week from Monday: Monday's bloods are sure, Friday's are not."""
    PrescriptionFactory(patient=ana, version=1, days_per_week=5, weekdays=[0, 1, 2, 3, 4])
    monday = A_NIGHT + 28 * DAY
    days = [week + day for week in range(-35, 1, 7) for day in range(5)]
    made = {day: record_night(ana, monday + day * DAY) for day in days}
    for day in (0, 4):
        bloods(made[day], 20.0, 6.5)
    assert codes(told(made[0])["standard_ktv"]) == []
    assert codes(told(made[4])["standard_ktv"]) == ["last_of_week"]


def test_the_week_counts_what_was_really_done_lately(ana: Patient) -> None:
    """Three of five nights for six weeks: the dose of a night with five as prescribed was never delivered."""
    PrescriptionFactory(patient=ana, version=1, days_per_week=5, weekdays=[])
    days = [week + day for week in range(-42, 1, 7) for day in (0, 2, 4) if week + day <= 0]
    made = [record_night(ana, A_NIGHT + day * DAY) for day in days]
    bloods(made[-1], 20.0, 6.5)
    found = told(made[-1])["standard_ktv"]["inputs"]
    assert (found["done"], found["days_in_treatment"]) == (12, 28)
    assert found["per_week"] == 3
