"""Rota, messages, hand-over, time line and the quality of alerts, as pages."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from alerts.models import Absence, Alert, AlertMessage, Mute, PushAddress, RotaTurn, Routine
from alerts.services import acting, quality
from alerts.showing.pictures import picture_of
from alerts.showing.sparklines import last_contacts
from homedialysis.accounts.models import User
from sessions.models import Patient, Prescription
from tests.alerts.made_alerts import MORNING, made_alert
from tests.alerts.test_triage_page import text_of
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import AccessFactory, BloodFactory, PatientFactory, PrescriptionFactory, record_night

DAY = timedelta(days=1)
ROTA, MESSAGES = reverse("alerts:rota"), reverse("alerts:deliveries")
HANDOVER, QUALITY = reverse("alerts:handover"), reverse("alerts:quality")


class TestRota:
    def test_a_turn_is_put_on_and_taken_off(self, nurse_client: Client, nurse: User) -> None:
        body = {"what": "turn", "person": nurse.pk, "weekday": 0, "begins": "08:00", "ends": "12:00", "place": 1}
        assert nurse_client.post(ROTA, body).status_code == 302
        assert "1. Nurse Kim, 08:00 to 12:00" in text_of(nurse_client.get(ROTA))
        nurse_client.post(reverse("alerts:drop-turn", args=[RotaTurn.objects.get().pk]))
        assert RotaTurn.objects.count() == 0

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            (
                {"what": "turn", "weekday": 0, "begins": "12:00", "ends": "08:00", "place": 1},
                "Must be after 12:00; 08:00",
            ),
            (
                {"what": "absence", "first_day": "2026-03-04", "last_day": "2026-03-02"},
                "Must not be before 4 Mar 2026; 2 Mar 2026 was given.",
            ),
            ({"what": "routine", "seen_within_minutes": 3, "reopen_days": 14}, "greater than or equal to 5"),
        ],
    )
    def test_what_is_wrong_is_named(self, nurse_client: Client, nurse: User, body: dict[str, Any], words: str) -> None:
        answer = nurse_client.post(ROTA, {"person": nurse.pk} | body)
        assert answer.status_code == 400
        assert words in text_of(answer)
        assert (RotaTurn.objects.count(), Absence.objects.count(), Routine.objects.count()) == (0, 0, 0)

    def test_the_units_times(self, nurse_client: Client) -> None:
        nurse_client.post(ROTA, {"what": "routine", "seen_within_minutes": 45, "reopen_days": 7})
        assert (Routine.objects.get().seen_within_minutes, Routine.objects.get().reopen_days) == (45, 7)
        nurse_client.post(ROTA, {"what": "routine", "seen_within_minutes": 20, "reopen_days": 7})
        assert Routine.objects.get().seen_within_minutes == 20

    def test_a_technologist_only_reads(self, technologist: User) -> None:
        client = signed_in(technologist)
        assert "Put on the rota" not in text_of(client.get(ROTA))
        assert client.post(ROTA, {"what": "routine", "seen_within_minutes": 45, "reopen_days": 7}).status_code == 403


class TestMessages:
    @pytest.fixture
    def failed(self, nurse: User) -> AlertMessage:
        at = timezone.now()
        answer = {"code": "mail_said", "parts": {"code": 550, "words": "No such mailbox"}}
        found: AlertMessage = AlertMessage.objects.create(
            to=nurse, channel="email", made_at=at, due_at=at, failed_at=at, attempts=1, answer=answer
        )
        return found

    def test_a_failure_is_shown_everywhere_until_it_is_read(self, failed: AlertMessage, nurse_client: Client) -> None:
        banner = reverse("alerts:heartbeat")
        assert "1 message to staff did not arrive" in text_of(nurse_client.get(banner))
        assert "550: No such mailbox" in text_of(nurse_client.get(MESSAGES))
        nurse_client.post(reverse("alerts:failures-read"), {"delivery": [failed.pk, "x"]})
        assert "did not arrive" not in text_of(nurse_client.get(banner))
        assert "read by Nurse Kim" in text_of(nurse_client.get(MESSAGES))

    def test_a_test_to_oneself(self, nurse_client: Client, nurse: User) -> None:
        nurse_client.post(reverse("alerts:test-message"))
        row = ours(AlertMessage).get()
        assert (row.to, row.alert, row.channel) == (nurse, None, "email")

    @pytest.mark.parametrize("count", [1, 5])
    def test_queries(
        self, ana: Patient, nurse_client: Client, nurse: User, count: int, django_assert_max_num_queries: Any
    ) -> None:
        alert, at = made_alert(ana), timezone.now()
        for number in range(count):
            AlertMessage.objects.create(
                alert=alert, waiting_since=at + number * DAY, to=nurse, channel="email", made_at=at, due_at=at
            )
        with django_assert_max_num_queries(14):
            nurse_client.get(MESSAGES)


POINT = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
SECRET = "BTBZMqHH6r4Tts7J_aSIgg"
"""The receiver's key and secret of RFC 8291, section 5."""


