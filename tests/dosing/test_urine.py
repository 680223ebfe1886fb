"""Urine collections: which blood samples stand at their ends, and what is said where one is missing."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dosing.science.kidney import creatinine_clearance, mean_clearance, urea_clearance
from dosing.services.results.urine import NEAR, collections_of, computed
from homedialysis.accounts.models import User
from sessions.models import Analyte, BloodResult, Patient, UrineCollection
from tests.factories import A_NIGHT, BloodFactory

HOUR = timedelta(hours=1)
BEGAN, ENDED = A_NIGHT, A_NIGHT + 44 * HOUR


def collected(urea: float | None = 125.0, creatinine: float | None = 4.0) -> UrineCollection:
    return UrineCollection(
        began_at=BEGAN, ended_at=ENDED, volume_ml=900.0, urea_mmol_l=urea, creatinine_mmol_l=creatinine
    )


def drawn(analyte: Analyte, start: float | None, end: float | None) -> list[BloodResult]:
    at = ((BEGAN, start), (ENDED, end))
    return [BloodResult(analyte=analyte, drawn_at=when, value=value) for when, value in at if value is not None]


UREA, CREATININE = drawn(Analyte.UREA, 6.0, 18.0), drawn(Analyte.CREATININE, 300.0, 700.0)


def test_each_clearance_by_its_own_bloods_and_their_mean() -> None:
    found = computed(collected(), [*UREA, *CREATININE])
    urea = urea_clearance(urine=125, urine_ml=900, minutes=2640, plasma_start=6, plasma_end=18).number
    creatinine = creatinine_clearance(
        urine_mmol_l=4, urine_ml=900, minutes=2640, plasma_start_umol_l=300, plasma_end_umol_l=700
    ).number
    assert urea is not None
    assert creatinine is not None
    assert [each.number for each in found.measures] == [
        urea, creatinine, mean_clearance(urea_ml_min=urea, creatinine_ml_min=creatinine).number
    ]  # fmt: skip
    assert found.hours == 44


def test_the_nearest_sample_counts_up_to_twelve_hours_away() -> None:
    far = [BloodResult(analyte=Analyte.UREA, drawn_at=BEGAN - NEAR, value=9.0)]
    edge = computed(collected(), [*far, UREA[1]]).urea.number
    assert edge == urea_clearance(urine=125, urine_ml=900, minutes=2640, plasma_start=9, plasma_end=18).number
    assert computed(collected(), [*far, *UREA]).urea.number == computed(collected(), UREA).urea.number
    beyond = BloodResult(analyte=Analyte.UREA, drawn_at=BEGAN - NEAR - timedelta(seconds=1), value=9.0)
    assert computed(collected(), [beyond, UREA[1]]).urea.number is None


def test_of_one_day_the_blood_before_the_next_treatment_is_enough_and_reads_low() -> None:
    """The plasma had no more than at the end: 125 mmol/L in 900 mL of 24 h over 18 mmol/L is 4.34 mL/min."""
    day = UrineCollection(began_at=ENDED - 24 * HOUR, ended_at=ENDED, volume_ml=900.0, urea_mmol_l=125.0)
    alone = computed(day, [UREA[1]])
    assert alone.urea.number == pytest.approx(125 * 900 / 1440 / 18)
    assert alone.lacks_first_blood
    both = computed(day, [BloodResult(analyte=Analyte.UREA, drawn_at=day.began_at, value=12.0), UREA[1]])
    assert not both.lacks_first_blood
    assert (both.urea.number or 0) > (alone.urea.number or 0)


@pytest.mark.parametrize(
    ("urine", "bloods", "urea", "creatinine", "mean"),
    [
        (collected(urea=None), [*UREA, *CREATININE], "not_in_urine", None, "not_in_urine"),
        (collected(creatinine=None), [*UREA, *CREATININE], None, "not_in_urine", "not_in_urine"),
        (collected(), [UREA[1], *CREATININE], "no_blood_at_beginning", None, "no_blood_at_beginning"),
        (collected(), [*UREA, CREATININE[0]], None, "no_blood_at_end", "no_blood_at_end"),
        (collected(urea=None), CREATININE[:1], "not_in_urine", "no_blood_at_end", "not_in_urine"),
    ],
)
def test_what_is_missing_is_said(
    urine: UrineCollection, bloods: list[BloodResult], urea: str | None, creatinine: str | None, mean: str | None
) -> None:
    found = computed(urine, bloods)
    assert [each.reason and each.reason.code for each in found.measures] == [urea, creatinine, mean]
    assert [each.number is None for each in found.measures] == [bool(urea), bool(creatinine), bool(mean)]


def test_a_patient_s_own_newest_first_with_the_bloods_of_all_their_ends(
    ana: Patient, ben: Patient, nurse: User
) -> None:
    """The samples lie outside of the collections, and somebody else's lie nearer."""
    assert collections_of(ana) == []
    for days in (0, 30):
        at = timedelta(days=days)
        UrineCollection.objects.create(
            patient=ana, began_at=BEGAN + at, ended_at=ENDED + at, volume_ml=900, urea_mmol_l=125 + days,
            entered_by=nurse, entered_at=ENDED + at,
        )  # fmt: skip
        for moment, value in ((BEGAN - 11 * HOUR, 6.0), (ENDED + 11 * HOUR, 18.0)):
            BloodFactory(patient=ana, analyte=Analyte.UREA, drawn_at=moment + at, value=value, timing="apart")
            BloodFactory(patient=ben, analyte=Analyte.UREA, drawn_at=moment + at + HOUR, value=30, timing="apart")
            BloodFactory(patient=ben, analyte=Analyte.UREA, drawn_at=moment + at - HOUR, value=30, timing="apart")
    found = collections_of(ana)
    assert [each.urine.urea_mmol_l for each in found] == [155, 125]
    assert [each.urea.number for each in found] == [
        urea_clearance(urine=urea, urine_ml=900, minutes=2640, plasma_start=6, plasma_end=18).number
        for urea in (155, 125)
    ]
