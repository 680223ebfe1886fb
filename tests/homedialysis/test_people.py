"""Who may do what by role, what an account's page is built on, and what a signature stands for."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from django.test import RequestFactory

from homedialysis.accounts.models import Invitation, OpeningHours, Role, User
from homedialysis.accounts.pages.signing import fingerprint, objection, was_shown
from tests.conftest import signed_in
from tests.factories import PASSWORD, UserFactory

MAY = (
    "is_unit_staff",
    "is_clinical",
    "is_technologist_or_clinical",
    "is_nephrologist",
    "is_bedside",
    "is_administrator",
)
BY_ROLE = {
    Role.PATIENT: {"is_bedside"},
    Role.CARE_PARTNER: {"is_bedside"},
    Role.NURSE: {"is_unit_staff", "is_clinical", "is_technologist_or_clinical"},
    Role.NEPHROLOGIST: {"is_unit_staff", "is_clinical", "is_technologist_or_clinical", "is_nephrologist"},
    Role.TECHNOLOGIST: {"is_unit_staff", "is_technologist_or_clinical"},
    Role.ADMINISTRATOR: {"is_unit_staff", "is_administrator"},
}


@pytest.mark.parametrize("role", Role)
def test_what_a_role_may_and_who_is_shut_out_may_nothing(role: Role) -> None:
    assert {name for name in MAY if getattr(User(role=role), name)} == BY_ROLE[role]
    assert [name for name in MAY if getattr(User(role=role, is_active=False), name)] == []
    assert all(getattr(User(role=role), name) in (True, False) for name in MAY)


def test_rows_say_what_they_are() -> None:
    assert str(OpeningHours(weekday=0, opens=time(8), closes=time(17, 30))) == "Monday 08:00 to 17:30"
    invitation = Invitation(user=User(name="Nurse Ito"), expires_at=datetime(2026, 3, 9, 12, tzinfo=UTC))
    assert str(invitation) == "Invitation of Nurse Ito until 2026-03-09 12:00"
    assert [str(User(name=name, email="ito@example.org")) for name in ("Ito", "")] == ["Ito", "ito@example.org"]


@pytest.mark.django_db
@pytest.mark.parametrize("role", Role)
def test_an_account_s_page_is_the_phone_s_for_who_is_at_the_bedside(unit: Any, role: Role) -> None:
    page = signed_in(UserFactory(role=role)).get("/account/")
    phone = role in (Role.PATIENT, Role.CARE_PARTNER)
    assert page.context["base"] == ("phone_base.html" if phone else "unit_base.html")


SHOWN = {"days": [date(2026, 3, 2), date(2026, 3, 4)], "minutes": 240}


def test_a_signature_is_of_what_was_shown_and_of_nothing_else(rf: RequestFactory) -> None:
    """In whatever order its parts stand; one day or one minute more is another thing."""
    turned = dict(reversed(SHOWN.items()))
    others = [SHOWN | {"minutes": 241}, SHOWN | {"days": SHOWN["days"][:1]}, SHOWN | {"note": ""}, {}]
    sent = rf.post("/", {"seen": fingerprint(SHOWN)})
    assert was_shown(sent, turned)
    assert [was_shown(sent, other) for other in others] == [False] * len(others)
    assert not was_shown(rf.post("/"), SHOWN)
    assert len({fingerprint(each) for each in (SHOWN, *others)}) == 1 + len(others)


@pytest.mark.django_db
def test_it_wants_the_password_once_more(rf: RequestFactory, nephrologist: User) -> None:
    for password, words in ((PASSWORD, ""), ("a guess", "The password is not right. Nothing was signed.")):
        request = rf.post("/", {"password": password})
        request.user = nephrologist
        assert objection(request) == words
