"""Water as one process: one judgement of every test, whoever notes it; what falls due after it; what ends it."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone

from alerts.models.choices import Urgency
from alerts.rules import BY_KEY
from alerts.services.evaluation import evaluate_pending
from alerts.showing.alert_words import advice_of, sentence_of, title_of
from alerts.showing.presenting import line_of
from homedialysis.accounts.models import User
from sessions.models import AccessInfection, Patient, TaskDone, Training, WaterStandard, WaterTest
from sessions.models.local_time import zone_of
from sessions.services.due import due_for
from sessions.services.kit import kit
from sessions.services.outcomes import keep
from sessions.services.readiness import steps_to_first_treatment
from sessions.services.surroundings import note
from sessions.services.water_release import release_water
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated
from tests.factories import A_NIGHT, AccessFactory, MachineFactory

TODAY = MORNING.date()


def sampled(patient: Patient, by: User, value: float, *, at: Any = MORNING, **more: Any) -> WaterTest:
    usual = {"kind": "total_chlorine", "place": "first_carbon", "fluid": "dialysis_water"}
    row = WaterTest(patient=patient, value=value, sampled_at=at, **(usual | more))
    note(row, by=by, at=at)
    evaluate_pending(at=at)
    return row


def released(patient: Patient, by: User, *, at: Any) -> None:
    release_water(patient=patient, words="Carbon changed.", by=by, at=at)
    evaluate_pending(at=at)


def due_kinds(patient: Patient) -> dict[str, str]:
    return {each.kind: each.label for each in due_for(patient, TODAY) if each.due_on <= TODAY}


class TestChlorine:
    @pytest.mark.parametrize("who", ["patient", "technologist", "nurse"])
    def test_over_the_limit_calls_today_whoever_notes_it(
        self, ana: Patient, nurse: User, technologist: User, who: str
    ) -> None:
        by = {"patient": ana.account, "technologist": technologist, "nurse": nurse}[who]
        assert by is not None
        sampled(ana, by, 0.3)
        (alert,) = alerts_of("chlorine")
        assert alert.urgency == Urgency.CALL_TODAY
        assert sentence_of(alert) == "Total chlorine 0.3 mg/L on 3 Mar, over the limit of 0.1 mg/L."
        assert [row["value"] for row in kit(ana, by, timezone.now())["water"]] == [0.3]

    def test_near_the_limit_is_said_as_such(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 0.06)
        (alert,) = alerts_of("chlorine")
        assert alert.urgency == Urgency.THIS_WEEK
        assert sentence_of(alert) == "Total chlorine 0.06 mg/L on 3 Mar: from 0.05 mg/L on act, the limit is 0.1 mg/L."
        assert kit(ana, nurse, timezone.now())["water"] == []

    def test_a_later_test_that_passes_and_the_release_end_it(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 0.3)
        sampled(ana, nurse, 0.01, at=MORNING + DAY)
        (alert,) = alerts_of("chlorine")
        assert alert.cause_gone_at is None
        (row,) = kit(ana, nurse, timezone.now())["water"]
        assert (row["value"], row["again"]["value"]) == (0.3, 0.01)
        released(ana, nurse, at=MORNING + 2 * DAY)
        (alert,) = alerts_of("chlorine")
        assert alert.cause_gone_at == MORNING + 2 * DAY
        assert kit(ana, nurse, timezone.now())["water"] == []

    def test_a_test_later_the_same_day_ends_it_too(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 0.3)
        (alert,) = alerts_of("chlorine")
        advice = (
            "Until a later test from the same place passes and the unit releases the water, the phone at this home "
            "says not to begin."
        )
        assert advice_of(alert) == advice
        sampled(ana, nurse, 0.01, at=MORNING + timedelta(hours=2))
        released(ana, nurse, at=MORNING + timedelta(hours=3))
        (alert,) = alerts_of("chlorine")
        assert alert.cause_gone_at == MORNING + timedelta(hours=3)
        assert sentence_of(alert) == (
            "Total chlorine 0.3 mg/L on 3 Mar, over the limit of 0.1 mg/L. "
            "Tested again since: 0.01 mg/L on 3 Mar at 11:30, within the limit."
        )
        assert advice_of(alert) == ""

    def test_a_test_elsewhere_does_not_open_the_phone(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 0.3)
        sampled(ana, nurse, 0.3, at=MORNING + timedelta(hours=1), place="product")
        sampled(ana, nurse, 0.01, at=MORNING + timedelta(hours=2), place="product")
        assert kit(ana, nurse, timezone.now())["water"]
        (alert,) = alerts_of("chlorine")
        assert alert.cause_gone_at is None
        assert advice_of(alert).endswith("the phone at this home says not to begin.")

    @pytest.mark.usefixtures("anas_prescription")
    def test_done_again_before_the_treatment_is_told_with_value_and_note(self, ana: Patient) -> None:
        """The patient tested again and began: no phone says not to begin, and the sentence names what was found."""
        check = {"name": "Total chlorine", "key": "chlorine", "part": "setup", "unit": "mg/L"}
        failed = check | {"value": 0.3, "passed": False, "note": "changed the carbon", "at": A_NIGHT.isoformat()}
        again = A_NIGHT + timedelta(minutes=20)
        evaluated(ana, {"checks": [failed, check | {"value": 0.02, "passed": True, "at": again.isoformat()}]})
        (alert,) = alerts_of("chlorine")
        assert sentence_of(alert) == (
            "Total chlorine 0.3 mg/L on 2 Mar, over the limit of 0.1 mg/L. Tested again since: 0.02 mg/L on 2 Mar at "
            f"{again.astimezone(zone_of(ana)):%H:%M}, within the limit. Noted with it: “changed the carbon”."
        )
        assert (alert.cause_gone_at, advice_of(alert)) == (None, "")

    @pytest.mark.usefixtures("anas_prescription")
    def test_one_bad_night_is_one_alert(self, ana: Patient) -> None:
        check = {"name": "Total chlorine", "key": "chlorine", "part": "setup", "value": 0.3, "passed": False}
        evaluated(ana, {"checks": [check]})
        (alert,) = alerts_of("chlorine")
        assert sentence_of(alert).endswith("The treatment was begun all the same.")
        assert alerts_of("check_failed") == []

    def test_the_units_own_figure_holds_everywhere(self, ana: Patient, nurse: User) -> None:
        figures = {"dialysis_water": {"total_chlorine": [0.05, 0.02]}}
        WaterStandard.objects.create(figures=figures, set_by=nurse, set_at=A_NIGHT)
        sampled(ana, nurse, 0.06)
        (alert,) = alerts_of("chlorine")
        assert sentence_of(alert) == "Total chlorine 0.06 mg/L on 3 Mar, over the limit of 0.05 mg/L."
        assert kit(ana, nurse, timezone.now())["water"]


class TestCulture:
    def test_the_action_level_is_called_so_beside_the_value_too(self, ana: Patient, nurse: User) -> None:
        """One figure has one name: in the sentence, and in the line of evidence."""
        sampled(ana, nurse, 62, kind="bacteria", place="product")
        (alert,) = alerts_of("water_quality")
        assert sentence_of(alert).endswith("over the action level of 50 CFU/mL, within the limit of 100 CFU/mL.")
        line = line_of(alert.evidence[-1], ana)
        assert (line.value, line.level, line.limit) == ("62 CFU/mL", "action level", "50 CFU/mL")
        sampled(ana, nurse, 120, kind="bacteria", place="product", at=MORNING + DAY)
        (alert,) = alerts_of("water_quality")
        assert [line_of(item, ana).level for item in alert.evidence] == ["action level", ""]

    def test_each_alert_names_what_it_is_about(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 120, kind="bacteria", place="product")
        sampled(ana, nurse, 9, kind="endotoxin", place="product")
        assert {title_of(alert) for alert in alerts_of("water_quality")} == {
            "Water beyond its limit: Bacterial culture, product water, at the machine",
            "Water beyond its limit: Endotoxin, product water, at the machine",
        }

    def test_over_the_limit_makes_disinfection_and_a_new_sample_due(self, ana: Patient, nurse: User) -> None:
        for kind in ("dialysis", "water"):
            MachineFactory(patient=ana, kind=kind, since=TODAY - 5 * DAY)
        note(TaskDone(patient=ana, kind="disinfection", done_at=MORNING - DAY), by=nurse, at=MORNING)
        assert "disinfection" not in due_kinds(ana)
        sampled(ana, nurse, 150, kind="bacteria", place="product")
        due = due_kinds(ana)
        assert due["disinfection"] == "Disinfection of the machine"
        assert due["resample"] == "Sample again: Bacterial culture, product water, at the machine"
        (alert,) = alerts_of("water_quality")
        assert sentence_of(alert).endswith("sampled on 3 Mar: over the limit of 100 CFU/mL.")
        note(TaskDone(patient=ana, kind="disinfection", done_at=MORNING), by=nurse, at=MORNING)
        sampled(ana, nurse, 3, kind="bacteria", place="product", at=MORNING + timedelta(hours=1))
        assert {"disinfection", "resample", "release"} & due_kinds(ana).keys() == {"release"}
        (alert,) = alerts_of("water_quality")
        assert alert.cause_gone_at is None
        assert sentence_of(alert).endswith(
            "Sampled again on 3 Mar, within the limit; nobody has released the water yet."
        )
        released(ana, nurse, at=MORNING + timedelta(hours=2))
        assert not {"disinfection", "resample", "release"} & due_kinds(ana).keys()
        (alert,) = alerts_of("water_quality")
        assert alert.cause_gone_at == MORNING + timedelta(hours=2)

    def test_a_clean_sample_from_elsewhere_clears_nothing(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 150, kind="bacteria", place="product")
        sampled(ana, nurse, 1, kind="bacteria", place="fluid_port", fluid="dialysis_fluid", at=MORNING + DAY)
        assert "resample" in due_kinds(ana)

    def test_action_level_and_limit_each_by_name(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 62, kind="bacteria", place="product")
        (alert,) = alerts_of("water_quality")
        assert sentence_of(alert).endswith("over the action level of 50 CFU/mL, within the limit of 100 CFU/mL.")

    def test_after_a_service_it_is_sampled_again(self, ana: Patient, nurse: User) -> None:
        MachineFactory(patient=ana, kind="water", since=TODAY - 100 * DAY)
        sampled(ana, nurse, 3, kind="bacteria", place="product", at=MORNING - 5 * DAY)
        assert "bacteria" not in due_kinds(ana)
        note(TaskDone(patient=ana, kind="water_service", done_at=MORNING), by=nurse, at=MORNING)
        assert "bacteria" in due_kinds(ana)

    def test_fluid_and_place_agree(self, ana: Patient, nurse: User) -> None:
        with pytest.raises(ValidationError, match="is not water for dialysis"):
            sampled(ana, nurse, 3, kind="bacteria", place="fluid_port", fluid="dialysis_water")


class TestRelease:
    def test_a_person_signs_exactly_what_was_shown(self, ana: Patient, technologist: User, nurse: User) -> None:
        technologist.set_password("a long enough password")
        technologist.save()
        client = Client()
        client.force_login(technologist)
        where = f"/patients/{ana.pk}/water/release/"
        MachineFactory(patient=ana, kind="dialysis", since=TODAY - 5 * DAY)
        sampled(ana, nurse, 150, kind="bacteria", place="product")
        lacking = client.get(where).content.decode()
        assert "no sample from there has passed since." in lacking
        assert "note the disinfection first." in lacking
        with pytest.raises(ValidationError, match="no sample from there has passed since"):
            release_water(patient=ana, words="x", by=technologist, at=MORNING)
        note(TaskDone(patient=ana, kind="disinfection", done_at=MORNING), by=nurse, at=MORNING)
        old = client.get(where).context["seen"]
        sampled(ana, nurse, 3, kind="bacteria", place="product", at=MORNING + timedelta(hours=1))
        sent = {"words": "Disinfected with heat.", "password": "a long enough password"}
        assert "Something changed" in client.post(where, sent | {"seen": old}).content.decode()
        seen = client.get(where).context["seen"]
        assert "password is not right" in client.post(where, sent | {"seen": seen, "password": "?"}).content.decode()
        assert not ana.water_releases.exists()
        assert "not released" in self.readiness(ana)
        assert "not released" in client.get("/surroundings/").content.decode()
        assert client.post(where, sent | {"seen": seen}).status_code == 302
        assert ana.water_releases.get().released_by == technologist
        assert kit(ana, nurse, timezone.now())["water"] == []
        assert "Disinfected with heat." in client.get(f"/patients/{ana.pk}/surroundings/").content.decode()
        assert self.readiness(ana) == "the newest results are not over their limits"

    @staticmethod
    def readiness(patient: Patient) -> str:
        steps = steps_to_first_treatment(patient, at=timezone.now())
        return next(step.words for step in steps if step.title == "Water tested")

    def test_a_release_counts_for_what_it_was_signed_for_and_for_nothing_later(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 0.3)
        sampled(ana, nurse, 0.01, at=MORNING + DAY)
        released(ana, nurse, at=MORNING + DAY)
        sampled(ana, nurse, 0.4, at=MORNING + 2 * DAY)
        sampled(ana, nurse, 0.02, at=MORNING + 3 * DAY)
        (row,) = kit(ana, nurse, timezone.now())["water"]
        assert row["value"] == 0.4
        with pytest.raises(ProgrammingError, match="Cannot update or delete"), transaction.atomic():
            ana.water_releases.update(words="else")

    def test_the_upgrade_holds_back_what_is_over_and_nothing_that_passed_since(self, ana: Patient, nurse: User) -> None:
        sampled(ana, nurse, 0.3)
        sampled(ana, nurse, 0.01, at=MORNING + DAY)
        sampled(ana, nurse, 150, kind="bacteria", place="product")
        migration = import_module("sessions.migrations.0015_water_that_passed_since_is_released")
        migration.take_over(apps, None)
        assert ana.water_releases.get().released_by is None
        assert [row["value"] for row in kit(ana, nurse, timezone.now())["water"]] == [150]


class TestInfection:
    def test_examination_and_retraining_fall_due_until_they_are_done(self, ana: Patient, nurse: User) -> None:
        row = AccessInfection(access=AccessFactory(patient=ana), kind="bloodstream", began_on=TODAY - 3 * DAY)
        keep(row, by=nurse, at=MORNING)
        evaluate_pending(at=MORNING)
        due = due_kinds(ana)
        assert due["access_exam"] == "Examination of the access"
        assert due["retraining"] == "Needling and care of the access, after an infection"
        (alert,) = alerts_of("after_infection")
        assert title_of(alert) == (
            "Access to be looked after: Examination of the access, Needling and care of the access, after an infection"
        )
        note(TaskDone(patient=ana, kind="access_exam", done_at=MORNING), by=nurse, at=MORNING)
        topic = "needling and care of the access, after an infection"
        note(Training(patient=ana, topic=topic, done_on=TODAY, trained_by="Kim"), by=nurse, at=MORNING)
        evaluate_pending(at=MORNING)
        assert not {"access_exam", "retraining"} & due_kinds(ana).keys()
        assert [alert.cause_gone_at for alert in alerts_of("after_infection")] == [MORNING]

    def test_with_a_catheter_nobody_is_told_of_needling(self, ana: Patient, nurse: User) -> None:
        row = AccessInfection(access=AccessFactory(patient=ana, kind="catheter"), kind="site", began_on=TODAY)
        keep(row, by=nurse, at=MORNING)
        assert due_kinds(ana)["retraining"] == "Care of the catheter, after an infection"
        evaluate_pending(at=MORNING)
        topic = "Care of the catheter, after an infection"
        note(Training(patient=ana, topic=topic, done_on=TODAY, trained_by="Kim"), by=nurse, at=MORNING)
        assert "retraining" not in due_kinds(ana)


def test_an_alert_about_a_task_names_its_rule_as_one_that_ends_when_done() -> None:
    assert all(BY_KEY[key].ends_when_done for key in ("after_infection", "water_overdue", "training_overdue"))
