"""Weeks in treatment, not calendar days: what joining, leaving, hospital and missed nights do to a month."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from dosing.models import PatientMonth
from dosing.services.month.computing import compute_month
from dosing.services.month.in_treatment import lines_said, short_said
from dosing.services.night.computing import compute
from sessions.models import HospitalStay, Patient
from tests.factories import BloodFactory, PrescriptionFactory, UserFactory, record_night

pytestmark = pytest.mark.django_db
AUGUST = date(2026, 8, 1)
AFTER = datetime(2026, 9, 2, 9, tzinfo=UTC)
MON_WED_FRI = (0, 2, 4)


def treated(patient: Patient, days: Iterable[int], **changes: Any) -> None:
    """Treatments of four hours on these days of August, bloods around the last of them."""
    made = [record_night(patient, datetime(2026, 8, day, 18, tzinfo=UTC), **changes) for day in days]
    last = made[-1]
    BloodFactory(patient=patient, treatment=last, value=22, drawn_at=last.started_at)
    after = {"timing": "post", "post_method": "slow_flow", "drawn_at": last.ended_at}
    BloodFactory(patient=patient, treatment=last, value=6.5, **after)
    for record in made:
        compute(record, at=AFTER)


def august(patient: Patient, at: datetime = AFTER) -> PatientMonth:
    return compute_month(patient, AUGUST, at=at)


def on_weekdays(first: int, last: int) -> list[int]:
    return [day for day in range(first, last + 1) if date(2026, 8, day).weekday() in MON_WED_FRI]


@pytest.fixture
def three_a_week(ana: Patient) -> Patient:
    PrescriptionFactory(patient=ana, version=1)
    return ana


def stay(patient: Patient, first: int, last: int | None, kind: str = "hospital") -> None:
    HospitalStay.objects.create(
        patient=patient,
        kind=kind,
        admitted_on=date(2026, 8, first),
        discharged_on=date(2026, 8, last) if last else None,
        entered_by=UserFactory(),
        entered_at=AFTER,
    )


def test_a_first_month_from_the_21st_is_divided_by_its_eleven_days(three_a_week: Patient) -> None:
    """Five treatments of three a week since the 21st: by the calendar 0.73 a week or so, in treatment above two."""
    Patient.objects.filter(pk=three_a_week.pk).update(joined_on=date(2026, 8, 21))
    three_a_week.refresh_from_db()
    treated(three_a_week, on_weekdays(21, 31))
    found = august(three_a_week)
    week = found.numbers["measured_week"]
    assert week["inputs"]["per_week"] == 3, "every Monday, Wednesday and Friday of the eleven days was kept"
    by_calendar = 5 / 31 * 7
    assert week["value"] == pytest.approx(2.30, abs=0.05), f"at {by_calendar:.2f} a week it read 0.8"
    assert found.numbers["weekly_hours"]["value"] == pytest.approx(5 * 4 / 11 * 7)
    assert found.numbers["nights"]["inputs"] == {"delivered": 5, "prescribed": 5, "days": 11}
    assert found.numbers["nights"]["value"] == 1
    assert lines_said(found.delivered) == ["In the programme since 21 August 2026.", "11 days in treatment."]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("hospital", "In hospital from 3 August 2026 to 20 August 2026."),
        ("away", "Away from 3 August 2026 to 20 August 2026."),
        ("centre", "In the centre from 3 August 2026 to 20 August 2026."),
        ("paused", "Home dialysis paused from 3 August 2026 to 20 August 2026."),
    ],
)
def test_days_in_hospital_away_or_paused_are_no_days_without_treatment(
    kind: str, words: str, three_a_week: Patient
) -> None:
    stay(three_a_week, 3, 20, kind)
    treated(three_a_week, [1, *on_weekdays(21, 31)])
    found = august(three_a_week)
    assert found.numbers["nights"]["inputs"] == {"delivered": 6, "prescribed": 5, "days": 13}
    assert found.numbers["measured_week"]["inputs"]["per_week"] == pytest.approx(6 / 13 * 7)
    assert found.delivered["missing"] == []
    assert lines_said(found.delivered) == [words, "13 days in treatment."]


def test_who_leaves_is_counted_up_to_that_day(three_a_week: Patient) -> None:
    Patient.objects.filter(pk=three_a_week.pk).update(left_on=date(2026, 8, 15))
    three_a_week.refresh_from_db()
    treated(three_a_week, on_weekdays(1, 14))
    found = august(three_a_week)
    assert found.numbers["nights"]["inputs"] == {"delivered": 6, "prescribed": 6, "days": 14}
    assert lines_said(found.delivered) == ["Left the programme on 15 August 2026.", "14 days in treatment."]


def test_less_than_a_week_in_treatment_has_no_weekly_dose(three_a_week: Patient) -> None:
    stay(three_a_week, 7, None)
    treated(three_a_week, [3, 5])
    found = august(three_a_week)
    assert found.numbers["measured_week"]["why"] == {"code": "week_not_in_treatment"}
    assert lines_said(found.delivered)[0] == "In hospital since 7 August 2026."


def test_what_is_not_entered_makes_the_month_doubtful_and_is_said(three_a_week: Patient) -> None:
    treated(three_a_week, [day for day in on_weekdays(1, 31) if day not in (12, 14)])
    found = august(three_a_week)
    for key in ("nights", "weekly_hours", "measured_week"):
        assert {"code": "month_not_entered", "count": 2} in found.numbers[key]["doubts"], key
    assert found.delivered["missing"] == ["2026-08-12", "2026-08-14"]
    words = "2 treatments were due and are not entered, from 12 August 2026 to 14 August 2026."
    assert lines_said(found.delivered) == [words]


def test_a_treatment_broken_off_is_none_and_one_written_twice_is_one(three_a_week: Patient) -> None:
    record_night(three_a_week, datetime(2026, 8, 28, 4, tzinfo=UTC), minutes=12)
    record_night(three_a_week, datetime(2026, 8, 26, 18, 20, tzinfo=UTC), minutes=200)
    treated(three_a_week, on_weekdays(1, 31))
    found = august(three_a_week)
    assert found.numbers["nights"]["inputs"] == {"delivered": 13, "prescribed": 13, "days": 31}
    assert found.delivered["broken_off"] == 1
    assert lines_said(found.delivered) == ["1 treatment was broken off and is not counted."]
    assert found.numbers["measured_week"]["inputs"]["minutes"] == 240


def test_a_running_month_counts_the_hours_that_have_passed(three_a_week: Patient) -> None:
    treated(three_a_week, [3, 5])
    noon = datetime(2026, 8, 7, 11, tzinfo=UTC)
    found = august(three_a_week, at=noon)
    assert found.numbers["weekly_hours"]["value"] == pytest.approx(2 * 4 / 6.5 * 7)
    assert found.numbers["nights"]["inputs"] == {"delivered": 2, "prescribed": 2, "days": 6.5}


def test_a_treatment_under_way_is_neither_done_nor_missed(three_a_week: Patient) -> None:
    """On the evening of Wednesday the 19th, an hour after the start: so far each of the eight was kept."""
    treated(three_a_week, on_weekdays(1, 17))
    record_night(three_a_week, datetime(2026, 8, 19, 18, tzinfo=UTC), ended_at=None, status="open")
    found = august(three_a_week, at=datetime(2026, 8, 19, 19, tzinfo=UTC))
    assert found.numbers["nights"]["inputs"] == {"delivered": 7, "prescribed": 7, "days": 18}
    assert found.numbers["nights"]["value"] == 1
    assert found.numbers["weekly_hours"]["value"] == pytest.approx(7 * 4 / 18 * 7)
    assert lines_said(found.delivered) == ["1 treatment is under way: neither done nor missed yet."]


def test_one_left_open_two_days_ago_counts_as_before(three_a_week: Patient) -> None:
    treated(three_a_week, on_weekdays(1, 17))
    record_night(three_a_week, datetime(2026, 8, 19, 18, tzinfo=UTC), ended_at=None, status="open")
    found = august(three_a_week, at=datetime(2026, 8, 21, 6, tzinfo=UTC))
    assert found.numbers["nights"]["inputs"]["prescribed"] == 8
    assert lines_said(found.delivered) == []


def test_nothing_is_called_missing_in_a_pause_and_what_comes_after_it_is_due_again(three_a_week: Patient) -> None:
    """Paused from the 10th to the 21st, with six due days in it; after it the 26th was left out."""
    stay(three_a_week, 10, 21, "paused")
    treated(three_a_week, [3, 5, 7, 24, 28, 31])
    found = august(three_a_week)
    assert found.delivered["missing"] == ["2026-08-26"]


SHORT: list[tuple[dict[str, Any], str]] = [
    ({}, ""),
    ({"missing": ["2026-08-03", "2026-08-05"]}, "2 not entered"),
    (
        {
            "absences": [{"kind": "hospital", "first": "2026-08-03", "last": "2026-08-09"}],
            "days": 24.0,
            "broken_off": 1,
        },
        "hospital, 24 days treated, 1 broken off",
    ),
    ({"ordered": False, "left_out": ["2026-08-03"], "under_way": 1}, "nothing prescribed, 1 under way, 1 left out"),
]


@pytest.mark.parametrize(("delivered", "words"), SHORT)
def test_a_narrow_column_says_all_of_it_in_a_few_words(delivered: dict[str, Any], words: str) -> None:
    assert ", ".join(short_said(delivered)) == words
    assert bool(words) is bool(lines_said(delivered))
