"""Who wants a call first, and why: readable at once, live, and with a fixed number of questions to the database."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Alert, PendingEvaluation
from alerts.models.choices import Urgency
from alerts.rules import BY_KEY, RULES
from alerts.services import acting
from alerts.services.evaluation import evaluate_pending
from alerts.services.open_counts import open_alerts
from alerts.showing.in_short import MOST_LETTERS, SHORT, in_short
from alerts.showing.presenting import bundles
from dosing.services.month.reviewing import PlanToBe, plan, settle, write
from homedialysis.accounts.models import Role, User
from sessions.models import Patient, TreatmentRecord
from tests.alerts.builders import alerts_of, reading
from tests.alerts.made_alerts import made_alert
from tests.conftest import signed_in
from tests.factories import PatientFactory, PrescriptionFactory, UserFactory, record_night

TRIAGE = reverse("alerts:triage")
LIST = reverse("alerts:triage-list")


@pytest.fixture
def last_night() -> datetime:
    return timezone.now().replace(microsecond=0) - timedelta(hours=20)


def night_of(patient: Patient, start: datetime, **changes: Any) -> TreatmentRecord:
    record = record_night(patient, start, **changes)
    evaluate_pending(at=start + timedelta(hours=12))
    return record


def bad_night(patient: Patient, start: datetime) -> None:
    """Too much fluid too fast, a venous pressure beyond its limit, and a needle that came out."""
    night_of(
        patient,
        start,
        uf_removed_l=3.6,
        readings=[reading(start, 60), reading(start, 120, venous_mmhg=268)],
        events=[{"at": (start + timedelta(minutes=130)).isoformat(), "kind": "needle_dislodged", "note": "venous"}],
    )


def picture(patient: Patient) -> str:
    return reverse("alerts:picture", args=[patient.pk])


def text_of(page: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.content.decode()))


class TestWhatItShows:
    def test_one_line_a_patient(
        self, ana: Patient, nurse_client: Client, nurse: User, nephrologist: User, last_night: datetime
    ) -> None:
        """Who, why, how urgent, since when, who has looked, who has it, last contact, next treatment."""
        PrescriptionFactory(patient=ana, version=1, weekdays=[])
        bad_night(ana, last_night)
        page = nurse_client.get(TRIAGE)
        assert page.content.decode().count('class="bundle-link"') == 1
        line = text_of(page).partition("Treatment ")[2]
        assert re.search(r"Call today .*Ana Verdemar .*Needle came out ?; .*and 2 more .*nobody\s+none", line), line
        acting.assign(alerts=list(Alert.objects.filter(patient=ana)), by=nurse, to=nephrologist, at=timezone.now())
        acting.log_call(patient=ana, by=nurse, result="message", at=timezone.now())
        line = text_of(nurse_client.get(TRIAGE)).partition("Treatment ")[2]
        assert re.search(r"Nurse Kim, .*Dr Lee .*Left a message", line), line

    def test_the_row_speaks_of_all_that_it_shows(self, ana: Patient, nurse_client: Client, nurse: User) -> None:
        """A new alert beside one that is looked after since days: neither "since an hour" nor "nobody"."""
        now = timezone.now()
        old = made_alert(ana, at=now - timedelta(days=3))
        acting.assign(alerts=[old], by=nurse, to=nurse, at=now - timedelta(days=2))
        made_alert(ana, at=now - timedelta(minutes=30), rule="fever", cause="fever")
        (row,) = bundles(Alert.objects.open().for_page(), at=now, zone=ZoneInfo("UTC"))
        assert (row.since, row.unseen, row.carers) == (old.opened_at, 1, ["Nurse Kim"])
        assert row.looked is not None
        line = text_of(nurse_client.get(TRIAGE)).partition("Treatment ")[2]
        assert re.search(r"3 d .*Nurse Kim, .*\(1 new\) .*Nurse Kim", line), line

    def test_what_is_set_aside_stands_under_its_own_urgency(
        self, ana: Patient, nurse_client: Client, nurse: User
    ) -> None:
        now = timezone.now()
        made_alert(ana, at=now - timedelta(hours=2))
        quiet = made_alert(ana, at=now - timedelta(days=1), rule="fever", cause="fever", urgency=Urgency.AT_REVIEW)
        acting.set_aside(alerts=[quiet], by=nurse, until=(now + timedelta(days=9)).date(), words="Later.", at=now)
        assert "badge tone-call-today" in nurse_client.get(TRIAGE).content.decode()
        aside = text_of(nurse_client.get(TRIAGE, {"aside": "1"})).partition("Treatment ")[2]
        assert aside.startswith("At the review")
        assert "Call today" not in aside

    def test_one_count_of_what_is_open(self, ana: Patient, nurse_client: Client) -> None:
        """Triage, the month's board and the hand-over count what stands; what waits to be closed is told apart."""
        now = timezone.now()
        made_alert(ana, at=now - timedelta(minutes=20))
        made_alert(ana, at=now - timedelta(minutes=20), rule="missing", cause="missing", urgency=2, cause_gone_at=now)
        assert open_alerts([ana.pk]) == {ana.pk: 1}
        page = text_of(nurse_client.get(TRIAGE))
        assert "All open (1)" in page
        assert "This week (0)" in page
        handed = text_of(nurse_client.get(reverse("alerts:handover")))
        assert re.search(r"Open now: UF rate[^;]*\. Cause gone, waiting to be closed: Record missing ?\.", handed), (
            handed
        )

    def test_the_picture_opens_below_it(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        PrescriptionFactory(patient=ana, version=1, weekdays=[])
        bad_night(ana, last_night)
        assert f'data-picture="{picture(ana)}"' in nurse_client.get(TRIAGE).content.decode()
        shown = text_of(nurse_client.get(picture(ana)))
        for words in ("Last treatments", "Bloods", "Prescription in force", "Write down a call", "What was seen"):
            assert words in shown
        assert "01632 960200" in shown
        assert "Needle came out: venous" in shown
        assert "UF rate: 12.9 mL/kg/h limit 10 mL/kg/h doubtful" in shown
        assert "Venous pressure 268 mmHg limit 250 mmHg" in shown

    def test_links_to_patient_alert_and_record(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        bad_night(ana, last_night)
        (alert,) = alerts_of("venous_high")
        page = nurse_client.get(picture(ana)).content.decode()
        record = ana.treatments.get()
        for name, key in (("dosing:patient", ana.pk), ("alerts:detail", alert.pk), ("dosing:night", record.pk)):
            assert f'href="{reverse(name, args=[key])}"' in page
        assert 'href="tel:01632960200"' in page

    def test_who_wants_a_call_today_stands_first(
        self, ana: Patient, ben: Patient, nurse_client: Client, last_night: datetime
    ) -> None:
        night_of(ana, last_night, pre_systolic=190)
        night_of(ben, last_night, events=[{"at": last_night.isoformat(), "kind": "fainted", "note": ""}])
        page = nurse_client.get(TRIAGE).content.decode()
        assert page.index("Ben Okonjo") < page.index("Ana Verdemar")

    def test_whose_cause_is_gone_stands_last(
        self, ana: Patient, ben: Patient, nurse_client: Client, last_night: datetime
    ) -> None:
        night_of(ana, last_night, pre_systolic=190)
        night_of(ben, last_night, events=[{"at": last_night.isoformat(), "kind": "fainted", "note": ""}])
        Alert.objects.filter(patient=ben).update(cause_gone_at=timezone.now())
        page = nurse_client.get(TRIAGE).content.decode()
        assert page.index("Ana Verdemar") < page.index("1 patient whose alerts are over") < page.index("Ben Okonjo")

    def test_what_nobody_has_looked_at_stands_before_what_somebody_has(
        self, ana: Patient, ben: Patient, nurse_client: Client, nurse: User, last_night: datetime
    ) -> None:
        for person, start in ((ana, last_night), (ben, last_night + timedelta(hours=1))):
            night_of(person, start, events=[{"at": start.isoformat(), "kind": "fainted", "note": ""}])
        page = nurse_client.get(TRIAGE).content.decode()
        assert page.index("Ana Verdemar") < page.index("Ben Okonjo")
        acting.see(alert=Alert.objects.get(patient=ana), by=nurse, at=timezone.now())
        page = nurse_client.get(TRIAGE).content.decode()
        assert page.index("Ben Okonjo") < page.index("Ana Verdemar")

    def test_what_could_not_be_judged(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        night_of(ana, last_night, pre_systolic=190, post_weight_kg=None)
        said = text_of(nurse_client.get(picture(ana)))
        found = re.search(r"Could not be judged of [^:]+: (.*?), because weight after is not given", said)
        assert found
        assert "UF rate" in found[1]
        assert "weight after" in found[1]

    def test_the_last_thing_somebody_did(
        self, ana: Patient, nurse_client: Client, nephrologist: User, last_night: datetime
    ) -> None:
        night_of(ana, last_night, pre_systolic=190)
        (alert,) = alerts_of("pressure_high")
        acting.note(alerts=[alert], by=nephrologist, words="Salt talk booked.", at=timezone.now())
        assert "Dr Lee," in text_of(nurse_client.get(TRIAGE))
        assert "Salt talk booked." in text_of(nurse_client.get(picture(ana)))

    def test_only_one_urgency(self, ana: Patient, ben: Patient, nurse_client: Client, last_night: datetime) -> None:
        night_of(ana, last_night, pre_systolic=190)
        night_of(ben, last_night, events=[{"at": last_night.isoformat(), "kind": "fainted", "note": ""}])
        page = text_of(nurse_client.get(TRIAGE, {"urgency": "call-today"}))
        assert "Ben Okonjo" in page
        assert "Ana Verdemar" not in page
        assert "This week (1)" in page

    def test_filters_count_patients(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        kinds = ("fainted", "needle_dislodged")
        night_of(ana, last_night, events=[{"at": last_night.isoformat(), "kind": kind, "note": ""} for kind in kinds])
        assert len(alerts_of("fainted")) == len(alerts_of("needle_dislodged")) == 1
        page = text_of(nurse_client.get(TRIAGE))
        assert "All open (1)" in page
        assert "Call today (1)" in page

    def test_nothing_open(self, nurse_client: Client) -> None:
        page = text_of(nurse_client.get(TRIAGE))
        assert "No open alerts." in page
        assert "not an alarm: nobody watches it at all hours" in page

    def test_closed_ones_are_on_their_own_page(
        self, ana: Patient, nurse_client: Client, nurse: User, last_night: datetime
    ) -> None:
        night_of(ana, last_night, pre_systolic=190)
        (alert,) = alerts_of("pressure_high")
        acting.close(alerts=[alert], by=nurse, outcome="spoken", words="Takes it at bedtime.", at=timezone.now())
        assert "Ana Verdemar" not in text_of(nurse_client.get(LIST))
        closed = text_of(nurse_client.get(reverse("alerts:closed")))
        assert "Very high blood pressure before" in closed
        assert "Takes it at bedtime." in closed
        assert "Nurse Kim" in closed

    def test_a_note_of_markup_is_shown_as_text(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        event = {"at": last_night.isoformat(), "kind": "air", "note": "<script>alert(1)</script>"}
        night_of(ana, last_night, events=[event])
        assert b"<script>alert(1)" not in nurse_client.get(TRIAGE).content


class TestLive:
    def mark(self, page: Any) -> str:
        found = re.search(r"have=([0-9a-f]{16})", page.content.decode())
        assert found
        return found[1]

    def test_nothing_new_is_no_answer(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        bad_night(ana, last_night)
        mark = self.mark(nurse_client.get(TRIAGE))
        answer = nurse_client.get(LIST, {"have": mark}, headers={"HX-Request": "true"})
        assert (answer.status_code, answer.content) == (204, b"")

    def test_a_new_alert_is_there_with_a_new_mark(
        self, ana: Patient, ben: Patient, nurse_client: Client, last_night: datetime
    ) -> None:
        bad_night(ana, last_night)
        mark = self.mark(nurse_client.get(TRIAGE))
        bad_night(ben, last_night)
        answer = nurse_client.get(LIST, {"have": mark}, headers={"HX-Request": "true"})
        assert answer.status_code == 200
        assert "Ben Okonjo" in text_of(answer)
        assert self.mark(answer) != mark

    def test_a_step_by_somebody_else_is_new(
        self, ana: Patient, nurse_client: Client, nephrologist: User, last_night: datetime
    ) -> None:
        bad_night(ana, last_night)
        mark = self.mark(nurse_client.get(TRIAGE))
        (alert,) = alerts_of("needle_dislodged")
        acting.see(alert=alert, by=nephrologist, at=timezone.now())
        assert nurse_client.get(LIST, {"have": mark}).status_code == 200

    def test_the_filter_stays(self, ana: Patient, nurse_client: Client, last_night: datetime) -> None:
        bad_night(ana, last_night)
        answer = nurse_client.get(LIST, {"urgency": "call-today"})
        assert "UF rate" not in text_of(answer)
        assert "&amp;urgency=call-today" in answer.content.decode()


@pytest.mark.parametrize("patients", [1, 3])
@pytest.mark.parametrize(("address", "queries"), [(TRIAGE, 16), (LIST, 15), (reverse("alerts:closed"), 8)])
def test_the_number_of_queries_does_not_hang_on_the_number_of_patients(
    unit: object,
    nurse_client: Client,
    nurse: User,
    last_night: datetime,
    patients: int,
    address: str,
    queries: int,
    django_assert_num_queries: Any,
) -> None:
    for _ in range(patients):
        bad_night(PatientFactory(), last_night)
    for alert in alerts_of("venous_high"):
        acting.close(alerts=[alert], by=nurse, outcome="spoken", words="Done.", at=timezone.now())
    for alert in alerts_of("fainted"):
        acting.see(alert=alert, by=nurse, at=timezone.now())
    with django_assert_num_queries(queries):
        page = nurse_client.get(address)
    assert page.status_code == 200


@pytest.mark.parametrize("name", ["triage", "triage-list", "closed", "put-aside", "unit-limits", "heartbeat"])
class TestWhoMayLook:
    @pytest.mark.parametrize("role", [Role.NURSE, Role.NEPHROLOGIST, Role.TECHNOLOGIST, Role.ADMINISTRATOR])
    def test_staff(self, unit: object, role: Role, name: str) -> None:
        assert signed_in(UserFactory(role=role)).get(reverse(f"alerts:{name}")).status_code == 200

    def test_patients_and_partners_do_not(self, ana_client: Client, partner: User, name: str) -> None:
        for client in (ana_client, signed_in(partner)):
            assert client.get(reverse(f"alerts:{name}")).status_code == 403

    def test_strangers_sign_in_first(self, db: None, name: str) -> None:
        assert Client().get(reverse(f"alerts:{name}")).status_code == 302


class TestPutAside:
    @pytest.fixture
    def row(self, ana: Patient) -> PendingEvaluation:
        at = timezone.now()
        when = {"created_at": at, "due_at": at, "put_aside_at": at}
        return PendingEvaluation.objects.create(patient=ana, why="treatment recorded", last_error="Oops", **when)

    def test_shown_to_staff_and_told_on_triage(self, row: PendingEvaluation, nurse_client: Client) -> None:
        assert "Oops" in text_of(nurse_client.get(reverse("alerts:put-aside")))
        assert "1 evaluation failed and was put aside" in text_of(nurse_client.get(TRIAGE))

    def test_tried_again_on_a_button(self, row: PendingEvaluation, nurse_client: Client) -> None:
        answer = nurse_client.post(reverse("alerts:try-again", args=[row.pk]), follow=True)
        assert "it is tried within a minute" in text_of(answer)
        row.refresh_from_db()
        assert row.put_aside_at is None

    def test_a_row_that_is_gone(self, row: PendingEvaluation, nurse_client: Client) -> None:
        address = reverse("alerts:try-again", args=[row.pk])
        row.delete()
        assert "It is not here any more" in text_of(nurse_client.post(address, follow=True))


def test_evidence_that_came_from_paper_says_so(
    ana: Patient, anas_prescription: Any, last_night: datetime, nurse_client: Client
) -> None:
    night_of(ana, last_night, source="paper", events=[{"at": last_night.isoformat(), "kind": "needle_dislodged"}])
    assert Alert.objects.filter(patient=ana).exists()
    assert "(from paper)" in nurse_client.get(picture(ana)).content.decode()
    alert = Alert.objects.filter(patient=ana).first()
    assert alert is not None
    page = nurse_client.get(reverse("alerts:detail", args=[alert.pk])).content.decode()
    assert "(from paper)" in page


def test_evidence_of_the_night_itself_says_nothing_of_paper(
    ana: Patient, anas_prescription: Any, last_night: datetime, nurse_client: Client
) -> None:
    night_of(ana, last_night, events=[{"at": last_night.isoformat(), "kind": "needle_dislodged"}])
    assert Alert.objects.filter(patient=ana).exists()
    assert "(from paper)" not in nurse_client.get(picture(ana)).content.decode()


def test_what_a_review_gave_to_a_nurse_stands_on_her_list_and_on_the_hand_over(
    ana: Patient, nurse: User, nephrologist: User, nurse_client: Client
) -> None:
    month, today = date(2026, 3, 1), timezone.localdate()
    review = write(patient=ana, month=month, words="Enough.", for_patient="", by=nephrologist, at=timezone.now())
    item = plan(review=review, item=PlanToBe("Repeat the potassium", nurse, today - timedelta(days=1)), by=nephrologist)
    plan(review=review, item=PlanToBe("Write to the surgeon", nephrologist, today), by=nephrologist)
    triage, handover = (text_of(nurse_client.get(reverse(f"alerts:{name}"))) for name in ("triage", "handover"))
    assert re.search("Given to you by a review Ana Verdemar ?: Repeat the potassium, overdue since", triage)
    assert "Write to the surgeon" not in triage
    assert f"Repeat the potassium, {nurse.name}, overdue since" in handover
    assert f"Write to the surgeon, {nephrologist.name}, until" in handover
    settle(item=item, words="Done.", by=nurse, at=timezone.now())
    assert "Repeat the potassium" not in text_of(nurse_client.get(reverse("alerts:triage")))


def test_a_line_names_what_is_open_in_short_and_says_how_many_more_there_are(ana: Patient) -> None:
    """Nothing of it is cut off: what has no room in two lines is counted, and stands in the picture."""
    keys = ["uf_rate", "low_noted", "not_acknowledged", "gain"]
    alerts = [made_alert(ana, rule=key, cause=key) for key in keys]
    told = in_short(alerts)
    assert (told.first, told.others, told.more) == ("UF rate over its limit", [], 3)
    told = in_short(alerts[:2])
    assert (told.first, told.others, told.more) == ("UF rate over its limit", ["Low pressure, patient noted"], 0)
    assert set(SHORT) <= set(BY_KEY)
    names = {rule.key: str(SHORT.get(rule.key, rule.title)) for rule in RULES}
    assert {key: name for key, name in names.items() if len(name) > MOST_LETTERS} == {}
