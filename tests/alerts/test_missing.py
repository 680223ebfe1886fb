"""A record is missed by the calendar on the patient's wall, and only where a treatment was due."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from alerts.models import Alert
from alerts.rules.missing import MISSING
from alerts.services.evaluation import look_for_missing
from alerts.services.history import SURROUNDINGS, history_of
from alerts.showing.alert_words import sentence_of
from dosing.science.due_days import longest_gap
from dosing.services.course.reading import course_of
from sessions.models import Patient, Prescription
from tests.alerts.builders import alerts_of, evaluated, sentences_of
from tests.crowd import ours
from tests.factories import PrescriptionFactory, record_night

LISBON = ZoneInfo("Europe/Lisbon")
MONDAY = datetime(2026, 3, 2, tzinfo=LISBON)
"""Treatments are due on Monday, Wednesday and Friday."""


def on(day: int, hour: int = 21, minute: int = 30) -> datetime:
    """A moment on the wall in Lisbon, `day` days after the Monday."""
    return (MONDAY + timedelta(days=day)).replace(hour=hour, minute=minute)


@pytest.fixture
def from_monday(ana: Patient) -> Prescription:
    """In force since the Sunday before, which so is the first day that does not count."""
    return PrescriptionFactory(patient=ana, version=1, in_force=DateTimeTZRange(on(-1, 10), None))


def seen_missing(patient: Patient, at: datetime) -> list[str]:
    """What the rule sees, whether or not it calls."""
    history = history_of(patient, at=at, parts=frozenset({SURROUNDINGS}))
    return [MISSING.say(seen) for seen in MISSING.see(history, at)]


@pytest.mark.django_db
def test_the_treatment_of_the_next_due_day_is_not_taken_for_the_missed_one(ana: Patient) -> None:
    PrescriptionFactory(
        patient=ana, version=1, days_per_week=4, weekdays=[0, 1, 3, 5], in_force=DateTimeTZRange(on(-1, 10), None)
    )
    record_night(ana, on(1, 8))
    assert seen_missing(ana, on(2, 0, 0)) == ["No record of a treatment that was due on 2 Mar."]


@pytest.mark.usefixtures("from_monday")
def test_one_day_calls_only_while_nothing_came_since(ana: Patient) -> None:
    """Whoever is treated again is not in danger; a second day calls all the same, with both."""
    record_night(ana, on(0))
    record_night(ana, on(4))
    look_for_missing(at=on(5, 12))
    assert sentences_of("missing") == []
    look_for_missing(at=on(9, 12))
    assert sentences_of("missing") == ["No record of 2 treatments that were due from 4 Mar to 9 Mar."]


@pytest.mark.django_db
def test_a_treatment_begun_after_midnight_is_the_one_of_its_evening(ana: Patient) -> None:
    """Four due days, four treatments; the Monday's began on Tuesday at half past midnight."""
    PrescriptionFactory(
        patient=ana, version=1, days_per_week=4, weekdays=[0, 1, 3, 5], in_force=DateTimeTZRange(on(-1, 10), None)
    )
    begun = [on(1, 0, 30), on(1, 23), on(3, 22), on(6, 0, 10)]
    nights = [record_night(ana, start).night for start in begun]
    look_for_missing(at=on(7, 12))
    assert sentences_of("missing") == []
    assert [each.day for each in nights] == [2, 3, 5, 7]