def browser(**changes: Any) -> dict[str, Any]:
    return {"endpoint": "https://push.example.net/x", "keys": {"p256dh": POINT, "auth": SECRET}} | changes


class TestBrowsers:
    def post(self, client: Client, body: Any) -> Any:
        return client.post(reverse("alerts:push-sign-up"), json.dumps(body), content_type="application/json")

    def test_signs_up_and_is_removed(self, nurse_client: Client, nurse: User) -> None:
        assert self.post(nurse_client, browser()).status_code == 201
        address = ours(PushAddress).get()
        assert (address.person, address.p256dh) == (nurse, POINT)
        nurse_client.post(reverse("alerts:push-drop", args=[address.pk]))
        assert ours(PushAddress).count() == 0

    def test_a_browser_belongs_to_who_used_it_last(
        self, nurse_client: Client, nephrologist_client: Client, nephrologist: User
    ) -> None:
        self.post(nurse_client, browser())
        self.post(nephrologist_client, browser())
        assert ours(PushAddress).get().person == nephrologist

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            ([], "endpoint and keys are needed"),
            ({"endpoint": "https://push.example.net/x"}, "endpoint and keys are needed"),
            (browser(endpoint="http://push.example.net/x"), "must be an https address"),
            (browser(endpoint="https://127.0.0.1/x"), "must name a push service"),
            (browser(endpoint="https://[::1]/x"), "must name a push service"),
            (browser(endpoint="https://2130706433/x"), "must name a push service"),
            (browser(endpoint="https://postgres/x"), "must name a push service"),
            (browser(endpoint="https://db.internal/x"), "must name a push service"),
            (browser(endpoint="https://push.example.net:5432/x"), "must be an https address"),
            (browser(endpoint="https://a@push.example.net/x"), "must be an https address"),
            (browser(keys={"p256dh": "abc", "auth": SECRET}), "p256dh must be 65 bytes"),
            (browser(keys={"p256dh": POINT, "auth": ""}), "auth must be 16 bytes"),
        ],
    )
    def test_what_is_refused(self, nurse_client: Client, body: Any, words: str) -> None:
        answer = self.post(nurse_client, body)
        assert answer.status_code == 400
        assert words in answer.json()["detail"]
        assert ours(PushAddress).count() == 0

    def test_not_without_end(self, nurse_client: Client) -> None:
        for number in range(10):
            self.post(nurse_client, browser(endpoint=f"https://push.example.net/{number}"))
        answer = self.post(nurse_client, browser())
        assert (answer.status_code, ours(PushAddress).count()) == (400, 10)

    def test_the_worker_is_a_script_that_knows_nobody(self, client: Client, unit: object) -> None:
        answer = client.get(reverse("alerts:staff-worker"))
        assert answer["Content-Type"] == "text/javascript"
        assert '"/triage/"' in answer.content.decode()


