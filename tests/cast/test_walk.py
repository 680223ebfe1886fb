"""A walk through what every place says of the same thing, for every member of the cast.

It compares the places with each other: whether a number is right is another matter, and held elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from pytest_django import DjangoDbBlocker

from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.night.catalogue import NIGHT_NUMBERS
from homedialysis.accounts.models import Role, User
from homedialysis.demo.cast import Member
from homedialysis.demo.lives import (
    BROKEN_OFF,
    BY_DAY,
    CATHETER_ONLY,
    CORRECTED,
    GAVE_CATHETER_UP,
    IN_HOSPITAL,
    JOINED,
    LEFT,
    LIVES,
    MISSED,
    NO_BLOODS,
    NOT_ENTERED,
    PAST_MIDNIGHT,
    SEPARATED,
    SEVEN_SHORT,
    TEN_HOURS,
    TWICE_A_WEEK,
    TWO_PHONES,
    VERY_HEAVY,
)
from sessions.models import BloodResult, Patient
from sessions.services.recording import versions
from tests.cast.conftest import UNTIL
from tests.cast.crawl import STAFF, addresses_of, faults_of, faults_of_the_unit, ids_of, path_of
from tests.cast.month_places import (
    access_in_use,
    board_of,
    last_potassium,
    numbers_of_prescription,
    of_month,
    of_prescription,
    papers_of_prescription,
    treatments_done,
    without_spaces,
)
from tests.cast.page_text import PageText
from tests.cast.places import Places, Said, of_nights, of_notes
from tests.cast.shown import Shown, disagreeing
from tests.conftest import signed_in
from tests.dosing.worked_pages import differing

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
Cast = dict[Member, Patient]
Board = dict[str, dict[str, Shown]]
LONDON = ZoneInfo("Europe/London")
MARCH, APRIL = MONTHS = ("2026-03", "2026-04")
each_member = pytest.mark.parametrize("member", LIVES, ids=lambda member: member.name)


@pytest.fixture(autouse=True)
def morning() -> Iterator[None]:
    with time_machine.travel(UNTIL, tick=False):
        yield


@pytest.fixture
def places(cast: Cast, member: Member) -> Places:
    nurse = User.objects.filter(role=Role.NURSE).first()
    return Places(cast[member], signed_in(nurse), signed_in(cast[member].account))


@pytest.fixture(scope="module")
def boards(cast: Cast, django_db_blocker: DjangoDbBlocker) -> dict[str, Board]:
    """By month, the board."""
    with django_db_blocker.unblock(), time_machine.travel(UNTIL, tick=False):
        client = signed_in(User.objects.filter(role=Role.NURSE).first())
        answers = {month: client.get(f"/months/{month}/?all=1").content.decode() for month in MONTHS}
    return {month: board_of(PageText(html)) for month, html in answers.items()}


def differences(found: Mapping[Any, Said]) -> list[str]:
    said = {str(what): disagreeing(places) for what, places in found.items()}
    return [f"{what}: {words}" for what, words in said.items() if words]


@each_member
def test_a_computed_number_of_a_night_is_the_same_everywhere(places: Places) -> None:
    found = of_nights(places)
    assert max(len(said) for said in found.values()) >= 7
    assert differences(found) == []


@each_member
def test_numbers_come_out_of_what_their_pages_show(places: Places, member: Member) -> None:
    """With pencil and paper: of each life a sixth of the numbers of its last night with bloods and of its March."""
    turn = LIVES.index(member) % 6
    drawn = BloodResult.objects.filter(patient=places.patient, timing="post", treatment__isnull=False)
    night = drawn.order_by("drawn_at").values_list("treatment", flat=True).last()
    nights = {key: f"/nights/{night}/numbers/{key}/" for key in list(NIGHT_NUMBERS)[turn::6]} if night else {}
    months = {key: f"/patients/{places.patient.pk}/months/{MARCH}/{key}/" for key in list(MONTH_NUMBERS)[turn::6]}
    months.pop("water", None)  # a grade is a word
    found = differing(places.nurse, nights, NIGHT_NUMBERS) | differing(places.nurse, months, MONTH_NUMBERS)
    assert {key: pair for key, pair in found.items() if pair != ("unknown", "unknown")} == {}
    assert len(found) < len(nights) + len(months), "some are known"


@each_member
def test_what_was_noted_before_and_after_is_the_same_everywhere(places: Places) -> None:
    found = of_notes(places)
    assert all(len(said) == 5 for said in found.values())
    assert differences(found) == []


@each_member
def test_a_number_of_the_month_is_the_same_everywhere(places: Places, boards: dict[str, Board]) -> None:
    compare_month(places, MARCH, boards)


@pytest.mark.parametrize("member", [NOT_ENTERED, JOINED, NO_BLOODS, TEN_HOURS], ids=lambda member: member.name)
def test_so_it_is_in_the_month_that_has_only_begun(places: Places, boards: dict[str, Board]) -> None:
    compare_month(places, APRIL, boards)


def compare_month(places: Places, month: str, boards: dict[str, Board]) -> None:
    found = of_month(places, month, boards[month][str(places.patient.pk)])
    assert len(found) > 25
    assert all(len(said) >= 3 for said in found.values())
    assert differences(found) == []


def test_who_left_is_not_on_the_board_of_the_next_month(cast: Cast, boards: dict[str, Board]) -> None:
    gone = str(cast[LEFT].pk)
    assert gone in boards[MARCH]
    assert gone not in boards[APRIL]


@each_member
def test_treatments_of_the_month_are_counted_alike(places: Places, boards: dict[str, Board]) -> None:
    found = treatments_done(places, MARCH, boards[MARCH][str(places.patient.pk)])
    assert differences({"treatments": found}) == []


@each_member
def test_the_prescription_in_force_is_the_same_everywhere(places: Places) -> None:
    found = of_prescription(places)
    lines = found["prescription page"]
    assert len(lines) > 10
    assert [place for place, said in found.items() if said != lines] == []
    ordered = {label: text for label, text in lines.items() if label != "Signed"}
    for place, text in papers_of_prescription(places).items():
        missing = [f"{label} {said}" for label, said in ordered.items() if without_spaces(label + said) not in text]
        assert missing == [], place
    assert differences(numbers_of_prescription(places, lines)) == []


@each_member
def test_the_access_in_use_is_the_same_everywhere(places: Places) -> None:
    found = access_in_use(places)
    assert len(set(found.values())) == 1, found


@each_member
def test_the_last_potassium_is_the_same_everywhere(places: Places) -> None:
    assert differences({"potassium": last_potassium(places)}) == []


@each_member
def test_every_page_of_a_member_opens_and_reads_well(cast: Cast, member: Member) -> None:
    """As the patient, and as one of the staff: the roles take turns, so that each sees four or five of the members."""
    staff = STAFF[LIVES.index(member) % len(STAFF)]
    assert faults_of(cast[member], ("patient", staff), MARCH) == []


@pytest.mark.parametrize("role", STAFF)
def test_every_page_of_the_unit_opens_and_reads_well(cast: Cast, role: str) -> None:
    assert faults_of_the_unit(role, MARCH) == []


def test_who_helps_sees_what_the_patient_sees_until_the_access_ended(cast: Cast) -> None:
    assert faults_of(cast[TWO_PHONES], ("partner",), MARCH) == []
    gone = User.objects.get(name=SEPARATED.partner)
    written = cast[SEPARATED].treatments.filter(recorded_by=gone)
    assert written.exists()
    assert not gone.is_active
    assert not Patient.objects.visible_to(gone).exists()


def test_another_patient_opens_nothing_of_a_member(cast: Cast) -> None:
    other = cast[TWO_PHONES].account
    client, ids = signed_in(other), ids_of(cast[SEPARATED], MARCH)
    answers = {address.name: client.get(path_of(address, ids)).status_code for address in addresses_of(ids)}
    opened = {name for name, status in answers.items() if status < 400}
    assert len(answers) > 30
    assert opened == set()


def test_a_treatment_was_broken_off_and_a_full_one_followed_on_which_bloods_were_drawn(cast: Cast) -> None:
    nights = list(cast[BROKEN_OFF].treatments.order_by("started_at"))
    (broken,) = [night for night in nights if night.minutes < 60]
    after = nights[nights.index(broken) + 1]
    assert broken.minutes == 12
    assert after.started_at - broken.started_at == timedelta(hours=14)
    assert after.minutes > 220
    assert after.bloods.filter(timing="post").exists()


def test_nights_were_not_entered_and_one_was_entered_after_the_next(cast: Cast) -> None:
    nights = list(cast[NOT_ENTERED].treatments.order_by("started_at"))
    (paper,) = [night for night in nights if night.source == "paper"]
    assert paper.received_at > nights[nights.index(paper) + 1].received_at
    steady = list(cast[PAST_MIDNIGHT].treatments.all())
    assert len(nights) < len(steady) * 5 / 6 - 1


def test_somebody_was_in_hospital_for_two_weeks(cast: Cast) -> None:
    stay = cast[IN_HOSPITAL].hospital_stays.get()
    assert stay.discharged_on == stay.admitted_on + timedelta(days=14)
    days = [night.night for night in cast[IN_HOSPITAL].treatments.all()]
    assert not [day for day in days if stay.admitted_on < day < stay.discharged_on]
    assert min(days) < stay.admitted_on
    assert max(days) > stay.discharged_on


def test_one_joined_and_one_left_in_mid_month(cast: Cast) -> None:
    joined, left = cast[JOINED], cast[LEFT]
    assert joined.joined_on == date(2026, 3, 11) <= joined.treatments.earliest("started_at").night
    assert left.left_on == date(2026, 3, 20) >= left.treatments.latest("started_at").night


def test_one_had_no_bloods_for_half_a_year(cast: Cast) -> None:
    newest = cast[NO_BLOODS].bloods.latest("drawn_at")
    assert UNTIL - newest.drawn_at > timedelta(days=183)
    assert cast[NO_BLOODS].treatments.count() > 10


def test_the_newest_access_is_not_the_one_in_use(cast: Cast) -> None:
    made = cast[GAVE_CATHETER_UP].accesses.order_by("created_on")
    assert [(each.kind, each.abandoned_on is None) for each in made] == [("fistula", True), ("catheter", False)]
    assert cast[CATHETER_ONLY].accesses.get().kind == "catheter"


def test_two_phones_made_two_records_of_one_night_and_wrote_into_one(cast: Cast) -> None:
    nights = cast[TWO_PHONES].treatments.select_related("recorded_by").order_by("started_at")
    one, other = next((a, b) for a, b in pairwise(nights) if b.started_at < a.ended_at)
    assert one.recorded_by != other.recorded_by
    (shared,) = [night for night in nights if night.revision == 3]
    assert [each.recorded_by.role for each in versions(shared)] == ["patient", "care_partner", "patient"]


def test_weights_and_a_pressure_were_corrected(cast: Cast) -> None:
    corrected = [night for night in cast[CORRECTED].treatments.all() if night.revision == 2]
    assert len(corrected) == 3
    wrong = [versions(night)[0].document["post_weight_kg"] - night.post_weight_kg for night in corrected]
    assert sorted(wrong) == pytest.approx([0, 10, 10])


def test_one_sleeps_through_the_night_in_which_the_clocks_change(cast: Cast) -> None:
    jump = datetime(2026, 3, 29, 1, tzinfo=UTC)
    (night,) = cast[PAST_MIDNIGHT].treatments.filter(started_at__lt=jump, ended_at__gt=jump)
    start, end = (at.astimezone(LONDON).replace(tzinfo=None) for at in (night.started_at, night.ended_at))
    assert end - start == timedelta(minutes=night.minutes) + timedelta(hours=1), "on the wall it lasts an hour longer"
    begun = [each.started_at.astimezone(LONDON).hour for each in cast[PAST_MIDNIGHT].treatments.all()]
    assert set(begun) == {23, 0}, "on either side of midnight"


def test_schedules_of_two_days_of_ten_hours_of_every_day_and_at_eight(cast: Cast) -> None:
    week = {
        member: cast[member].treatments.filter(night__range=(date(2026, 3, 2), date(2026, 3, 29))) for member in cast
    }
    assert [week[member].count() for member in (TWICE_A_WEEK, SEVEN_SHORT)] == [8, 28]
    assert cast[TWICE_A_WEEK].urine_collections.exists()
    assert min(night.minutes for night in week[TEN_HOURS]) > 560
    assert cast[TEN_HOURS].prescriptions.get().target_weight_kg == 48
    clocks = [night.started_at.astimezone(LONDON) for night in week[BY_DAY]]
    assert {abs(at.hour * 60 + at.minute - 8 * 60) < 30 for at in clocks} == {True}
    assert week[MISSED].count() < 20 - 4
    assert max(night.post_weight_kg or 0 for night in week[VERY_HEAVY]) > 160