@pytest.mark.usefixtures("from_monday")
class TestFixedWeekdays:
    def test_missed_once_the_grace_of_a_day_is_over(self, ana: Patient) -> None:
        look_for_missing(at=on(1, 23, 59))
        assert alerts_of("missing") == []
        look_for_missing(at=on(2, 0, 0))
        assert sentences_of("missing") == ["No record of a treatment that was due on 2 Mar."]
        assert alerts_of("missing")[0].get_urgency_display() == "This week"

    def test_two_missed_want_a_call_today_in_one_alert(self, ana: Patient) -> None:
        look_for_missing(at=on(2, 8))
        look_for_missing(at=on(4, 8))
        (alert,) = alerts_of("missing")
        assert sentence_of(alert) == "No record of 2 treatments that were due from 2 Mar to 4 Mar."
        assert alert.get_urgency_display() == "Call today"
        assert [step.kind for step in alert.steps.all()] == ["opened", "evidence"]

    def test_all_recorded(self, ana: Patient) -> None:
        for day in (0, 2, 4):
            record_night(ana, on(day))
        look_for_missing(at=on(6, 12))
        assert alerts_of("missing") == []

    def test_moved_by_a_day_counts(self, ana: Patient) -> None:
        for day in (1, 2, 4):
            record_night(ana, on(day))
        look_for_missing(at=on(6, 12))
        assert alerts_of("missing") == []

    def test_one_record_does_not_stand_for_two_days(self, ana: Patient) -> None:
        """Tuesday's stands for Monday; Wednesday has none."""
        record_night(ana, on(1))
        record_night(ana, on(4))
        assert seen_missing(ana, on(6, 12)) == ["No record of a treatment that was due on 4 Mar."]

    def test_however_late_it_is_first_looked_at_the_whole_month_is_named(self, ana: Patient) -> None:
        """A worker that was away: what is three weeks old is not entered either, as the month says too."""
        for day in (0, 2, 7, 11, 14, 16, 18, 21):
            record_night(ana, on(day))
        look_for_missing(at=on(23, 8))
        (alert,) = alerts_of("missing")
        assert [item["day"] for item in alert.evidence] == ["2026-03-06", "2026-03-11"]
        assert alert.get_urgency_display() == "Call today"

    def test_an_open_record_is_there(self, ana: Patient) -> None:
        record_night(ana, on(0), status="open", ended_at=None)
        look_for_missing(at=on(2, 8))
        assert alerts_of("missing") == []

    def test_a_late_record_takes_the_cause_away(self, ana: Patient) -> None:
        look_for_missing(at=on(2, 8))
        record_night(ana, on(0), at=on(2, 9))
        look_for_missing(at=on(2, 10))
        (alert,) = alerts_of("missing")
        assert alert.cause_gone_at == on(2, 10)

    def test_nothing_is_asked_twice(self, ana: Patient) -> None:
        for _ in range(3):
            look_for_missing(at=on(2, 8))
        assert ours(Alert).get().steps.count() == 1

    def test_the_night_is_the_patients(self, ana: Patient) -> None:
        """23:30 on Monday in Lisbon is Tuesday in Tokyo: there it is a Tuesday night, moved by a day."""
        ana.time_zone = "Asia/Tokyo"
        ana.save()
        record_night(ana, on(0, 23, 30))
        look_for_missing(at=datetime(2026, 3, 3, 14, 59, tzinfo=UTC))
        assert alerts_of("missing") == []
        record = ana.treatments.get()
        assert record.night == date(2026, 3, 3)

    def test_grace_ends_at_the_patients_midnight(self, ana: Patient) -> None:
        ana.time_zone = "Asia/Tokyo"
        ana.save()
        look_for_missing(at=datetime(2026, 3, 3, 14, 59, tzinfo=UTC))
        assert alerts_of("missing") == []
        look_for_missing(at=datetime(2026, 3, 3, 15, 0, tzinfo=UTC))
        assert len(alerts_of("missing")) == 1

    def test_whoever_left_is_not_asked(self, ana: Patient) -> None:
        ana.left_on = date(2026, 3, 2)
        ana.save()
        look_for_missing(at=on(3, 8))
        assert alerts_of("missing") == []

    def test_days_after_leaving_are_not_due(self, ana: Patient) -> None:
        look_for_missing(at=on(2, 8))
        ana.left_on = date(2026, 3, 2)
        ana.save()
        record_night(ana, on(-3))
        evaluated(ana, {}, first=-1)
        assert alerts_of("missing")[0].cause_gone_at is not None

    def test_the_hour_that_summer_time_takes_is_no_matter(self, ana: Patient) -> None:
        """The clocks went forward on Sunday 29 March 2026; the Friday before counts until Sunday 00:00."""
        for day in (0, 2, 4, 7, 9, 11, 14, 16, 18, 21, 23):
            record_night(ana, on(day))
        look_for_missing(at=on(26, 23, 59))
        assert alerts_of("missing") == []
        look_for_missing(at=on(27, 0, 0))
        assert sentences_of("missing") == ["No record of a treatment that was due on 27 Mar."]


