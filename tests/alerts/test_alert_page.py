"""One alert's page: its evidence and steps, and what a nurse does about it."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Alert
from alerts.services import acting
from alerts.services.muting import mute
from homedialysis.accounts.models import ReadLog, Role, User
from sessions.models import Patient, Prescription
from tests.alerts.builders import DAY, MORNING, again, alerts_of, evaluated
from tests.alerts.made_alerts import made_alert
from tests.alerts.test_triage_page import text_of
from tests.conftest import signed_in
from tests.factories import UserFactory

TOO_FAST = {"uf_removed_l": 3.6}


@pytest.fixture
def alert(ana: Patient, anas_prescription: Prescription) -> Alert:
    evaluated(ana, TOO_FAST)
    (found,) = alerts_of("uf_rate")
    return found


def at(alert: Alert, name: str = "detail") -> str:
    return reverse(f"alerts:{name}", args=[alert.pk])


def answers(alert: Alert, **changes: Any) -> dict[str, Any]:
    newest = alert.steps.last()
    assert newest is not None
    return {"outcome": "spoken", "words": "Drinks less from now on.", "newest_step": newest.pk} | changes


class TestReading:
    def test_what_was_seen_against_what_from_which_source(self, alert: Alert, nurse_client: Client) -> None:
        page = text_of(nurse_client.get(at(alert)))
        assert "UF rate 12.9 mL/kg/h on 2 Mar, over the limit of 10 mL/kg/h." in page
        assert "Prescription 1, signed on 1 Jan 2025" in page
        assert "Opened" in page

    def test_the_time_is_the_patients(self, alert: Alert, ana: Patient, nurse_client: Client) -> None:
        ana.time_zone = "Atlantic/Azores"
        ana.save()
        assert "20:30" in text_of(nurse_client.get(at(alert)))  # 21:30 in Lisbon

    def test_evidence_that_a_correction_took_away(self, alert: Alert, nurse_client: Client) -> None:
        again(alert.patient.treatments.get(), uf_removed_l=2.4)
        page = text_of(nurse_client.get(at(alert)))
        assert "no longer so" in page
        assert "It waits for you to close it." in page

    def test_reading_it_is_noted(self, alert: Alert, nurse_client: Client, nurse: User) -> None:
        nurse_client.get(at(alert))
        assert ReadLog.objects.filter(user=nurse, patient_id=alert.patient_id, path=at(alert)).count() == 1

    def test_a_technologist_reads_but_has_no_forms(self, alert: Alert, technologist: User) -> None:
        page = signed_in(technologist).get(at(alert)).content.decode()
        assert "UF rate 12.9" in page
        assert f'action="{at(alert, "close")}"' not in page

    def test_an_alert_that_is_not_there(self, nurse_client: Client) -> None:
        assert nurse_client.get(reverse("alerts:detail", args=[999999])).status_code == 404


class TestActing:
    def test_seen(self, alert: Alert, nurse_client: Client, nurse: User) -> None:
        nurse_client.post(at(alert, "seen"))
        step = alert.steps.last()
        assert step is not None
        assert (step.kind, step.who) == ("seen", nurse)

    def test_note(self, alert: Alert, nurse_client: Client) -> None:
        page = nurse_client.post(at(alert, "note"), {"words": "No answer at nine."}, follow=True)
        assert "No answer at nine." in text_of(page)

    def test_close(self, alert: Alert, nurse_client: Client, nurse: User) -> None:
        answer = nurse_client.post(at(alert, "close"), answers(alert))
        assert answer["Location"] == reverse("alerts:triage")
        alert.refresh_from_db()
        assert (alert.state, alert.closed_by, alert.outcome) == ("closed", nurse, "spoken")
        assert "Spoken with the patient" in text_of(nurse_client.get(at(alert)))

    @pytest.mark.parametrize("missing", ["outcome", "words"])
    def test_close_without(self, alert: Alert, nurse_client: Client, missing: str) -> None:
        answer = nurse_client.post(at(alert, "close"), answers(alert, **{missing: ""}))
        assert answer.status_code == 400
        assert "This field is required." in text_of(answer)
        alert.refresh_from_db()
        assert alert.is_open

    def test_close_after_somebody_added_a_step(self, alert: Alert, nurse_client: Client, nephrologist: User) -> None:
        given = answers(alert)
        acting.note(alerts=[alert], by=nephrologist, words="Target weight changes.", at=MORNING)
        answer = nurse_client.post(at(alert, "close"), given)
        assert answer.status_code == 409
        page = text_of(answer)
        assert "Something was added since you opened this page" in page
        assert "Target weight changes." in page
        assert given["words"] in page
        nurse_client.post(at(alert, "close"), answers(alert))
        alert.refresh_from_db()
        assert not alert.is_open

    def test_close_after_somebody_closed_it(self, alert: Alert, nurse_client: Client, nephrologist: User) -> None:
        given = answers(alert)
        acting.close(alerts=[alert], by=nephrologist, outcome="physician", words="Seen in clinic.", at=MORNING)
        answer = nurse_client.post(at(alert, "close"), given)
        assert answer.status_code == 409
        page = text_of(answer)
        assert "Dr Lee closed this alert on 3 Mar 2026 at 09:30." in page
        assert "Seen in clinic." in page
        assert given["words"] in page
        alert.refresh_from_db()
        assert alert.outcome == "physician"

    def test_what_was_closed_is_opened_again_with_a_reason(
        self, alert: Alert, nurse_client: Client, nephrologist: User
    ) -> None:
        acting.close(alerts=[alert], by=nephrologist, outcome="physician", words="Seen in clinic.", at=MORNING)
        assert "Why" in text_of(nurse_client.get(at(alert)))
        refused = nurse_client.post(at(alert, "reopen"), {"words": " "})
        assert refused.status_code == 400
        assert "Say why it is opened again." in text_of(refused)
        assert nurse_client.post(at(alert, "reopen"), {"words": "It is not over."}).status_code == 302
        page = text_of(nurse_client.get(at(alert)))
        assert "Opened again by" in page
        assert "It is not over." in page

    def test_a_task_is_not_closed_by_talking(self, ana: Patient, nurse_client: Client) -> None:
        task = made_alert(ana, rule="care_overdue", cause="disinfection")
        page = text_of(nurse_client.get(at(task)))
        assert "It is over when it is done" in page
        assert "Close this alert" not in page
        answer = nurse_client.post(at(task, "close"), answers(task))
        assert answer.status_code == 400
        assert task.steps.count() == 1

    def test_a_muted_rule_says_so_on_the_alerts_page(self, alert: Alert, nurse: User, nurse_client: Client) -> None:
        now = timezone.now()
        mute(patient=alert.patient, rule="uf_rate", until=now + DAY, why="Fourth day is coming.", by=nurse, at=now)
        page = text_of(nurse_client.get(at(alert)))
        assert "This rule is muted for Ana Verdemar until" in page
        assert "Fourth day is coming." in page

    @pytest.mark.parametrize("role", [Role.TECHNOLOGIST, Role.ADMINISTRATOR, Role.PATIENT, Role.CARE_PARTNER])
    @pytest.mark.parametrize("name", ["seen", "note", "close", "reopen", "take-up"])
    def test_others_do_not_act(self, alert: Alert, role: Role, name: str) -> None:
        client = signed_in(UserFactory(role=role))
        assert client.post(at(alert, name), answers(alert)).status_code == 403
        assert alert.steps.count() == 1

    @pytest.mark.parametrize("name", ["seen", "note", "close", "reopen", "take-up"])
    def test_not_by_a_mere_link(self, alert: Alert, nurse_client: Client, name: str) -> None:
        assert nurse_client.get(at(alert, name)).status_code == 405


class TestBesideOtherPages:
    def test_a_patients_alerts_as_page_and_as_part(self, alert: Alert, nurse_client: Client) -> None:
        address = reverse("alerts:of-patient", args=[alert.patient_id])
        page, part = nurse_client.get(address), nurse_client.get(address, headers={"HX-Request": "true"})
        assert "<html" in page.content.decode()
        assert "<html" not in part.content.decode()
        for shown in (page, part):
            assert "UF rate over its limit" in text_of(shown)

    def test_what_rests_on_a_record(self, alert: Alert, nurse_client: Client) -> None:
        record = alert.patient.treatments.get()
        page = text_of(nurse_client.get(reverse("alerts:of-record", args=[record.pk])))
        assert "UF rate over its limit" in page
        (other,) = evaluated(alert.patient, {"post_weight_kg": None}, first=1)
        page = text_of(nurse_client.get(reverse("alerts:of-record", args=[other.pk])))
        assert "No alert rests on it." in page
        assert re.search(r"UF rate[^.]*, because weight after is not given\.", page)

    @pytest.mark.parametrize("nights", [1, 3])
    def test_queries(self, alert: Alert, nurse_client: Client, nights: int, django_assert_num_queries: Any) -> None:
        evaluated(alert.patient, *[TOO_FAST] * (nights - 1), first=1)
        nurse_client.post(at(alert, "note"), {"words": "So far."}, follow=True)
        with django_assert_num_queries(14):
            nurse_client.get(at(alert))


@pytest.mark.parametrize("role", [Role.PATIENT, Role.CARE_PARTNER])
def test_patients_do_not_read_alerts(alert: Alert, ana: Patient, role: Role) -> None:
    own = signed_in(ana.account)
    for client in (own, signed_in(UserFactory(role=role))):
        assert client.get(at(alert)).status_code == 403
        assert client.get(reverse("alerts:of-patient", args=[ana.pk])).status_code == 403


def test_the_morning_is_twelve_hours_after_the_night() -> None:
    """The clocks of the tests above: 21:30 UTC is 21:30 in Lisbon in March."""
    assert MORNING.hour == 9
    assert MORNING.utcoffset() == timedelta(0)
