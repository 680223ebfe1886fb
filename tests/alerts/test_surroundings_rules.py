"""What surrounds the treatments reaches the rules: from the row that was noted to the alert, and its end."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from alerts.services.evaluation import evaluate_pending, look_for_missing
from alerts.showing.alert_words import sentence_of
from homedialysis.accounts.models import User
from sessions.models import Analyte, BloodResult, Patient, Prescription, SupplyCount, Training, WaterTest
from sessions.services.bloods import enter_bloods
from sessions.services.surroundings import note
from sessions.services.water_release import release_water
from tests.alerts.builders import DAY, MORNING, alerts_of, sentences_of
from tests.factories import A_NIGHT, BloodFactory, BloodsDueFactory, SupplyItemFactory

pytestmark = pytest.mark.usefixtures("anas_prescription")


def test_a_water_sample_over_its_limit_the_next_that_passes_and_the_release(ana: Patient, nurse: User) -> None:
    for days, value in ((0, 120.0), (7, 10.0)):
        sample = WaterTest(
            patient=ana, kind="bacteria", sampled_at=A_NIGHT + days * DAY, value=value, fluid="dialysis_water",
            place="product",
        )  # fmt: skip
        note(sample, by=nurse, at=MORNING + days * DAY)
        evaluate_pending(at=MORNING + days * DAY)
    (alert,) = alerts_of("water_quality")
    assert (alert.get_urgency_display(), alert.first_night) == ("Call today", date(2026, 3, 2))
    assert "sampled on 2 Mar: over the limit of 100 CFU/mL." in sentence_of(alert)
    assert alert.cause_gone_at is None
    release_water(patient=ana, words="Disinfected.", by=nurse, at=MORNING + 8 * DAY)
    evaluate_pending(at=MORNING + 8 * DAY)
    assert alerts_of("water_quality")[0].cause_gone_at == MORNING + 8 * DAY


def test_a_dangerous_potassium_without_a_treatment(ana: Patient, nurse: User) -> None:
    drawn: BloodResult = BloodFactory.build(
        patient=ana, analyte=Analyte.POTASSIUM, value=6.7, drawn_at=A_NIGHT, timing="apart"
    )
    enter_bloods(results=[drawn], by=nurse, at=MORNING)
    evaluate_pending(at=MORNING)
    assert sentences_of("potassium_call") == ["Potassium 6.7 mmol/L on 2 Mar, over the limit of 6.5 mmol/L."]


def test_bloods_that_were_never_drawn_are_asked_for_by_time_alone(ana: Patient, nurse: User) -> None:
    """Four weeks after joining they are due, and a week later somebody is asked; the result ends it."""
    BloodsDueFactory(analytes=[Analyte.POTASSIUM])
    ana.joined_on = MORNING.date() - timedelta(days=35)
    ana.save()
    look_for_missing(at=MORNING)
    assert alerts_of("bloods_overdue") == []
    look_for_missing(at=MORNING + DAY)
    assert sentences_of("bloods_overdue") == [
        "Bloods: Monthly, due on 24 Feb: not noted since. No result yet of Potassium."
    ]
    drawn: BloodResult = BloodFactory.build(patient=ana, analyte=Analyte.POTASSIUM, drawn_at=MORNING + DAY)
    enter_bloods(results=[drawn], by=nurse, at=MORNING + DAY)
    evaluate_pending(at=MORNING + 2 * DAY)
    assert alerts_of("bloods_overdue")[0].cause_gone_at == MORNING + 2 * DAY


def test_training_falls_due_by_time_alone_and_ends_with_the_next(ana: Patient, nurse: User) -> None:
    def trained(on: date, until: date) -> None:
        given = Training(patient=ana, topic="Needles", done_on=on, valid_until=until, trained_by="Nurse Kim")
        note(given, by=nurse, at=MORNING + 400 * DAY)

    trained(date(2025, 3, 1), date(2026, 3, 1))
    look_for_missing(at=MORNING)
    assert sentences_of("training_overdue")[0].startswith("Training: Needles, due on 1 Mar: not noted since.")
    trained(date(2026, 3, 4), date(2027, 3, 4))
    look_for_missing(at=MORNING + 2 * DAY)
    assert alerts_of("training_overdue")[0].cause_gone_at == MORNING + 2 * DAY


def test_supplies_that_run_short(ana: Patient, nurse: User, anas_prescription: Prescription) -> None:
    item = SupplyItemFactory(name="Dialysers", per_treatment=1, cover_days=14)
    note(SupplyCount(patient=ana, item=item, counted_at=A_NIGHT, count=3), by=nurse, at=MORNING)
    evaluate_pending(at=MORNING)
    (alert,) = alerts_of("supplies")
    assert sentence_of(alert) == "Dialysers for 7 days where 14 are wanted."
    later = A_NIGHT + timedelta(hours=1)
    note(SupplyCount(patient=ana, item=item, counted_at=later, count=30), by=nurse, at=MORNING)
    evaluate_pending(at=MORNING)
    alert.refresh_from_db()
    assert alert.cause_gone_at is not None