class TestByCount:
    @pytest.mark.parametrize(
        ("days_per_week", "gap"), [(2, 4), (3, 3), (3.5, 2), (4, 4), (5, 3), (5.5, 3), (6, 2), (7, 1)]
    )
    def test_longest_gap(self, days_per_week: float, gap: int) -> None:
        assert longest_gap(days_per_week) == gap

    @pytest.fixture(autouse=True)
    def every_other_day(self, ana: Patient) -> Prescription:
        start = DateTimeTZRange(on(-1, 10), None)
        return PrescriptionFactory(patient=ana, version=1, in_force=start, days_per_week=3.5, weekdays=[])

    def test_every_other_day(self, ana: Patient) -> None:
        for day in (1, 3, 5):
            record_night(ana, on(day))
        look_for_missing(at=on(8, 23, 59))
        assert alerts_of("missing") == []
        look_for_missing(at=on(9, 0, 0))
        assert sentences_of("missing") == ["No record of a treatment that was due on 9 Mar."]

    def test_the_days_stay_the_same_while_time_goes_on(self, ana: Patient) -> None:
        record_night(ana, on(1))
        for day in range(4, 12):
            look_for_missing(at=on(day, 8))
        (alert,) = alerts_of("missing")
        assert [item["day"] for item in alert.evidence] == ["2026-03-05", "2026-03-07", "2026-03-09", "2026-03-11"]
        assert not any(item.get("gone") for item in alert.evidence)

    def test_a_gap_in_the_past_stays_a_gap(self, ana: Patient) -> None:
        record_night(ana, on(1))
        record_night(ana, on(6))
        look_for_missing(at=on(7, 8))
        assert [item["day"] for item in alerts_of("missing")[0].evidence] == ["2026-03-05", "2026-03-07"]


@pytest.mark.parametrize("weekdays", [[], [0, 2, 4], [6, 1, 3]])
@pytest.mark.parametrize("treated", [(), (3,), (0, 5, 12), (1, 2, 4, 8, 9, 15)])
@pytest.mark.parametrize("joined", [-9, -1, 0, 3])
def test_the_alert_names_the_days_that_the_month_counts(
    ana: Patient, weekdays: list[int], treated: tuple[int, ...], joined: int
) -> None:
    """From the first day on, with fixed weekdays and without, with moved treatments and with gaps."""
    ana.joined_on = on(joined).date()
    ana.save()
    per_week = len(weekdays) or 3.5
    start = DateTimeTZRange(on(-1, 10), None)
    PrescriptionFactory(patient=ana, version=1, in_force=start, days_per_week=per_week, weekdays=weekdays)
    for day in treated:
        record_night(ana, on(day))
    look_for_missing(at=on(20, 8))
    named = [date.fromisoformat(item["day"]) for alert in alerts_of("missing") for item in alert.evidence]
    # With a day of grace the alert of the 22nd asks up to the 20th, as a course does that ends within the 21st.
    course = course_of(ana, on(-40), on(19, 12))
    assert named == list(course.missing)
    assert named


def test_without_a_prescription_nothing_is_due(ana: Patient) -> None:
    look_for_missing(at=on(30))
    assert alerts_of("missing") == []


def test_a_failure_with_one_patient_does_not_keep_the_others_waiting(
    ana: Patient, ben: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from alerts.models import PendingEvaluation
    from alerts.services import evaluation

    PrescriptionFactory(patient=ben, version=1, in_force=DateTimeTZRange(on(-1, 10), None))
    real = evaluation.history_of

    def fails_for_ana(patient: Patient, **kwargs: object) -> object:
        if patient == ana:
            raise RuntimeError("no")
        return real(patient, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(evaluation, "history_of", fails_for_ana)
    look_for_missing(at=on(2, 8))
    assert [alert.patient for alert in alerts_of("missing")] == [ben]
    assert ours(PendingEvaluation).get().patient == ana
