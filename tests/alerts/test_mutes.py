"""A rule that is quiet for one patient: who, why, until when; judged all the same, and said on the patient's page."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import ProgrammingError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Alert, Mute, RecordJudgement
from alerts.rules import RULES
from alerts.services.muting import NotMuted, lift, mute, mutes_of
from homedialysis.accounts.models import Role, User
from sessions.models import Patient, Prescription
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated
from tests.alerts.test_triage_page import text_of
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, PrescriptionFactory, UserFactory

NEVER = (
    "Potassium dangerous", "Chlorine in the water", "Fever or shivering", "Fever", "Blood-leak alarm",
    "Redness, pain or pus at the access", "Something found at the access", "Begun although a check failed",
    "Venous pressure very low at treatment flow", "Conductivity low", "Conductivity high", "Water beyond its limit",
    "Needle came out", "Air in the line", "Chest pain", "Short of breath", "A line came apart",
    "Blood in the lines of a wrong colour", "Chlorine over the limit while connected",
)  # fmt: skip
"""Rules about danger, by name: written down here so that none is lost unseen."""
TOO_FAST = {"uf_removed_l": 3.6}


def quiet(patient: Patient, by: User, **changes: Any) -> Mute:
    given = {
        "rule": "uf_rate",
        "until": MORNING + 7 * DAY,
        "why": "A fourth day is being arranged.",
        "at": A_NIGHT - DAY,
    }
    return mute(patient=patient, by=by, **given | changes)


@pytest.mark.usefixtures("anas_prescription")
class TestWhatItDoes:
    def test_nothing_is_opened_and_the_night_is_judged(self, ana: Patient, nurse: User) -> None:
        quiet(ana, nurse)
        (record,) = evaluated(ana, TOO_FAST)
        assert alerts_of("uf_rate") == []
        found = RecordJudgement.objects.get(record=record).found
        assert [(row["rule"], round(row["value"], 1), row["limit"]) for row in found] == [("uf_rate", 12.9, 10)]

    def test_other_patients_and_rules_are_heard(self, ana: Patient, ben: Patient, nurse: User) -> None:
        quiet(ana, nurse)
        PrescriptionFactory(patient=ben, version=1)
        evaluated(ana, TOO_FAST | {"pre_systolic": 185})
        evaluated(ben, {"pre_systolic": 185})
        evaluated(ben, TOO_FAST, first=1)
        opened = ours(Alert).filter(rule__in=["pressure_high", "uf_rate"])
        assert {(alert.patient, alert.rule) for alert in opened} == {
            (ana, "pressure_high"),
            (ben, "pressure_high"),
            (ben, "uf_rate"),
        }

    def test_afterwards_what_was_seen_meanwhile_opens_nothing(self, ana: Patient, nurse: User) -> None:
        quiet(ana, nurse, until=MORNING)
        evaluated(ana, TOO_FAST, {})
        assert alerts_of("uf_rate") == []
        evaluated(ana, TOO_FAST, first=2)
        (alert,) = alerts_of("uf_rate")
        assert [item["day"] for item in alert.evidence] == ["2026-03-06"]

    def test_an_alert_that_stands_goes_on(self, ana: Patient, nurse: User) -> None:
        evaluated(ana, TOO_FAST)
        quiet(ana, nurse, at=MORNING)
        evaluated(ana, TOO_FAST, first=1)
        (alert,) = alerts_of("uf_rate")
        assert len(alert.evidence) == 2

    def test_heard_again(self, ana: Patient, nurse: User) -> None:
        quiet(ana, nurse)
        lift(patient=ana, rule="uf_rate", why="Arranged.", by=nurse, at=A_NIGHT - timedelta(hours=1))
        evaluated(ana, TOO_FAST)
        assert len(alerts_of("uf_rate")) == 1


class TestSetting:
    @pytest.mark.parametrize("role", [Role.TECHNOLOGIST, Role.ADMINISTRATOR, Role.PATIENT, Role.CARE_PARTNER])
    def test_by_clinical_people_only(self, ana: Patient, role: Role) -> None:
        with pytest.raises(PermissionDenied):
            quiet(ana, UserFactory(role=role))

    @pytest.mark.parametrize("rule", [rule.key for rule in RULES if not rule.may_be_muted])
    def test_safety_never(self, ana: Patient, nurse: User, rule: str) -> None:
        with pytest.raises(ValidationError, match="about safety and is never muted"):
            quiet(ana, nurse, rule=rule, until=A_NIGHT)

    @pytest.mark.parametrize(
        ("changes", "field", "says"),
        [
            ({"why": " "}, "why", "Say why."),
            ({"until": None}, "until", "Say until when."),
            ({"until": A_NIGHT - 2 * DAY}, "until", "Must be after today and within 92 days; 28 Feb 2026 was given."),
            ({"until": A_NIGHT + 92 * DAY}, "until", "Must be after today and within 92 days; 2 Jun 2026 was given."),
            ({"rule": "mood"}, "rule", "“mood” is no rule."),
        ],
    )
    def test_refused_field_by_field(
        self, ana: Patient, nurse: User, changes: dict[str, Any], field: str, says: str
    ) -> None:
        with pytest.raises(ValidationError) as caught:
            quiet(ana, nurse, **changes)
        assert caught.value.message_dict == {field: [says]}

    @pytest.mark.parametrize("change", [lambda rows: rows.update(until=None), lambda rows: rows.delete()])
    def test_rows_are_only_ever_added(self, ana: Patient, nurse: User, change: Any) -> None:
        quiet(ana, nurse)
        with pytest.raises(ProgrammingError, match="Cannot update or delete"), transaction.atomic():
            change(ours(Mute))

    def test_lifting_what_is_not_muted(self, ana: Patient, nurse: User) -> None:
        with pytest.raises(NotMuted):
            lift(patient=ana, rule="uf_rate", why="x", by=nurse, at=A_NIGHT)

    def test_the_newest_row_holds(self, ana: Patient, nurse: User) -> None:
        quiet(ana, nurse)
        quiet(ana, nurse, until=A_NIGHT + DAY, at=A_NIGHT)
        assert mutes_of(ana).at("uf_rate", A_NIGHT + 2 * DAY) is None
        assert mutes_of(ana).at("uf_rate", A_NIGHT - timedelta(hours=1)) is not None


class TestPages:
    def body(self, **changes: str) -> dict[str, str]:
        until = (timezone.localdate() + timedelta(days=7)).isoformat()
        given = {"rule": "venous_high", "until": until, "why": "Long line, known."} | changes
        return {f"mute-{name}": value for name, value in given.items()}

    def test_muted_said_and_heard_again(self, ana: Patient, nurse_client: Client) -> None:
        address = reverse("alerts:mutes-of-patient", args=[ana.pk])
        assert nurse_client.post(address, self.body()).status_code == 302
        part = text_of(nurse_client.get(address, headers={"HX-Request": "true"}))
        assert "Venous pressure over its limit opens nothing until" in part
        assert "Long line, known." in part
        nurse_client.post(reverse("alerts:lift-mute", args=[ana.pk, "venous_high"]), {"why": "Line changed."})
        assert nurse_client.get(address, headers={"HX-Request": "true"}).content.strip() == b""
        assert "Line changed." in text_of(nurse_client.get(address))

    def test_nothing_muted_is_an_empty_part(self, ana: Patient, nurse_client: Client) -> None:
        address = reverse("alerts:mutes-of-patient", args=[ana.pk])
        assert nurse_client.get(address, headers={"HX-Request": "true"}).content.strip() == b""

    def test_safety_is_not_offered_and_not_taken(self, ana: Patient, nurse_client: Client) -> None:
        address = reverse("alerts:mutes-of-patient", args=[ana.pk])
        offered = [
            key for _, rows in nurse_client.get(address).context["form"].fields["rule"].choices[1:] for key, _ in rows
        ]
        assert set(offered) == {rule.key for rule in RULES if rule.may_be_muted}
        page = text_of(nurse_client.get(address))
        for title in NEVER:
            assert title in page.partition("Never muted")[2].partition("Mute it")[0]
        assert nurse_client.post(address, self.body(rule="fainted")).status_code == 400

    def test_the_page_lists_every_rule_with_its_limit(
        self, ana: Patient, anas_prescription: Prescription, nurse_client: Client
    ) -> None:
        page = text_of(nurse_client.get(reverse("alerts:mutes-of-patient", args=[ana.pk])))
        assert all(str(rule.title) in page for rule in RULES)
        assert "UF rate at most 10 mL/kg/h" in page
        assert "Not judged: neither a panel of bloods nor a urine collection is set." in page

    def test_others_look(self, ana: Patient, technologist: User) -> None:
        address = reverse("alerts:mutes-of-patient", args=[ana.pk])
        client = signed_in(technologist)
        assert client.get(address).status_code == 200
        assert client.post(address, self.body()).status_code == 403
