"""The screen of a decision: what persists, what is on the way, the four blocks, who comes next, who is quiet."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import DjangoAssertNumQueries

from dosing.models import MonthlyReview, PatientMonth
from dosing.services.decision.chart import APART, DayLevel, DayPoint, Frame, small_chart
from dosing.services.decision.half_year import read_half_year
from dosing.services.decision.persisting import on_the_way, persisting
from dosing.services.decision.report import sheet_of
from dosing.services.decision.tiles import Screen, came_of
from dosing.services.month.board import LastSigned, PatientLine, in_order
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import compute_month
from dosing.services.month.headlines import HEADLINES, NOT_EACH_MONTH, TILES
from dosing.services.month.ranges import RangeBook
from dosing.services.month.review_sheet import review_sheet
from dosing.services.month.weights import WEIGHTS, Weight, weight_of
from homedialysis.accounts.models import User
from sessions.facts.ordered import ORDERED
from sessions.models import Event, Medication, Patient
from tests.crowd import ours
from tests.factories import (
    PASSWORD,
    AccessFactory,
    BloodFactory,
    FindingFactory,
    MedicationFactory,
    PatientFactory,
    PrescriptionFactory,
    record_night,
)
from tests.page_text import laid_flat

MARCH = date(2026, 3, 1)
MONTHS = [date(2025, 11, 1), date(2025, 12, 1), date(2026, 1, 1), date(2026, 2, 1), MARCH]
K, HB = MONTH_NUMBERS["potassium"], MONTH_NUMBERS["haemoglobin"]


def known(*values: tuple[float, int]) -> list[tuple[date, float, int]]:
    """Of the last months, the newest March: value and place."""
    return [(month, *each) for month, each in zip(MONTHS[-len(values) :], values, strict=True)]


@pytest.mark.parametrize(
    ("months", "words"),
    [
        (known((5.0, 0), (6.1, 1)), "▲ K 6.1 mmol/L: new this month"),
        (known((6.1, 1)), "▲ K 6.1 mmol/L: not known before"),
        (known((5.0, 0), (5.8, 1), (6.2, 1), (6.1, 1)), "▲ K 6.1 mmol/L: since Jan 2026, 3 months"),
        (known((5.0, 0), (5.8, 1), (6.0, 1), (6.1, 1)), "▲ K 6.1 mmol/L: since Jan 2026, 3 months, and growing"),
        (known((3.6, -1), (3.5, -1), (3.4, -1)), "▼ K 3.4 mmol/L: since Jan 2026, 3 months, and growing"),
        (known((3.6, -1), (6.1, 1)), "▲ K 6.1 mmol/L: new this month"),
        (known((6.1, 1), (5.0, 0)), None),
        ([(MONTHS[-2], 6.1, 1)], None),
        ([], None),
    ],
)
def test_it_says_since_when_something_is_wrong(months: list[tuple[date, float, int]], words: str | None) -> None:
    found = persisting(K, months, MARCH)
    assert (found.words if found else None) == words


def test_a_month_that_is_not_known_does_not_end_what_persists() -> None:
    months = [(MONTHS[0], 6.1, 1), (MONTHS[2], 6.2, 1), (MARCH, 6.1, 1)]
    found = persisting(K, months, MARCH)
    assert found
    assert (found.since, found.months) == (MONTHS[0], 5)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ((118, 113, 108, 103), "Hb is falling: 118 → 113 → 108 → 103 g/L"),
        ((118, 117, 116, 115), None),
        ((118, 113, 114, 103), None),
        ((113, 108, 103), None),
    ],
)
def test_what_moves_towards_its_limit_is_said_before_it_is_there(values: tuple[float, ...], words: str | None) -> None:
    found = on_the_way(HB, known(*((value, 0) for value in values)), MARCH, RangeBook({}), "")
    assert (found.words if found else None) == words


def test_a_chart_breaks_where_nothing_is_known_for_long_and_keeps_inside() -> None:
    first = date(2026, 1, 1)
    points = [DayPoint(first, 5.0), DayPoint(first + APART, 6.0, 5.5, 6.5), DayPoint(date(2026, 6, 1), 4.0)]
    frame = Frame(first, date(2026, 6, 30))
    levels = [DayLevel(first, frame.last, 5.5)]
    chart = small_chart("K", frame, [("small-first", points)], levels=levels, marks=[(date(2026, 2, 1), "A")])
    assert chart
    (drawn,) = chart.series
    assert (drawn.path.count("M"), drawn.path.count("L")) == (2, 1)
    assert all(chart.left <= x <= chart.right and 0 < y <= chart.floor for x, y in drawn.dots)
    ((_x, low, high),) = drawn.bars
    assert low > high, "more is higher up"
    assert chart.words == "K: 3 values from 4.0 to 6.0, the last 4.0."
    assert small_chart("K", frame, [("small-first", [])]) is None


def test_what_can_kill_outweighs_everything_that_is_talked_over() -> None:
    assert weight_of("potassium", 6.4, 1) == Weight.NOW
    assert weight_of("potassium", 5.7, 1) == Weight.ACT
    assert weight_of("haemoglobin", 122, 1) == Weight.NOTE
    assert weight_of("uf_over", 0.4, 1, unsure=True) == Weight.NOTE
    assert weight_of("haemoglobin", 110, 0) == weight_of("haemoglobin", None, 0) == Weight.NONE
    assert set(WEIGHTS) <= set(MONTH_NUMBERS)


def test_every_number_and_field_of_a_block_is_declared() -> None:
    assert set(HEADLINES) <= set(MONTH_NUMBERS)
    assert set(HEADLINES) >= NOT_EACH_MONTH
    assert {name for tile in TILES for name in tile.fields} <= set(ORDERED)


@pytest.fixture
def judged(ana: Patient) -> Patient:
    PrescriptionFactory(patient=ana, version=1)
    for month, value in ((1, 5.8), (2, 6.1), (3, 6.4)):
        BloodFactory(patient=ana, analyte="2823-3", value=value, drawn_at=datetime(2026, month, 10, 9, tzinfo=UTC))
        compute_month(ana, date(2026, month, 1), at=timezone.now())
    ours(PatientMonth).update(stale=False)
    return ana


@pytest.mark.django_db
def test_the_four_blocks_say_what_is_wrong_what_was_changed_and_what_is_not_known(
    nephrologist_client: Client, judged: Patient, nephrologist: User
) -> None:
    taken = {"patient": judged, "entered_by": nephrologist, "entered_at": timezone.now(), "kind": "binder"}
    taken |= {"name": "sevelamer", "unit": "g", "times": 3, "period": "day"}
    Medication.objects.create(amount=0.8, from_on=date(2026, 1, 5), until_on=date(2026, 2, 9), **taken)
    Medication.objects.create(amount=1.6, from_on=date(2026, 2, 10), **taken)
    order = PrescriptionFactory.build(
        patient=judged, minutes=300, dialysate_k_mmol_l=1, signed_by=nephrologist,
        dialyser=judged.prescriptions.get().dialyser,
    )  # fmt: skip
    first = judged.prescriptions.get()
    begins = datetime(2026, 2, 20, tzinfo=UTC)
    first.in_force = type(first.in_force)(first.in_force.lower, begins)
    first.save(update_fields=["in_force"])
    order.version, order.in_force = 2, type(first.in_force)(begins, None)
    order.signed_at = begins
    order.save()
    page = nephrologist_client.get(f"/patients/{judged.pk}/months/2026-03/review/")
    dose, fluid, _access, bloods = page.context["tiles"]
    assert bloods.wrong[0] == "▲ K 6.4 mmol/L: since Jan 2026, 3 months, and growing"
    assert [each.line for each in dose.decided] == ["A, 20 February 2026: Length, min: 240 → 300"]
    begun, more, bath = (each.line for each in bloods.decided)
    assert ("0.8 g" in begun, "1.6 g" in more, "Dialysate potassium, mmol/L: 2 → 1" in bath) == (True, True, True)
    assert bloods.came == "C: K 5.8 mmol/L in Jan 2026, 6.4 mmol/L in Mar 2026."
    assert [each[:16] for each in bloods.medicines] == ["sevelamer, 1.6 g"]
    assert "UF over limit not known: no UF rate is known" in fluid.unknown
    text = laid_flat(page)
    for words in ("and growing", "sevelamer, 1.6 g", "no UF rate is known", "No access is noted as in use."):
        assert words in text


CAME: list[tuple[list[tuple[date, float, int]], date, str]] = [
    (known((116, 0), (97, -1), (104, 0)), date(2026, 2, 16), "Hb 116 g/L in Jan 2026, 104 g/L in Mar 2026"),
    (known((116, 0), (97, -1))[:1] + known((104, 0)), date(2026, 3, 1), "Hb: too early to say"),
    ([(MONTHS[1], 116, 0), (MONTHS[3], 97, -1)], date(2026, 1, 5), "Hb 116 g/L in Dec 2025, 97 g/L in Feb 2026"),
    ([(MONTHS[1], 116, 0)], date(2026, 1, 5), "Hb is not known since"),
    (known((97, -1)), date(2026, 1, 1), "nothing is known of Hb before it"),
]


@pytest.mark.parametrize(("months", "changed", "words"), CAME)
def test_what_came_of_a_change_names_the_months_that_it_is_told_by(
    months: list[tuple[date, float, int]], changed: date, words: str
) -> None:
    assert came_of(HB, months, changed, MARCH) == words


HELD_AGAINST: list[tuple[str, str, str]] = [
    ("esa", "bloods", "A: nothing is known of Hb before it."),
    ("iron", "bloods", "A: nothing is known of Hb before it."),
    ("binder", "bloods", "A: nothing is known of Phosphate before it."),
    ("vitamin_d", "bloods", "A: nothing is known of PTH before it; nothing is known of Ca, corrected before it."),
    ("calcimimetic", "bloods", "A: nothing is known of PTH before it; nothing is known of Ca, corrected before it."),
    ("pressure", "fluid", "A: nothing is known of BP before, mean before it."),
    ("anticoagulant", "access", ""),
    ("other", "bloods", ""),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("kind", "block", "came"), HELD_AGAINST)
def test_a_medicine_is_held_against_what_it_is_given_for(judged: Patient, kind: str, block: str, came: str) -> None:
    MedicationFactory(patient=judged, kind=kind, name="Given", from_on=date(2026, 2, 1))
    at = timezone.now()
    tiles = Screen(review_sheet(judged, MARCH, at=at), read_half_year(judged, MARCH, at=at)).tiles()
    assert {tile.kind.key: tile.came for tile in tiles if tile.decided} == {block: came}
    assert [tile.kind.key for tile in tiles if tile.medicines] == [block]


@pytest.mark.django_db
def test_what_was_measured_of_the_access_and_noted_of_the_fluid_stands_in_its_block(
    judged: Patient, nephrologist_client: Client
) -> None:
    access = AccessFactory(patient=judged)
    low = {"flow_ml_min": 380, "recirculation_percent": 14}
    measured = {"patient": judged, "kind": "access_flow", "access": access}
    FindingFactory(found_on=date(2026, 3, 20), values=low, **measured)
    FindingFactory(found_on=date(2026, 1, 20), values={"flow_ml_min": 1100}, **measured)
    FindingFactory(found_on=date(2026, 4, 20), values={"flow_ml_min": 900}, **measured)
    MedicationFactory(patient=judged, kind="anticoagulant", name="Warfarin", from_on=date(2025, 2, 1))
    night = record_night(judged, datetime(2026, 3, 12, 21, tzinfo=UTC))
    for kind in ("breathless", "hypotension"):
        Event.objects.create(record=night, at=datetime(2026, 3, 12, 22, tzinfo=UTC), kind=kind)
    words = (
        "Flow of the access 380 mL/min, recirculation 14 % (20 Mar 2026): "
        "flow under 600 mL/min; recirculation over 10 %"
    )
    sheet = sheet_of(judged, MARCH, at=timezone.now())
    _dose, fluid, of_access, _bloods = (block["lines"] for block in sheet["blocks"])
    assert of_access[0] == words
    assert any(line.startswith("Taken against clotting: Warfarin") for line in of_access)
    assert "Noted this month: Low blood pressure 1, Short of breath 1" in fluid
    assert any("A drop noted with a higher one is not in it." in line for line in fluid)
    newest = laid_flat(nephrologist_client.get(f"/patients/{judged.pk}/access/"))
    assert "Flow of the access 900 mL/min (20 Apr 2026)" in newest
    assert "recirculation over 10 %" in newest
    assert "Warfarin" in laid_flat(nephrologist_client.get(f"/patients/{judged.pk}/prescription/"))


@pytest.mark.django_db
def test_the_screen_asks_the_same_number_of_questions_whatever_the_history(
    nephrologist_client: Client, judged: Patient, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(60) as few:
        nephrologist_client.get(f"/patients/{judged.pk}/months/2026-01/review/")
    with django_assert_max_num_queries(len(few.captured_queries)):
        nephrologist_client.get(f"/patients/{judged.pk}/months/2026-03/review/")


@pytest.mark.django_db
def test_after_signing_comes_the_next_who_is_not_signed_in_the_order_of_the_board(
    nephrologist_client: Client, judged: Patient, nephrologist: User
) -> None:
    other = PatientFactory(name="Ben Late", joined_on=date(2026, 1, 5))
    compute_month(other, MARCH, at=timezone.now())
    ours(PatientMonth).update(stale=False)
    ours(Patient).exclude(pk__in=[judged.pk, other.pk]).update(joined_on=date(2027, 1, 1))
    where = f"/patients/{judged.pk}/months/2026-03/review/"
    given = {"words": "Potassium: bath changed.", "password": PASSWORD, "then": "next"}
    given["seen"] = nephrologist_client.get(where).context["seen"]
    answer = nephrologist_client.post(f"{where}sign/", given, follow=True)
    assert answer.request["PATH_INFO"] == f"/patients/{other.pk}/months/2026-03/review/"
    assert f"Signed: {judged.name}, March 2026." in answer.content.decode()
    assert ours(MonthlyReview).get().signed_by == nephrologist
    last = nephrologist_client.get(f"/months/2026-03/next/?after={other.pk}", follow=True).content.decode()
    assert "All other reviews of this month are signed." in last


def quiet_line(person: Patient) -> PatientLine:
    """A line on which nothing speaks against being quiet."""
    row = PatientMonth(patient=person, month=MARCH, computed_at=datetime(2026, 4, 2, tzinfo=UTC), stale=False)
    row.numbers = {key: {"value": 1.0} for key in HEADLINES}
    line = PatientLine(person, row, None, version=1)
    line.last = LastSigned(date(2026, 2, 1), {}, 1)
    return line


@pytest.mark.parametrize(
    ("change", "quiet"),
    [
        (lambda line: None, True),
        (lambda line: line.month.numbers.update(ferritin={"value": None}), True),
        (lambda line: line.month.numbers.update(potassium={"value": None}), False),
        (lambda line: line.month.numbers["nights"].update(doubts=[{"code": "month_not_entered", "count": 1}]), False),
        (lambda line: line.places.update(potassium=1), False),
        (lambda line: setattr(line, "version", 2), False),
        (lambda line: setattr(line, "last", None), False),
        (lambda line: setattr(line, "happened", 1), False),
        (lambda line: line.counted.update(alerts=1), False),
        (lambda line: setattr(line.month, "stale", True), False),
        (lambda line: line.month.delivered.update(missing=["2026-03-04"]), False),
        (lambda line: setattr(line.month, "computed_at", datetime(2026, 3, 20, tzinfo=UTC)), False),
    ],
)
def test_quiet_is_who_is_all_known_all_sure_all_in_range_with_nothing_new(change: Any, quiet: bool) -> None:
    line = quiet_line(Patient(name="Ana"))
    change(line)
    assert line.quiet is quiet


@pytest.mark.django_db
def test_a_quiet_month_is_offered_its_words_and_signed_as_it_was_seen(
    nephrologist_client: Client, judged: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = f"/patients/{judged.pk}/months/2026-03/review/"
    assert "nothing new. Nothing to change." not in nephrologist_client.get(where).content.decode()
    monkeypatch.setattr(PatientLine, "quiet", property(lambda line: line.patient == judged))
    page = nephrologist_client.get(f"{where}?quiet=1")
    assert "All known, sure and in range; nothing new. Nothing to change." in page.content.decode()
    assert not ours(MonthlyReview).exists(), "what is offered is not written"
    given = {"words": page.context["form"]["words"].value(), "seen": page.context["seen"], "password": PASSWORD}
    answer = nephrologist_client.post(f"{where}sign/", given | {"then": "next", "one_by_one": "1"}, follow=True)
    assert "No other quiet patient is left." in answer.content.decode()
    assert ours(MonthlyReview).get().words == given["words"]


def test_the_heaviest_stands_above_the_most() -> None:
    many, heavy = quiet_line(Patient(name="Many")), quiet_line(Patient(name="Heavy"))
    many.places = {"haemoglobin": 1, "phosphate": 1, "uf_over": 1}
    heavy.places = {"potassium": 1}
    heavy.month.numbers["potassium"]["value"] = 6.4  # type: ignore[union-attr]
    assert in_order([many, heavy], "outside", down=True) == [heavy, many]
