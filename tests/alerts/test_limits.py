"""Limits: default with source, overridden for the unit or one patient, with who, why and until when."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import ProgrammingError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.limits.book import KINDS, limit_for
from alerts.models import Limit
from alerts.services.limit_setting import set_limit
from homedialysis.accounts.models import Role, User
from sessions.models import Patient, Prescription
from tests.alerts.builders import DAY, MORNING, alerts_of, evaluated, reading
from tests.alerts.test_triage_page import text_of
from tests.conftest import signed_in
from tests.crowd import ours
from tests.factories import A_NIGHT, UserFactory

VENOUS = "venous_high"


def give(by: User, value: float | None, patient: Patient | None = None, **more: Any) -> Limit:
    return set_limit(name=VENOUS, patient=patient, value=value, by=by, **{"why": "Agreed.", "at": A_NIGHT} | more)


class TestWhichHolds:
    def value(self, patient: Patient, at: Any = MORNING) -> float:
        return limit_for(patient, VENOUS, at).value

    def test_the_default_with_its_source(self, ana: Patient) -> None:
        found = limit_for(ana, "systolic_low", MORNING)
        assert (found.value, found.words) == (90, "90 mmHg")
        assert found.source.endswith("[source read]")
        assert "2015;26:724" in found.source

    def test_the_units_before_the_default(self, ana: Patient, nurse: User) -> None:
        give(nurse, 230)
        found = limit_for(ana, VENOUS, MORNING)
        assert (found.value, found.source) == (230, "set for the unit by Nurse Kim on 2 Mar 2026: Agreed.")

    def test_the_patients_before_the_units(self, ana: Patient, ben: Patient, nurse: User) -> None:
        give(nurse, 280, ana)
        give(nurse, 230, at=A_NIGHT + timedelta(hours=1))
        assert (self.value(ana), self.value(ben)) == (280, 230)

    def test_the_newest_of_two(self, ana: Patient, nurse: User) -> None:
        give(nurse, 280, ana)
        give(nurse, 270, ana, at=A_NIGHT + timedelta(hours=1))
        assert self.value(ana) == 270

    def test_only_from_when_it_was_set(self, ana: Patient, nurse: User) -> None:
        give(nurse, 280, ana)
        assert self.value(ana, A_NIGHT - timedelta(seconds=1)) == 250
        assert self.value(ana, A_NIGHT) == 280

    def test_only_until_it_ends_then_what_held_before(self, ana: Patient, nurse: User) -> None:
        give(nurse, 230, ana, at=A_NIGHT - DAY)
        give(nurse, 280, ana, until=A_NIGHT + 7 * DAY)
        assert self.value(ana, A_NIGHT + 7 * DAY - timedelta(seconds=1)) == 280
        assert self.value(ana, A_NIGHT + 7 * DAY) == 230

    def test_without_a_value_the_wider_one_again(self, ana: Patient, nurse: User) -> None:
        give(nurse, 230)
        give(nurse, 280, ana)
        give(nurse, None, ana, at=A_NIGHT + timedelta(hours=1))
        assert self.value(ana) == 230

    def test_the_prescriptions_uf_rate_wins(self, ana: Patient, anas_prescription: Prescription, nurse: User) -> None:
        set_limit(name="uf_rate", patient=ana, value=12, why="x", by=nurse, at=A_NIGHT)
        found = limit_for(ana, "uf_rate", MORNING)
        assert (found.value, found.source) == (10, "prescription 1, signed on 1 Jan 2025")

    def test_without_a_prescription_the_published_uf_rate(self, ana: Patient) -> None:
        assert limit_for(ana, "uf_rate", MORNING).value == 13

    def test_a_name_that_is_no_limit(self, ana: Patient) -> None:
        with pytest.raises(KeyError):
            limit_for(ana, "mood", MORNING)


class TestSetting:
    @pytest.mark.parametrize("role", [Role.TECHNOLOGIST, Role.ADMINISTRATOR, Role.PATIENT, Role.CARE_PARTNER])
    def test_by_clinical_people_only(self, unit: object, role: Role) -> None:
        with pytest.raises(PermissionDenied):
            give(UserFactory(role=role), 230)

    @pytest.mark.parametrize(
        ("changes", "field", "says"),
        [
            ({"value": 900}, "value", "Venous pressure at most must be between 80 and 400 mmHg; 900 was given."),
            ({"why": " "}, "why", "Say why."),
            ({"until": A_NIGHT - DAY}, "until", "Must be after today; 1 Mar 2026 was given."),
        ],
    )
    def test_refused_field_by_field(self, nurse: User, changes: dict[str, Any], field: str, says: str) -> None:
        with pytest.raises(ValidationError) as caught:
            give(nurse, **({"value": 230} | changes))
        assert caught.value.message_dict == {field: [says]}

    def test_a_name_that_is_no_limit(self, nurse: User) -> None:
        with pytest.raises(ValidationError, match="no limit"):
            set_limit(name="mood", patient=None, value=1, why="x", by=nurse, at=A_NIGHT)

    @pytest.mark.parametrize("change", [lambda rows: rows.update(value=1), lambda rows: rows.delete()])
    def test_rows_are_only_ever_added(self, nurse: User, change: Any) -> None:
        give(nurse, 230)
        with pytest.raises(ProgrammingError, match="Cannot update or delete"), transaction.atomic():
            change(ours(Limit))

    def test_every_default_is_possible(self) -> None:
        assert [kind.name for kind in KINDS.values() if kind.refusal(kind.value)] == []


def test_each_night_is_judged_by_its_own_limit(ana: Patient, anas_prescription: Prescription, nurse: User) -> None:
    """260 mmHg was beyond 250 on Monday; from Tuesday on 280 holds."""
    nights = [{"readings": [reading(A_NIGHT + index * 2 * DAY, 60, venous_mmhg=260)]} for index in range(2)]
    evaluated(ana, nights[0])
    give(nurse, 280, ana, at=MORNING)
    evaluated(ana, nights[1], first=1)
    (alert,) = alerts_of(VENOUS)
    assert [(item["day"], item["limit"]) for item in alert.evidence] == [("2026-03-02", 250)]


class TestPages:
    def given(self, **changes: Any) -> dict[str, Any]:
        return {"name": VENOUS, "value": "280", "until": "", "why": "17 G needles."} | changes

    def set(self, client: Client, address: str, **changes: Any) -> Any:
        """Look at what it would change, then set it."""
        shown = client.post(address, self.given(**changes))
        assert shown.status_code == 200
        assert not ours(Limit).exists(), "nothing is set before somebody says so"
        return client.post(address, {"shown": shown.context["shown"]})

    def test_shows_what_holds_and_who_says_so(self, ana: Patient, nurse_client: Client, nurse: User) -> None:
        give(nurse, 280, ana, at=timezone.now())
        page = text_of(nurse_client.get(reverse("alerts:limits", args=[ana.pk])))
        assert "Venous pressure at most 280 mmHg Set for this patient by Nurse Kim" in page

    def test_shows_what_held_on_a_day(self, ana: Patient, nurse_client: Client, nurse: User) -> None:
        give(nurse, 280, ana, at=timezone.now())
        earlier = (timezone.localdate() - timedelta(days=1)).isoformat()
        page = text_of(nurse_client.get(reverse("alerts:limits", args=[ana.pk]), {"on": earlier}))
        assert "Venous pressure at most 250 mmHg Common practice" in page

    def test_set_for_a_patient_until_the_end_of_a_day(self, ana: Patient, nurse_client: Client) -> None:
        last_day = timezone.localdate() + timedelta(days=10)
        answer = self.set(nurse_client, reverse("alerts:limits", args=[ana.pk]), until=last_day.isoformat())
        assert answer.status_code == 302
        row = ours(Limit).get()
        assert (row.patient, row.value, row.why) == (ana, 280, "17 G needles.")
        assert row.until is not None
        with timezone.override("Europe/Lisbon"):
            assert timezone.localtime(row.until - timedelta(seconds=1)).date() == last_day

    def test_set_for_the_unit(self, nurse_client: Client) -> None:
        self.set(nurse_client, reverse("alerts:unit-limits"))
        assert ours(Limit).get().patient is None

    def test_what_was_shown_for_one_is_not_set_for_another(
        self, ana: Patient, ben: Patient, nurse_client: Client
    ) -> None:
        shown = nurse_client.post(reverse("alerts:limits", args=[ana.pk]), self.given()).context["shown"]
        nurse_client.post(reverse("alerts:limits", args=[ben.pk]), {"shown": shown})
        nurse_client.post(reverse("alerts:limits", args=[ana.pk]), {"shown": shown + "x"})
        assert not ours(Limit).exists()

    def test_an_impossible_value_is_refused_at_its_field(self, nurse_client: Client) -> None:
        answer = nurse_client.post(reverse("alerts:unit-limits"), self.given(value="900"))
        assert answer.status_code == 400
        assert answer.context["form"].errors["value"] == [
            "Venous pressure at most must be between 80 and 400 mmHg; 900 was given."
        ]
        assert not ours(Limit).exists()

    def test_what_the_prescription_says_is_not_set_here(
        self, ana: Patient, anas_prescription: Prescription, nurse_client: Client
    ) -> None:
        answer = nurse_client.post(reverse("alerts:limits", args=[ana.pk]), self.given(name="uf_rate", value="12"))
        assert answer.status_code == 400
        assert "prescription 1" in text_of(answer).lower()

    def test_others_look_but_do_not_set(self, ana: Patient, technologist: User) -> None:
        client, address = signed_in(technologist), reverse("alerts:limits", args=[ana.pk])
        assert "Show what it would change" not in text_of(client.get(address))
        assert client.post(address, self.given()).status_code == 403
        assert not ours(Limit).exists()

    @pytest.mark.parametrize("rows", [1, 3])
    def test_queries(
        self, ana: Patient, nurse_client: Client, nurse: User, rows: int, django_assert_num_queries: Any
    ) -> None:
        for _ in range(rows):
            give(nurse, 280, ana)
        with django_assert_num_queries(11):
            nurse_client.get(reverse("alerts:limits", args=[ana.pk]))
