"""The board of a month: who is on it, in which order, how what is outside or unknown shows, and how many queries."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import DjangoAssertNumQueries

from dosing.models import PatientMonth, ReviewRange
from dosing.services.month.board import PatientLine, row_html
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import compute_month
from dosing.services.month.ranges import book
from dosing.services.month.reviewing import sign, write
from homedialysis.accounts.models import ReadLog, User
from sessions.models import Patient
from tests.crowd import ours
from tests.factories import BloodFactory, PatientFactory, PrescriptionFactory
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)


def with_potassium(person: Patient, value: float | None) -> None:
    if value is not None:
        drawn = timezone.datetime(2026, 3, 10, 9, tzinfo=timezone.get_default_timezone())  # type: ignore[attr-defined]
        BloodFactory(patient=person, analyte="2823-3", value=value, drawn_at=drawn)
    compute_month(person, MARCH, at=timezone.now())


@pytest.fixture
def three(ana: Patient, ben: Patient) -> list[Patient]:
    people = [ana, ben, PatientFactory(name="Cyra Lund", joined_on=date(2026, 1, 5))]
    for person in people:
        PrescriptionFactory(patient=person, version=1)
    for person, value in zip(people, (6.1, 4.8, None), strict=True):
        with_potassium(person, value)
    return people


def names(page: str) -> list[str]:
    return re.findall(r'<th scope="row"><a href="[^"]*">([^<]*)</a>', page)


def test_what_is_outside_or_unknown_says_so_in_words_and_signs(nurse_client: Client, three: list[Patient]) -> None:
    page = nurse_client.get("/months/2026-03/").content.decode()
    assert '6.1 <span aria-hidden="true">▲</span><span class="visually-hidden">above the range</span>' in page
    assert "no result in half a year" in page
    assert ours(ReadLog).filter(path="/months/2026-03/").count() == 3


def test_who_has_no_bloods_stands_on_top_and_then_who_has_most_out_of_range(
    nurse_client: Client, three: list[Patient]
) -> None:
    page = nurse_client.get("/months/2026-03/").content.decode()
    missing = '<td class="which"><strong class="lacking">bloods missing</strong>'
    no_dose = '<td class="which"><strong class="lacking">dose not known</strong>'
    assert page.index("Cyra Lund") < page.index(missing) < page.index("Ana Verdemar") < page.index(no_dose)


def test_nothing_out_of_range_is_no_figure_where_what_it_is_judged_by_is_missing(ana: Patient) -> None:
    said = row_html(PatientLine(ana, None, None), MARCH, judges=False)
    assert '<strong class="lacking">bloods missing</strong> <span class="soft"></span>' in said


def test_before_anything_is_prescribed_nobody_lacks_what_a_month_is_judged_by(
    nurse_client: Client, three: list[Patient]
) -> None:
    """What is there is judged all the same."""
    trained = PatientFactory(name="Dana Ost", joined_on=date(2026, 3, 5))
    with_potassium(trained, None)
    page = nurse_client.get("/months/2026-03/").content.decode()
    assert names(page)[-1] == "Dana Ost"
    assert "Nothing was prescribed in this month." in page
    assert page.count("bloods missing") == 1
    with_potassium(trained, 6.4)
    assert '6.4 <span aria-hidden="true">▲</span>' in nurse_client.get("/months/2026-03/").content.decode()


def test_what_may_lie_within_by_its_interval_is_marked_in_brackets(nurse_client: Client, three: list[Patient]) -> None:
    row, where = PatientMonth.objects.get(patient=three[0], month=MARCH), f"/patients/{three[0].pk}/months/2026-03/"
    for interval, shown in (([1.88, 2.21, 0.9], "(▼)"), ([1.88, 2.06, 0.9], "▼")):
        row.numbers["modelled_week_kidney"] |= {"value": 2.04, "why": None, "interval": interval}
        row.delivered["schedule"] = "other"
        row.save()
        page = nurse_client.get("/months/2026-03/").content.decode()
        assert f'<span aria-hidden="true">{shown}</span>' in page[page.index("2.04") :][:300]
        review = nurse_client.get(f"{where}review/").content.decode()
        assert f"2.04 ({interval[0]:.2f} to {interval[1]:.2f})" in review
        assert ("(▼)" in review) == (shown == "(▼)")
        assert ("its interval reaches into the range" in laid_flat(review)) == (shown == "(▼)")
        own = laid_flat(nurse_client.get(f"{where}modelled_week_kidney/").content.decode())
        assert ("reaches into the range" in own) == (shown == "(▼)")


def test_who_has_most_out_of_range_comes_first_and_which_is_said(nurse_client: Client, three: list[Patient]) -> None:
    three[0].name, three[2].name = "Zora Verdemar", "Aba Lund"
    for person in three:
        person.save()
    page = nurse_client.get("/months/2026-03/").content.decode()
    assert names(page) == ["Aba Lund", "Zora Verdemar", "Ben Okonjo"]
    assert "K\N{NO-BREAK SPACE}▲" in page
    assert "3 patients: 3 to do, 0 begun, 0 signed." in laid_flat(page)


@pytest.mark.parametrize(
    ("query", "order"),
    [
        ("", ["Cyra Lund", "Ana Verdemar", "Ben Okonjo"]),
        ("?sort=name&down=1", ["Cyra Lund", "Ben Okonjo", "Ana Verdemar"]),
        ("?sort=potassium", ["Cyra Lund", "Ben Okonjo", "Ana Verdemar"]),
        ("?sort=potassium&down=1", ["Cyra Lund", "Ana Verdemar", "Ben Okonjo"]),
        ("?sort=made-up", ["Ana Verdemar", "Ben Okonjo", "Cyra Lund"]),
    ],
)
def test_it_sorts_by_any_column_with_the_unknown_on_top(
    query: str, order: list[str], nurse_client: Client, three: list[Patient]
) -> None:
    assert names(nurse_client.get(f"/months/2026-03/{query}").content.decode()) == order


def test_it_sorts_by_the_state_of_the_review(
    nurse_client: Client, three: list[Patient], nurse: User, nephrologist: User
) -> None:
    for person in three[:2]:
        review = write(patient=person, month=MARCH, words="Fine.", for_patient="", by=nurse, at=timezone.now())
    ours(PatientMonth).update(stale=False)
    sign(review=review, by=nephrologist, at=timezone.now())
    order = ["Cyra Lund", "Ana Verdemar", "Ben Okonjo"]
    assert names(nurse_client.get("/months/2026-03/?sort=review").content.decode()) == order
    assert names(nurse_client.get("/months/2026-03/?sort=review&down=1").content.decode()) == order[::-1]


def test_who_left_before_or_joined_after_is_not_on_it(nurse_client: Client, three: list[Patient]) -> None:
    Patient.objects.filter(pk=three[0].pk).update(left_on=date(2026, 2, 27))
    Patient.objects.filter(pk=three[2].pk).update(joined_on=date(2026, 4, 1))
    assert names(nurse_client.get("/months/2026-03/").content.decode()) == ["Ben Okonjo"]


def test_every_number_leads_to_how_it_came_about(nurse_client: Client, three: list[Patient]) -> None:
    page = nurse_client.get("/months/2026-03/").content.decode()
    where = re.search(r'href="([^"]*/potassium/)"[^>]*>6\.1', page)
    assert where
    told = nurse_client.get(where[1]).content.decode()
    for words in ("6.1", "not drawn after a treatment", "science version", "above</strong> it", "4.0 to 5.5 mmol/L"):
        assert words in told


def test_the_unit_sets_its_own_range_and_goes_back(nurse_client: Client, three: list[Patient]) -> None:
    given = {"number": "potassium", "low": "3.5", "high": "6.5", "why": "Agreed in our meeting."}
    nurse_client.post("/ranges/", given)
    assert book().place("potassium", 6.1, "") == 0
    assert "Agreed in our meeting." in nurse_client.get("/ranges/").content.decode()
    nurse_client.post("/ranges/", {"number": "potassium", "default": "on", "why": "Back again."})
    assert book().place("potassium", 6.1, "") == 1
    assert ours(ReviewRange).count() == 2
    refused = nurse_client.post("/ranges/", given | {"low": "7"}).content.decode()
    assert "must not lie below the lower one, 7; 6.5 was given" in refused


def test_a_value_that_reads_as_the_limit_is_not_outside() -> None:
    ranges = book()
    assert ranges.place("potassium", 5.54, "") == 0
    assert ranges.place("potassium", 5.56, "") == 1


def test_a_month_not_computed_yet_says_so(nurse_client: Client, ana: Patient) -> None:
    page = nurse_client.get("/months/2026-03/").content.decode()
    assert "1 being computed" in page
    assert nurse_client.get("/months/2026-13/").status_code == 404


@pytest.mark.parametrize("people", [1, 12])
def test_queries_do_not_grow_with_the_patients(
    people: int, nurse_client: Client, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(people):
        with_potassium(PatientFactory(joined_on=date(2025, 1, 1)), 5)
    assert ours(PatientMonth).filter(month=MARCH).count() == people
    with django_assert_max_num_queries(16):
        assert len(names(nurse_client.get("/months/2026-03/").content.decode())) == people


def test_the_month_that_ended_last_comes_first(nurse_client: Client, ana: Patient) -> None:
    last = timezone.localdate().replace(day=1) - timedelta(days=1)
    assert f"<h1>{last:%B %Y}</h1>" in nurse_client.get("/months/").content.decode()


def test_every_number_has_its_column_and_its_heading(nurse_client: Client, three: list[Patient]) -> None:
    page = nurse_client.get("/months/2026-03/?all=1").content.decode()
    head, body = page.split("</thead>")
    wide = [int(re.search(r'colspan="(\d+)"', cell)[1]) if "colspan" in cell else 1  # type: ignore[index]
            for cell in re.findall(r"<th[^>]*>", head.rsplit("<tr", 1)[-1])]  # fmt: skip
    row = body.split("<tr>")[1].split("</tr>")[0]
    assert sum(wide) == len(re.findall(r"<t[hd][ >]", row))
    for number in MONTH_NUMBERS.values():
        assert f"?sort={number.key}" in head or f"sort={number.key}&" in head, number.key


def test_the_page_of_a_number_is_that_of_its_month(nurse_client: Client, ana: Patient) -> None:
    for month, value in ((date(2026, 2, 1), 5.9), (MARCH, 4.4), (date(2026, 4, 1), 6.6)):
        drawn = timezone.datetime(2026, month.month, 10, 9, tzinfo=timezone.get_default_timezone())  # type: ignore[attr-defined]
        BloodFactory(patient=ana, analyte="2823-3", value=value, drawn_at=drawn)
    for month in (date(2026, 4, 1), date(2026, 2, 1), MARCH):
        compute_month(ana, month, at=timezone.now())
    for month, value in (("2026-02", "5.9"), ("2026-03", "4.4"), ("2026-04", "6.6")):
        page = nurse_client.get(f"/patients/{ana.pk}/months/{month}/potassium/").content.decode()
        assert [each in page for each in ("5.9", "4.4", "6.6")] == [value == each for each in ("5.9", "4.4", "6.6")]
