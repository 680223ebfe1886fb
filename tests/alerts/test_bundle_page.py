"""One patient's alerts on one page: acting on several, calls, and what the other nurse does meanwhile."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any, ClassVar

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Alert, Call
from alerts.services import acting
from homedialysis.accounts.models import ReadLog, User
from sessions.models import Patient
from tests.alerts.made_alerts import made_alert
from tests.alerts.test_triage_page import text_of
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import BloodFactory, PatientFactory, PrescriptionFactory

LAST = "the last thing"


@pytest.fixture
def two(ana: Patient) -> list[Alert]:
    at = timezone.now() - timedelta(hours=3)
    return [
        made_alert(ana, at=at),
        made_alert(ana, at=at, rule="venous_high", cause="venous_high", urgency=2),
    ]


def at(patient: Patient, name: str = "bundle") -> str:
    return reverse(f"alerts:{name}", args=[patient.pk])


def parts_of(client: Client, patient: Patient) -> list[str]:
    """The parts as the page offers them."""
    page = client.get(at(patient)).content.decode()
    return list(dict.fromkeys(re.findall(r'name="parts" value="(\d+-\d+)"', page)))


def given(client: Client, patient: Patient, do: str, **changes: Any) -> dict[str, Any]:
    """Every alert is ticked; `outcome` is what came of each of them."""
    parts, outcome = parts_of(client, patient), changes.pop("outcome", "")
    outcomes = {f"outcome_{part.partition('-')[0]}": outcome for part in parts}
    return {"parts": parts, "words": "Comes on Thursday.", "do": do} | outcomes | changes


class TestReading:
    def test_everything_that_is_open(self, two: list[Alert], ana: Patient, nurse_client: Client, nurse: User) -> None:
        PrescriptionFactory(patient=ana, version=1)
        page = text_of(nurse_client.get(at(ana)))
        for words in (
            "UF rate over its limit",
            "Venous pressure over its limit",
            "01632 960200",
            "Next treatment",
            "Opened",
        ):
            assert words in page
        assert ReadLog.objects.filter(user=nurse, patient_id=ana.pk, path=at(ana)).count() == 1

    def test_the_numbers_of_the_bloods_stand_on_it(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        BloodFactory(patient=ana, analyte="2823-3", value=5.13, timing="apart")
        assert "Potassium mmol/L 5.13" in text_of(nurse_client.get(at(ana)))

    def test_a_technologist_reads_but_has_no_forms(self, two: list[Alert], ana: Patient, technologist: User) -> None:
        page = signed_in(technologist).get(at(ana)).content.decode()
        assert "UF rate over its limit" in page
        assert at(ana, "act") not in page
        assert at(ana, "log-call") not in page

    @pytest.mark.parametrize("count", [1, 4])
    def test_queries(self, ana: Patient, nurse_client: Client, count: int, django_assert_max_num_queries: Any) -> None:
        for number in range(count):
            made_alert(ana, at=timezone.now(), cause=str(number))
        with django_assert_max_num_queries(31):
            nurse_client.get(at(ana))


class TestActing:
    def test_close_both_in_one_go(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        answer = nurse_client.post(at(ana, "act"), given(nurse_client, ana, "close", outcome="visit"))
        assert answer["Location"] == reverse("alerts:triage")
        assert set(ours(Alert).values_list("state", "outcome")) == {("closed", "visit")}

    def test_close_one_and_stay(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        body = given(nurse_client, ana, "close", outcome="visit")
        body["parts"] = body["parts"][:1]
        body[f"outcome_{two[1].pk}"] = ""
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer["Location"] == at(ana)
        assert [alert.is_open for alert in ours(Alert).order_by("pk")] == [False, True]

    def test_give_set_aside_note_and_look(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        until = (timezone.now() + timedelta(days=2)).date()
        for do in ("assign", "note"):
            body = given(nurse_client, ana, do, to=nephrologist.pk)
            assert nurse_client.post(at(ana, "act"), body).status_code == 302
        body = given(nurse_client, ana, "aside", until=until.isoformat())
        refused = nurse_client.post(at(ana, "act"), body)
        assert refused.status_code == 400
        assert "wants a call today: note first that the patient was reached" in text_of(refused)
        nurse_client.post(at(ana, "log-call"), {"about": [], "result": "reached", "said": "Well."})
        assert nurse_client.post(at(ana, "act"), body)["Location"] == reverse("alerts:triage")
        alert = two[0]
        alert.refresh_from_db()
        assert alert.assigned_to == nephrologist
        assert [step.kind for step in alert.steps.all()] == ["opened", "assigned", "note", "set_aside"]
        assert "Ana Verdemar" not in text_of(nurse_client.get(reverse("alerts:triage")))
        assert "Ana Verdemar" in text_of(nurse_client.get(reverse("alerts:triage"), {"aside": "1"}))

    @pytest.mark.parametrize(
        ("do", "changes", "words"),
        [
            ("close", {}, "Say what came of it."),
            ("close", {"outcome": "visit", "words": " "}, "Needed for “Close”."),
            ("aside", {}, "Needed for “Set aside”."),
            ("aside", {"until": "2020-01-01"}, "at most 3 days away; 1 Jan 2020 was given"),
            ("assign", {}, "Needed for “Give to”."),
            ("note", {"words": ""}, "Needed for “Save as a note”."),
            ("burn", {}, "Press one of the buttons below"),
            ("note", {"parts": []}, "Tick what it is about."),
            ("note", {"parts": ["999999-1"]}, "is not one of the available choices"),
        ],
    )
    def test_what_is_missing_is_named_and_what_was_typed_is_kept(
        self, two: list[Alert], ana: Patient, nurse_client: Client, do: str, changes: dict[str, Any], words: str
    ) -> None:
        answer = nurse_client.post(at(ana, "act"), given(nurse_client, ana, do, **changes))
        assert answer.status_code == 400
        assert words in text_of(answer)
        if "words" not in changes:
            assert "Comes on Thursday." in answer.content.decode()
        assert [alert.steps.count() for alert in two] == [1, 1]

    def test_not_with_an_alert_of_somebody_else(
        self, two: list[Alert], ana: Patient, ben: Patient, nurse_client: Client
    ) -> None:
        other = made_alert(ben)
        body = given(nurse_client, ana, "note", parts=[f"{other.pk}-{other.steps.get().pk}"])
        assert nurse_client.post(at(ana, "act"), body).status_code == 400
        assert other.steps.count() == 1


class TestEachByItself:
    def test_nothing_is_ticked_beforehand(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        page = nurse_client.get(at(ana)).content.decode()
        assert not re.search(r'name="parts"[^>]*checked', page)

    def test_with_an_outcome_of_its_own(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        body = given(nurse_client, ana, "close", outcome="visit") | {f"outcome_{two[1].pk}": "known"}
        assert nurse_client.post(at(ana, "act"), body).status_code == 302
        assert dict(ours(Alert).values_list("rule", "outcome")) == {"uf_rate": "visit", "venous_high": "known"}

    def test_an_outcome_without_a_tick_is_asked_about(
        self, two: list[Alert], ana: Patient, nurse_client: Client
    ) -> None:
        body = given(nurse_client, ana, "close", outcome="visit")
        answer = nurse_client.post(at(ana, "act"), body | {"parts": body["parts"][:1]})
        assert answer.status_code == 400
        assert "Tick it too" in text_of(answer)
        assert ours(Alert).open().count() == 2

    def test_undo(self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User) -> None:
        nurse_client.post(at(ana, "act"), given(nurse_client, ana, "close", outcome="visit"))
        triage = reverse("alerts:triage")
        assert text_of(nurse_client.get(triage)).count("Closed by you at") == 2
        assert "Closed by you at" not in text_of(signed_in(nephrologist).get(triage))
        assert nurse_client.post(reverse("alerts:reopen", args=[two[0].pk]))["Location"] == at(ana)
        assert list(ours(Alert).open()) == [two[0]]
        assert "Opened again by" in text_of(nurse_client.get(at(ana)))

    def test_a_task_is_over_when_it_is_done(self, ana: Patient, nurse_client: Client) -> None:
        made_alert(ana, rule="care_overdue", cause="disinfection")
        assert "over when it is done" in text_of(nurse_client.get(at(ana)))
        answer = nurse_client.post(at(ana, "act"), given(nurse_client, ana, "close"))
        assert answer.status_code == 400
        assert "is over when it is noted as done" in text_of(answer)


class TestTwoNurses:
    def test_the_others_step_is_shown_and_the_words_are_kept(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        body = given(nurse_client, ana, "close", outcome="visit")
        acting.note(alerts=two[:1], by=nephrologist, words="I see her at noon.", at=timezone.now())
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer.status_code == 409
        page = text_of(answer)
        assert "Something was added since you opened this page" in page
        assert "I see her at noon." in page
        assert "Comes on Thursday." in page
        assert ours(Alert).open().count() == 2
        html = answer.content.decode()
        again = re.findall(r'name="parts" value="(\d+-\d+)"[^>]*checked', html)
        assert nurse_client.post(at(ana, "act"), body | {"parts": sorted(set(again))}).status_code == 302
        assert ours(Alert).open().count() == 0

    def test_a_form_with_a_fault_does_not_forget_what_its_reader_had_seen(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        body = given(nurse_client, ana, "close")
        acting.note(alerts=two[:1], by=nephrologist, words="I see her at noon.", at=timezone.now())
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer.status_code == 400
        for part in body["parts"]:
            assert f'value="{part}"' in answer.content.decode()

    def test_closed_meanwhile(self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User) -> None:
        body = given(nurse_client, ana, "assign", to=nephrologist.pk)
        acting.close(alerts=two[:1], by=nephrologist, outcome="visit", words="Here at noon.", at=timezone.now())
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer.status_code == 409
        page = text_of(answer)
        assert "Comes on Thursday." in page
        assert "Dr Lee closed this alert" in page
        problem = page.partition("What happened meanwhile:")[2].partition("What it is about")[0]
        assert "Here at noon." in problem

    def test_all_closed_meanwhile_and_the_words_become_a_note(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        body = given(nurse_client, ana, "close", outcome="spoken")
        acting.close(alerts=two, by=nephrologist, outcome="visit", words="Here at noon.", at=timezone.now())
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer.status_code == 409
        assert "Comes on Thursday." in text_of(answer)
        html = answer.content.decode()
        again = set(re.findall(r'name="parts" value="(\d+-\d+)"[^>]*checked', html))
        assert len(again) == 2
        assert nurse_client.post(at(ana, "act"), body | {"do": "note", "parts": sorted(again)}).status_code == 302
        assert [[step.kind for step in alert.steps.all()] for alert in two] == [["opened", "closed", "note"]] * 2

    def test_of_another_patients_alert_nothing_is_told(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        other = made_alert(PatientFactory())
        acting.note(alerts=[other], by=nephrologist, words="Not about Ana.", at=timezone.now())
        body = given(nurse_client, ana, "note") | {"parts": [f"{other.pk}-0"]}
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer.status_code == 400
        assert "Not about Ana." not in text_of(answer)

    def test_the_error_takes_the_focus(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        html = nurse_client.post(at(ana, "act"), given(nurse_client, ana, "close")).content.decode()
        problem = re.search(r'<div class="notice error problem" id="problem"[^>]*>', html)
        assert problem
        assert 'tabindex="-1"' in problem[0]
        assert html.index('id="act"') < problem.start() < html.index("act-rows")

    def test_the_live_part_tells_of_it(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        mark = re.search(r"have=([0-9a-f]{16})", nurse_client.get(at(ana)).content.decode())
        assert mark
        live = at(ana, "bundle-live")
        assert nurse_client.get(live, {"have": mark[1]}).status_code == 204
        acting.see(alert=two[0], by=nephrologist, at=timezone.now())
        answer = nurse_client.get(live, {"have": mark[1]})
        assert "Seen by Dr Lee" in text_of(answer)
        assert "<form" not in answer.content.decode()


class TestCalls:
    def test_noted_with_plan_and_next(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        soon = timezone.localtime(timezone.now() + timedelta(minutes=5)).strftime("%Y-%m-%dT%H:%M")
        body = {
            "about": parts_of(nurse_client, ana),
            "result": "message",
            "plan": "Rings back.",
            "next_call_at": soon,
        }
        assert nurse_client.post(at(ana, "log-call"), body)["Location"] == at(ana)
        call = ours(Call).get()
        assert (call.result, call.plan) == ("message", "Rings back.")
        assert "Left a message" in text_of(nurse_client.get(at(ana)))
        triage = text_of(nurse_client.get(reverse("alerts:triage")))
        assert "Left a message" in triage
        assert f"again {timezone.localtime(call.next_call_at):%-d %b %H:%M}" in triage

    def test_it_stands_beside_the_alerts_that_were_chosen(
        self, two: list[Alert], ana: Patient, nurse_client: Client
    ) -> None:
        (first,) = [part for part in parts_of(nurse_client, ana) if part.startswith(f"{two[0].pk}-")]
        answer = nurse_client.post(at(ana, "log-call"), {"about": [first], "result": "no_answer"})
        assert answer.status_code == 302
        assert [[step.kind for step in alert.steps.all()] for alert in two] == [["opened", "call"], ["opened"]]

    def test_not_beside_an_alert_of_somebody_else(
        self, two: list[Alert], ana: Patient, ben: Patient, nurse_client: Client
    ) -> None:
        other = made_alert(ben)
        body = {"about": [f"{other.pk}-{other.steps.get().pk}"], "result": "no_answer"}
        assert nurse_client.post(at(ana, "log-call"), body).status_code == 400
        assert (other.steps.count(), ours(Call).count()) == (1, 0)

    def test_what_the_other_nurse_did_meanwhile_is_read_first(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        body = {"about": parts_of(nurse_client, ana), "result": "reached", "said": "Drank more at the party."}
        acting.note(alerts=two[:1], by=nephrologist, words="I see her at noon.", at=timezone.now())
        answer = nurse_client.post(at(ana, "log-call"), body)
        assert answer.status_code == 409
        for words in (
            "Something was added since you opened this page",
            "I see her at noon.",
            "Drank more at the party.",
        ):
            assert words in text_of(answer)
        assert not ours(Call).exists()
        again = re.findall(r'name="about" value="(\d+-\d+)"[^>]*checked', answer.content.decode())
        assert nurse_client.post(at(ana, "log-call"), body | {"about": sorted(set(again))}).status_code == 302
        assert ours(Call).get().said == "Drank more at the party."

    def test_a_call_that_is_due_is_not_forgotten_when_nothing_is_open(
        self, ana: Patient, nurse: User, nurse_client: Client
    ) -> None:
        then = timezone.now() - timedelta(days=2)
        acting.log_call(patient=ana, by=nurse, result="no_answer", at=then, next_call_at=then + timedelta(days=1))
        assert "Calls due today Ana Verdemar" in text_of(nurse_client.get(reverse("alerts:triage")))
        acting.log_call(patient=ana, by=nurse, result="reached", said="All well.", at=timezone.now())
        assert "Calls due today" not in text_of(nurse_client.get(reverse("alerts:triage")))

    def test_what_is_missing_is_named(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        answer = nurse_client.post(at(ana, "log-call"), {"result": "reached", "plan": "Weighs daily."})
        assert answer.status_code == 400
        assert "write down what was said" in text_of(answer)
        assert "Weighs daily." in answer.content.decode()


class TestNothingTypedIsLost:
    """Both forms are sent with every button; what the button does not use stands in its field again."""

    CALL: ClassVar = {"result": "reached", "said": "Slept badly, leg cramps.", "plan": "Weighs daily."}

    def test_a_look_keeps_what_was_typed_of_the_call(
        self, two: list[Alert], ana: Patient, nurse_client: Client
    ) -> None:
        body = given(nurse_client, ana, "seen", words="") | self.CALL
        page = nurse_client.post(at(ana, "act"), body, follow=True)
        form = page.context["call_form"]
        assert {name: form[name].value() for name in self.CALL} == self.CALL
        assert "Slept badly, leg cramps." in page.content.decode()

    def test_a_look_keeps_the_words_of_its_own_form_with_the_boxes(
        self, two: list[Alert], ana: Patient, nurse_client: Client
    ) -> None:
        body = given(nurse_client, ana, "seen", words="Ask about salt.")
        form = nurse_client.post(at(ana, "act"), body, follow=True).context["act_form"]
        assert form["words"].value() == "Ask about salt."
        assert form["parts"].value() == [each.part for each in form.offered]
        assert {step.kind for step in two[0].steps.all()} == {"opened", "seen"}

    def test_a_call_keeps_what_was_typed_of_what_was_done(
        self, two: list[Alert], ana: Patient, nurse_client: Client
    ) -> None:
        body = given(nurse_client, ana, "note", words="Ask about salt.") | self.CALL
        form = nurse_client.post(at(ana, "log-call"), body, follow=True).context["act_form"]
        assert form["words"].value() == "Ask about salt."
        assert ours(Call).get().said == self.CALL["said"]

    def test_a_refused_deed_keeps_the_call(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        body = given(nurse_client, ana, "note", words="") | self.CALL
        page = nurse_client.post(at(ana, "act"), body)
        assert (page.status_code, page.context["call_form"]["said"].value()) == (400, self.CALL["said"])

    def test_what_was_used_is_not_shown_again(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        page = nurse_client.post(at(ana, "act"), given(nurse_client, ana, "note"), follow=True)
        assert page.context["act_form"]["words"].value() is None

    def test_it_is_shown_once(self, two: list[Alert], ana: Patient, nurse_client: Client) -> None:
        nurse_client.post(at(ana, "act"), given(nurse_client, ana, "seen", words="") | self.CALL, follow=True)
        assert nurse_client.get(at(ana)).context["call_form"]["said"].value() is None

    def test_closing_the_last_one_stays_with_the_call_that_is_typed(
        self, two: list[Alert], ana: Patient, nurse_client: Client
    ) -> None:
        body = given(nurse_client, ana, "close", outcome="visit") | self.CALL
        answer = nurse_client.post(at(ana, "act"), body)
        assert answer["Location"] == at(ana)
        assert nurse_client.get(at(ana)).context["call_form"]["said"].value() == self.CALL["said"]

    def test_words_about_alerts_that_others_closed_are_told(
        self, two: list[Alert], ana: Patient, nurse_client: Client, nephrologist: User
    ) -> None:
        body = given(nurse_client, ana, "note", words="Ask about salt.") | self.CALL
        ours(Alert).update(state="closed", closed_at=timezone.now(), closed_by=nephrologist, outcome="visit")
        page = nurse_client.post(at(ana, "log-call"), body | {"about": []}, follow=True)
        assert "Nothing is open any more" in text_of(page)
        assert "Ask about salt." in text_of(page)