class TestHandOver:
    def test_what_changed_since_the_unit_closed(
        self, ana: Patient, ben: Patient, nurse: User, nurse_client: Client
    ) -> None:
        now = timezone.now()
        long_ago = made_alert(ben, at=now - 20 * DAY, urgency=2)
        fresh = made_alert(ana, at=now - timedelta(minutes=50))
        acting.log_call(patient=ana, by=nurse, result="reached", said="All well.", at=now - timedelta(minutes=40))
        until = (now + 5 * DAY).date()
        acting.set_aside(alerts=[long_ago], by=nurse, until=until, words="Waits.", at=now - timedelta(minutes=30))
        Mute.objects.create(
            patient=ben, rule="uf_rate", since=now - timedelta(minutes=20), until=now + DAY, why="Known.", set_by=nurse
        )
        acting.close(alerts=[fresh], by=nurse, outcome="spoken", words="Drinks less.", at=now - timedelta(minutes=10))
        since = timezone.localtime(now - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")
        answer = nurse_client.get(HANDOVER, {"since": since})
        told = answer.context["told"]
        assert told.counts == [
            ("new alerts", 1),
            ("closed", 1),
            ("calls", 1),
            ("set aside or back", 1),
            ("mutes", 1),
        ]
        page = text_of(answer)
        for words in ("All well.", "Drinks less.", "Waits.", "Known.", "Spoken with the patient"):
            assert words in page

    def test_a_closing_taken_back_is_no_closing(self, ana: Patient, nurse: User, nurse_client: Client) -> None:
        """Neither the hand-over nor the last contact tells of it; a closing that holds is a contact."""
        now = timezone.now()
        alert, other = made_alert(ana, at=now - timedelta(days=2)), made_alert(ana, rule="fever", cause="fever")
        acting.log_call(patient=ana, by=nurse, result="no_answer", at=now - timedelta(days=1))
        when = now - timedelta(minutes=10)
        acting.close(alerts=[alert], by=nurse, outcome="spoken", words="Drinks less.", at=when)
        assert last_contacts([ana.pk])[ana.pk].result == "Spoken with"
        assert acting.was_reached(other)
        assert "Spoken with " in text_of(nurse_client.get(reverse("alerts:triage")))
        assert "Closed UF rate" in text_of(nurse_client.get(HANDOVER))
        acting.reopen(alert=alert, by=nurse, at=when + timedelta(minutes=1))
        assert last_contacts([ana.pk])[ana.pk].result == "No answer"
        assert not acting.was_reached(other)
        page = text_of(nurse_client.get(HANDOVER))
        assert "Closed UF rate" not in page
        assert "(opened again)" in page

    def test_a_time_that_is_not_over_is_refused(self, nurse_client: Client) -> None:
        answer = nurse_client.get(HANDOVER, {"since": "2990-01-01T10:00"})
        assert answer.status_code == 400
        assert "Must be before now; 1 Jan 2990, 10:00 was given." in text_of(answer)

    @pytest.mark.parametrize("patients", [1, 4])
    def test_queries(
        self, unit: object, nurse_client: Client, patients: int, django_assert_max_num_queries: Any
    ) -> None:
        for _ in range(patients):
            made_alert(PatientFactory(), at=timezone.now() - timedelta(minutes=5))
        with django_assert_max_num_queries(19):
            nurse_client.get(HANDOVER)


class TestQuality:
    def test_rates_shares_and_times(self, ana: Patient, ben: Patient, nurse: User) -> None:
        """Two patients for 30 days; three alerts, looked at after 1, 2 and 10 hours; one closed as known."""
        alerts = [
            made_alert(ana),
            made_alert(ben),
            made_alert(ana, rule="short", cause="short", at=MORNING + DAY),
        ]
        for alert, hours in zip(alerts, (1, 2, 10), strict=True):
            acting.see(alert=alert, by=nurse, at=alert.opened_at + timedelta(hours=hours))
        acting.close(alerts=alerts[:1], by=nurse, outcome="spoken", words="x", at=MORNING + DAY)
        acting.close(alerts=alerts[1:2], by=nurse, outcome="known", words="x", at=MORNING + DAY)
        found = quality.quality_between(MORNING - 10 * DAY, MORNING + 20 * DAY)
        assert found.patient_months == pytest.approx(60 / (365.25 / 12))
        total, rows = found.total, {row.key: row for row in found.rules}
        assert (total.alerts, total.closed, total.acted_percent) == (3, 2, 50)
        assert total.median == timedelta(hours=2)
        assert total.p90 == timedelta(hours=8, minutes=24)  # numpy.percentile([1, 2, 10], 90) = 8.4
        assert (rows["uf_rate"].alerts, rows["short"].alerts, rows["short"].acted_percent) == (2, 1, None)

    def test_the_interval_is_scipys(self) -> None:
        """SciPy's chi-squared quantiles (Garwood's interval)."""
        rate = quality.rate_of(7, 3.5)
        assert rate.rate == pytest.approx(2.0)
        assert rate.low == pytest.approx(stats.chi2.ppf(0.025, 14) / 2 / 3.5, rel=1e-6)
        assert rate.high == pytest.approx(stats.chi2.ppf(0.975, 16) / 2 / 3.5, rel=1e-6)

    def test_without_patients_there_is_no_rate(self, unit: object, nurse_client: Client) -> None:
        assert quality.rate_of(0, 0) == quality.Rate(None, None, None)
        assert "unknown" in text_of(nurse_client.get(QUALITY))

    def test_one_who_came_and_left(self, ana: Patient) -> None:
        Patient.objects.filter(pk=ana.pk).update(joined_on="2026-03-01", left_on="2026-03-11")
        months = quality.patient_months(MORNING.date() - 30 * DAY, MORNING.date() + 30 * DAY)
        assert months == pytest.approx(10 / (365.25 / 12))

    def test_what_came_back_counts_again(self, ana: Patient) -> None:
        alert = made_alert(ana)
        alert.steps.create(kind="back_again", at=MORNING + DAY)
        assert quality.quality_between(MORNING, MORNING + 2 * DAY).total.alerts == 2

    @pytest.mark.parametrize("patients", [1, 4])
    @pytest.mark.parametrize("days", ["30", "90", "365"])
    def test_queries(
        self, unit: object, nurse_client: Client, patients: int, days: str, django_assert_num_queries: Any
    ) -> None:
        for number in range(patients):
            made_alert(PatientFactory(), at=timezone.now() - DAY, rule=f"rule{number}")
        with django_assert_num_queries(11):
            assert nurse_client.get(QUALITY, {"days": days}).status_code == 200


class TestPicture:
    def test_limit_usual_and_what_is_told(self) -> None:
        first = MORNING.date()
        course = [(first + DAY * index, 8.0 + index % 2) for index in range(6)]
        told = {first + 6 * DAY: 13.0}
        picture = picture_of(course, told, limit=10, label="UF rate", unit="mL/kg/h")
        assert picture is not None
        assert picture.limit is not None
        assert picture.usual is not None
        assert (picture.limit.words, picture.usual.words) == ("limit 10", "usual 8.5")
        assert [dot.told for dot in picture.dots] == [False] * 6 + [True]
        assert picture.dots[-1].y < picture.limit.y < picture.usual.y, "upwards is more"
        assert abs(picture.limit.text_y - picture.usual.text_y) >= 12
        expected = (
            "UF rate, 7 treatments from 3 Mar to 9 Mar, from 8 to 13 mL/kg/h, the last 13. Limit 10. Usual before 8.5."
        )
        assert picture.words == expected

    def test_too_few_to_see_anything(self) -> None:
        assert picture_of([], {MORNING.date(): 13.0}, limit=10, label="UF rate", unit="") is None

    def test_equal_values_do_not_divide_by_nothing(self) -> None:
        course = [(MORNING.date() + DAY * index, 5.0) for index in range(3)]
        picture = picture_of(course, {}, limit=None, label="x", unit="")
        assert picture is not None
        assert len({dot.y for dot in picture.dots}) == 1


class TestTimeLine:
    def test_a_needle_change_stands_beside_the_pressures(
        self, ana: Patient, nurse_client: Client, anas_prescription: Prescription
    ) -> None:
        now = timezone.now().replace(microsecond=0)
        change = now - 20 * DAY
        ours(Prescription).update(in_force=(datetime(2025, 1, 1, tzinfo=UTC), change))
        PrescriptionFactory(patient=ana, version=2, needle_gauge=17, in_force=(change, None))
        AccessFactory(patient=ana, created_on=(now - 60 * DAY).date())
        BloodFactory(patient=ana, drawn_at=now - 10 * DAY)
        record_night(ana, now - 30 * DAY)
        record_night(ana, now - 15 * DAY)
        made_alert(ana, at=now - 5 * DAY)
        answer = nurse_client.get(reverse("alerts:timeline", args=[ana.pk]))
        page = text_of(answer)
        for words in (
            "needles, G 15 to 17",
            "Needles 15 G to 17 G, first used",
            "Access made:",
            "UF rate over its limit",
        ):
            assert words in page
        figure = answer.context["figure"]
        lanes = {trace["name"]: len(trace["x"]) for trace in figure["data"] if trace.get("yaxis") == "y2"}
        assert lanes == {"Access": 2, "Bloods": 1, "Prescription": 1, "Alerts": 1}
        assert len(figure["layout"]["shapes"]) == 3
        assert len(figure["data"][0]["x"]) == 2

    def test_as_a_part_of_the_patients_page(self, ana: Patient, nurse_client: Client) -> None:
        address = reverse("alerts:timeline", args=[ana.pk])
        assert "<html" not in nurse_client.get(address, headers={"HX-Request": "true"}).content.decode()

    @pytest.mark.parametrize("alerts", [1, 4])
    def test_queries(self, ana: Patient, nurse_client: Client, alerts: int, django_assert_max_num_queries: Any) -> None:
        for number in range(alerts):
            made_alert(ana, at=timezone.now() - DAY, cause=str(number))
        with django_assert_max_num_queries(15):
            nurse_client.get(reverse("alerts:timeline", args=[ana.pk]))


def test_patients_are_told_who_looks(ana: Patient, ana_client: Client, nurse_client: Client) -> None:
    record = record_night(ana)
    address = reverse("dosing:night", args=[record.pk])
    told = text_of(ana_client.get(address))
    assert "call the unit on call: 01632 960100" in told
    assert ("The unit is open until" in told) != ("The unit is closed: nobody looks at this until" in told)
    assert "who-looks" not in nurse_client.get(address).content.decode()


def test_my_patients(ana: Patient, ben: Patient, nurse: User, nurse_client: Client) -> None:
    made_alert(ana)
    mine = made_alert(ben)
    acting.assign(alerts=[mine], by=nurse, to=nurse, at=timezone.now())
    page = text_of(nurse_client.get(reverse("alerts:triage"), {"mine": "1"}))
    assert "Ben Okonjo" in page
    assert "Ana Verdemar" not in page
    assert ours(Alert).open().count() == 2
