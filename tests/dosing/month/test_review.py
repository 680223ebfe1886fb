"""A review: written, planned, signed for exactly what was shown, then frozen; addenda; release to the patient."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import ProgrammingError, transaction
from django.test import Client
from django.utils import timezone

from dosing.models import MonthlyReview, PatientMonth, PlanItem
from dosing.services.decision.report import sheet_of
from dosing.services.month.board import PatientLine, row_html
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import compute_month
from dosing.services.month.ranges import set_range
from dosing.services.month.review_changes import change_lines
from dosing.services.month.reviewing import settle
from dosing.services.month.reviewing import sign as signed_review
from homedialysis.accounts.models import User
from sessions.models import Patient
from sessions.services.prescribing import sign_prescription
from tests.crowd import ours
from tests.factories import PASSWORD, BloodFactory, PrescriptionFactory
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)
WORDS = {
    "words": "Dose enough; potassium high.",
    "for_patient": "Your treatment does its work. We talk about potassium.",
}


@pytest.fixture
def where(ana: Patient) -> str:
    PrescriptionFactory(patient=ana, version=1)
    potassium(ana, 6.1, 3)
    return f"/patients/{ana.pk}/months/2026-03/review/"


def potassium(person: Patient, value: float, month: int) -> None:
    BloodFactory(patient=person, analyte="2823-3", value=value, drawn_at=datetime(2026, month, 10, 9, tzinfo=UTC))
    compute_month(person, date(2026, month, 1), at=timezone.now())
    ours(PatientMonth).update(stale=False)


def seen(client: Client, where: str) -> str:
    found: str = client.get(where).context["seen"]
    assert f'value="{found}"' in client.get(where).content.decode()
    return found


def sign(client: Client, where: str, **changes: Any) -> Any:
    given = {"seen": seen(client, where), "password": PASSWORD} | changes
    return client.post(f"{where}sign/", given, follow=True).content.decode()


def test_written_planned_signed_and_frozen(nephrologist_client: Client, where: str, ana: Patient, nurse: User) -> None:
    nephrologist_client.post(where, WORDS)
    plan = {"plan-words": "Talk about potassium", "plan-owner": nurse.pk, "plan-due_on": "2026-04-10"}
    nephrologist_client.post(f"{where}plan/", plan)
    assert "From now on it only takes addenda." in sign(nephrologist_client, where)
    review = ours(MonthlyReview).get()
    assert review.frozen["numbers"]["potassium"]["value"] == 6.1
    assert review.frozen["places"]["potassium"] == 1
    with pytest.raises(ProgrammingError), transaction.atomic():
        ours(MonthlyReview).update(words="Other words.")
    refused = nephrologist_client.post(where, WORDS | {"words": "Other words."}, follow=True).content.decode()
    assert "Somebody has signed this review meanwhile" in refused
    nephrologist_client.post(f"{where}add/", {"words": "Potassium was haemolysed: repeated, 5.2."})
    potassium_after = BloodFactory(
        patient=ana, analyte="2823-3", value=5.2, drawn_at=datetime(2026, 3, 20, 9, tzinfo=UTC)
    )
    compute_month(ana, MARCH, at=timezone.now())
    page = laid_flat(nephrologist_client.get(where))
    assert potassium_after.value == 5.2
    assert "6.1 ▲" in page, "a signed review shows the numbers as they were"
    assert "Potassium was haemolysed: repeated, 5.2." in page


def test_what_was_signed_stays_when_ranges_prescription_or_numbers_change(
    nephrologist_client: Client, where: str, ana: Patient, nephrologist: User
) -> None:
    nephrologist_client.post(where, WORDS)
    sign(nephrologist_client, where)
    wide: dict[str, Any] = {"number": "potassium", "low": 3, "high": 7, "default": False, "why": "Wider."}
    set_range(**wide, by=nephrologist, at=timezone.now())
    order = PrescriptionFactory.build(
        patient=ana, version=2, minutes=300, signed_by=nephrologist, dialyser=ana.prescriptions.get().dialyser
    )
    sign_prescription(prescription=order, by=nephrologist, at=timezone.now())
    ours(PatientMonth).filter(month=MARCH).update(numbers={})
    page = laid_flat(nephrologist_client.get(where))
    sheet = sheet_of(ana, MARCH, at=timezone.now())
    for told in (page, str(sheet)):
        assert "Potassium: 6.1, now above the range (4.0 to 5.5 mmol/L)." in told
        assert "6.1 ▲" in told
        assert "300 minutes" not in told
    assert dict(sheet["prescription"])["Length"] == "4:00 h"


def test_what_is_ordered_after_the_signature_is_no_news_of_that_month(
    nephrologist_client: Client, where: str, ana: Patient, nephrologist: User
) -> None:
    """However late the numbers of the month are computed, and on the board as on the page."""
    nephrologist_client.post(where, WORDS)
    sign(nephrologist_client, where)
    potassium(ana, 5.0, 4)
    april = where.replace("2026-03", "2026-04")
    nephrologist_client.post(april, WORDS)
    now = timezone.now()
    order = PrescriptionFactory.build(
        patient=ana, version=2, minutes=300, signed_by=nephrologist, dialyser=ana.prescriptions.get().dialyser
    )
    sign_prescription(prescription=order, by=nephrologist, at=now)
    compute_month(ana, date(2026, 4, 1), at=now + timedelta(hours=1))
    review = ours(MonthlyReview).get(month=date(2026, 4, 1))
    signed_review(review=review, by=nephrologist, at=now - timedelta(minutes=1))
    page = nephrologist_client.get(april)
    assert not [line for line in page.context["changes"] if line.startswith("Prescription")]
    lines = nephrologist_client.get("/months/2026-04/").context["lines"]
    (line,) = (each for each in lines if each.patient == ana)
    assert (line.version, line.new_orders) == (1, False)


def test_what_is_newly_out_of_range_is_told_first_and_what_is_back_last(ana: Patient) -> None:
    begins = datetime(2026, 3, 10, tzinfo=UTC)
    PrescriptionFactory(patient=ana, version=1, in_force=(datetime(2026, 1, 1, tzinfo=UTC), begins))
    PrescriptionFactory(patient=ana, version=2, minutes=300, in_force=(begins, None))
    number = {"earlier": 5.0, "range": [4.0, 5.5], "why": None}
    changes = [
        number | {"number": "potassium", "value": 5.0, "place": 0},
        number | {"number": "phosphate", "value": None, "place": 0, "why": {"code": "no_result"}},
        {"prescription": [1, 2]},
        number | {"number": "haemoglobin", "value": 97.0, "place": -1},
    ]
    water = {"number": "water", "value": 1.0, "earlier": 0.0, "place": 1, "range": [None, 0], "why": None}
    assert change_lines(ana, [water]) == ["Water: action level, was within the limit."]
    phosphate = number | {"number": "phosphate", "value": 1.9, "place": 1, "range": [0.8, 1.45]}
    assert "now above the range (0.80 to 1.45 mmol/L)" in change_lines(ana, [phosphate])[0]
    told = [line.split()[0].rstrip(":") for line in change_lines(ana, changes)]
    assert list(dict.fromkeys(told)) == ["Haemoglobin", "Prescription", "Phosphate", "Potassium"]


def test_only_what_was_shown_is_signed(nephrologist_client: Client, where: str, ana: Patient) -> None:
    nephrologist_client.post(where, WORDS)
    opened = seen(nephrologist_client, where)
    nephrologist_client.post(where, WORDS | {"words": "Changed by a colleague."})
    assert "Something changed since you opened this page" in sign(nephrologist_client, where, seen=opened)
    assert ours(MonthlyReview).get().signed_at is None


def test_a_wrong_password_does_not_sign(nephrologist_client: Client, where: str) -> None:
    nephrologist_client.post(where, WORDS)
    assert "The password is not right." in sign(nephrologist_client, where, password="guess")
    assert ours(MonthlyReview).get().signed_at is None


def test_numbers_that_wait_to_be_computed_are_not_signed(nephrologist_client: Client, where: str) -> None:
    nephrologist_client.post(where, WORDS)
    opened = seen(nephrologist_client, where)
    ours(PatientMonth).update(stale=True)
    assert "are being computed" in sign(nephrologist_client, where, seen=opened)
    assert ours(MonthlyReview).get().signed_at is None


def test_nurses_write_and_only_nephrologists_sign(nurse_client: Client, where: str) -> None:
    nurse_client.post(where, WORDS)
    page = nurse_client.get(where).content.decode()
    assert "A nephrologist signs the review." in page
    assert nurse_client.post(f"{where}sign/", {"seen": "x", "password": PASSWORD}).status_code == 403


def test_the_next_review_says_what_changed_and_what_is_still_to_do(
    nephrologist_client: Client, where: str, ana: Patient, nurse: User
) -> None:
    nephrologist_client.post(where, WORDS)
    nephrologist_client.post(
        f"{where}plan/", {"plan-words": "Diet advice", "plan-owner": nurse.pk, "plan-due_on": "2026-04-10"}
    )
    sign(nephrologist_client, where)
    potassium(ana, 5.0, 4)
    next_page = where.replace("2026-03", "2026-04")
    page = nephrologist_client.get(next_page).content.decode()
    assert "Potassium: 5.0, was 6.1, back in range (4.0 to 5.5 mmol/L)." in page
    assert "Diet advice" in page
    assert "overdue" in page
    item = ours(PlanItem).get()
    told = nephrologist_client.get(f"/patients/{ana.pk}/").content.decode()
    assert "Still to do from reviews" in told
    assert "Diet advice" in told
    nephrologist_client.post(f"/plan/{item.pk}/done/", {"words": "Seen on the 9th."})
    assert "Diet advice" not in nephrologist_client.get(next_page).content.decode()
    assert "Seen on the 9th." in nephrologist_client.get(where).content.decode()


def test_the_patient_reads_what_was_released_and_nothing_before(
    nephrologist_client: Client, ana_client: Client, ben_client: Client, where: str, ana: Patient
) -> None:
    nephrologist_client.post(where, WORDS)
    early = nephrologist_client.post(f"{where}release/", follow=True).content.decode()
    assert "Sign the review, with words for the patient, before it is released." in early
    sign(nephrologist_client, where)
    told = f"/letters/{ana.pk}/"
    assert "We talk about potassium." not in ana_client.get(told).content.decode()
    nephrologist_client.post(f"{where}release/")
    page = ana_client.get(told).content.decode()
    assert "We talk about potassium." in page
    assert "Dose enough" not in page
    assert ben_client.get(told).status_code == 404


def test_the_first_who_says_that_a_plan_is_done_stands(
    nephrologist_client: Client, where: str, nurse: User, nephrologist: User
) -> None:
    nephrologist_client.post(where, WORDS)
    plan_body = {"plan-words": "Talk about potassium", "plan-owner": nurse.pk, "plan-due_on": "2026-04-10"}
    nephrologist_client.post(f"{where}plan/", plan_body)
    item = ours(PlanItem).get()
    first, second = (datetime(2026, 4, day, 9, tzinfo=UTC) for day in (2, 3))
    settle(item=item, words="Spoken.", by=nurse, at=first)
    settle(item=item, words="Also spoken.", by=nephrologist, at=second)
    item.refresh_from_db()
    assert (item.done_at, item.done_by, item.done_words) == (first, nurse, "Spoken.")


TYPED = WORDS | {"for_patient": "Eat less fruit, please."}


def test_what_stands_typed_is_what_is_signed_in_one_go(nephrologist_client: Client, where: str, nurse: User) -> None:
    plan = {"plan-words": "Talk about fruit", "plan-owner": nurse.pk, "plan-due_on": "2026-04-10"}
    assert "Signed: Ana Verdemar, March 2026." in sign(nephrologist_client, where, **TYPED, **plan)
    review = ours(MonthlyReview).get()
    assert (review.words, review.for_patient) == (TYPED["words"], "Eat less fruit, please.")
    assert review.signed_at is not None
    assert [item.words for item in review.plan.all()] == ["Talk about fruit"]


@pytest.mark.parametrize("wrong", [{"password": "guess"}, {"seen": "another page"}])
def test_what_stands_typed_is_kept_where_it_cannot_be_signed(
    nephrologist_client: Client, where: str, wrong: dict[str, str]
) -> None:
    page = sign(nephrologist_client, where, **TYPED, **{"plan-words": "Diet advice"}, **wrong)
    review = ours(MonthlyReview).get()
    assert (review.signed_at, review.for_patient) == (None, "Eat less fruit, please.")
    assert 'value="Diet advice"' in page


def test_a_plan_typed_and_not_added_holds_the_signature_and_stays(
    nephrologist_client: Client, where: str, nurse: User
) -> None:
    nephrologist_client.post(where, WORDS)
    page = sign(nephrologist_client, where, **WORDS, **{"plan-words": "Diet advice"})
    assert "complete it or empty it, then sign" in page
    assert 'value="Diet advice"' in page
    assert ours(MonthlyReview).get().signed_at is None


def test_keep_leaves_a_plan_in_its_fields_and_adding_one_keeps_the_words(
    nephrologist_client: Client, where: str, nurse: User
) -> None:
    page = nephrologist_client.post(where, WORDS | {"plan-words": "Diet advice"}, follow=True)
    assert 'value="Diet advice"' in page.content.decode()
    plan = {"plan-words": "Diet advice", "plan-owner": nurse.pk, "plan-due_on": "2026-04-10"}
    nephrologist_client.post(f"{where}plan/", TYPED | plan)
    assert ours(MonthlyReview).get().for_patient == "Eat less fruit, please."
    assert ours(PlanItem).get().words == "Diet advice"


def test_a_plan_that_is_refused_keeps_the_words(nephrologist_client: Client, where: str) -> None:
    nephrologist_client.post(where, WORDS)
    page = nephrologist_client.post(f"{where}plan/", TYPED | {"plan-words": "Diet advice"})
    assert "Eat less fruit, please." in page.content.decode()


def test_what_a_colleague_wrote_meanwhile_is_not_written_over(
    nephrologist_client: Client, where: str, nurse_client: Client
) -> None:
    nephrologist_client.post(where, WORDS)
    judged = nephrologist_client.get(where).context["judged"]
    nurse_client.post(where, WORDS | {"words": "Written by the nurse."})
    page = nephrologist_client.post(where, TYPED | {"judged": judged}, follow=True).content.decode()
    assert "Written by the nurse." in page
    assert "Eat less fruit, please." in page
    assert ours(MonthlyReview).get().words == "Written by the nurse."


def on_board(page: Any, patient: Patient) -> PatientLine:
    return next(line for line in page.context["lines"] if line.patient == patient)


def test_what_came_after_the_signature_is_said_on_review_board_paper_and_api(
    nephrologist_client: Client, where: str, ana: Patient
) -> None:
    nephrologist_client.post(where, WORDS)
    sign(nephrologist_client, where)
    board, api = "/months/2026-03/", f"/api/v1/patients/{ana.pk}/months/2026-03/"
    assert "Came after the signature" not in laid_flat(nephrologist_client.get(where))
    assert on_board(nephrologist_client.get(board), ana).later == []
    assert nephrologist_client.get(api).json()["changed_since_signed"] == []
    BloodFactory(patient=ana, analyte="2823-3", value=5.2, drawn_at=datetime(2026, 3, 20, 9, tzinfo=UTC))
    compute_month(ana, MARCH, at=timezone.now())
    line = "Potassium: signed 6.1 mmol/L, now 5.2 mmol/L."
    page = laid_flat(nephrologist_client.get(where))
    assert "Came after the signature" in page
    assert line in page
    assert "6.1 ▲" in page
    assert line in sheet_of(ana, MARCH, at=timezone.now())["later"]
    line_of_ana = on_board(nephrologist_client.get(board), ana)
    assert line_of_ana.later == ["potassium", "potassium_gradient"]
    assert f"changed after it: {MONTH_NUMBERS['potassium'].short}" in row_html(line_of_ana, MARCH, judges=True)
    told = nephrologist_client.get(api).json()
    assert (told["changed_since_signed"], bool(told["signed_at"])) == (line_of_ana.later, True)


def test_page_and_paper_set_the_months_in_one_order(nephrologist_client: Client, where: str, ana: Patient) -> None:
    potassium(ana, 5.0, 2)
    months = nephrologist_client.get(where).context["months"]
    sheet = sheet_of(ana, MARCH, at=timezone.now())
    assert [f"{month:%b %Y}" for month in months] == sheet["months"]
    assert months[0] == MARCH
    row = next(row for row in sheet["numbers"] if row[0].startswith("Potassium, "))
    assert row[1].startswith("6.1")
    assert row[2].startswith("5.0")
