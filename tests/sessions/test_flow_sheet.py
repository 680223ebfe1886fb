"""The paper sheet: tagged pages with this patient's own prescription, checks and numbers, read back as text."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from homedialysis.accounts.models import ReadLog, User
from sessions.models import AccessSite, Patient, Prescription, TextKind
from sessions.services.flow_sheet import FEWEST_ROWS, MOST_OF_A_NOTE, MOST_ROWS, flow_sheet_pdf
from sessions.services.kit import kit
from sessions.services.unit_texts import DEFAULTS
from sessions.texts.cards import CARDS, meant_for
from tests.crowd import ours
from tests.factories import AccessFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


def read(made: bytes) -> tuple[PdfReader, str]:
    reader = PdfReader(io.BytesIO(made))
    return reader, " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def phone_of(patient: Patient) -> dict[str, Any]:
    assert patient.account is not None
    return kit(patient, patient.account, NOW)


def test_tagged_pages_with_a_title_and_a_language(ana: Patient, anas_prescription: Prescription) -> None:
    reader, _ = read(flow_sheet_pdf(ana, at=NOW))
    root: Any = reader.trailer["/Root"]
    assert "Treatment flow sheet" in reader.pages[0].extract_text()
    assert root["/MarkInfo"]["/Marked"].value
    assert "/StructTreeRoot" in root
    assert root["/Lang"].startswith("en")
    assert reader.metadata is not None
    assert reader.metadata.title == "Treatment flow sheet"
    assert b"pdfuaid" in root["/Metadata"].get_data()


@pytest.mark.parametrize(("kind", "whose"), [("fistula", "needles"), ("graft", "needles"), ("catheter", "catheter")])
def test_the_checks_are_those_of_the_access_in_use(ana: Patient, kind: str, whose: str) -> None:
    """A catheter that was given up asks for nothing any more."""
    AccessFactory(patient=ana, kind="catheter", abandoned_on=date(2025, 2, 1))
    AccessFactory(patient=ana, kind=kind)
    _, text = read(flow_sheet_pdf(ana, at=NOW))
    items = [each for each in DEFAULTS[TextKind.CHECKLIST]("")["items"] if each["part"] != "after"]
    asked = {each["for_whom"] for each in items if each["name"] in text}
    assert {each["for_whom"] for each in items} == {"", "needles", "catheter"}
    assert asked == {"", whose}


def test_it_is_filled_with_what_is_ordered(
    ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]
) -> None:
    _, text = read(flow_sheet_pdf(ana, at=NOW))
    for words in (
        "Ana Verdemar",
        ana.hospital_number,
        "Target weight 70 kg",
        "UF rate, at most 10 mL/kg/h",
        "Fenrow 17",
        "Bolus 2000 units",
        "Longest allowed 5 h",
        "Total chlorine of the water",
        "at most 0.1 mg/L",
        "Lower",
        "Upper",
        "Emergency 112",
        "The unit on call 01632 960100",
        "This is a record, not an alarm",
        "Printed on 2 March 2026",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("minutes", "longest", "every", "rows"),
    [(240, 300, 60, FEWEST_ROWS), (480, 540, 60, 12), (480, 600, 120, FEWEST_ROWS), (480, 600, 15, MOST_ROWS)],
)
def test_there_is_a_line_for_every_reading_of_the_longest_night(
    ana: Patient, anas_prescription: Prescription, minutes: int, longest: int, every: int, rows: int
) -> None:
    Prescription.objects.filter(pk=anas_prescription.pk).update(
        minutes=minutes, max_minutes=longest, reading_interval_minutes=every
    )
    reader, _ = read(flow_sheet_pdf(ana, at=NOW))
    of_readings = [row for table in _tables(reader) for row in table if row == 9]
    assert len(of_readings) == rows + 1
    assert rows == max(FEWEST_ROWS, min(MOST_ROWS, -(-longest // every) + 3))


@pytest.mark.parametrize(("kind", "whose"), [("fistula", "needles"), ("catheter", "catheter")])
def test_each_step_and_each_emergency_card_of_this_access_stand_on_it_in_the_words_of_the_phone(
    ana: Patient, anas_prescription: Prescription, kind: str, whose: str
) -> None:
    AccessFactory(patient=ana, kind=kind)
    _, text = read(flow_sheet_pdf(ana, at=NOW))
    phone = phone_of(ana)
    assert len(phone["cards"]) > 10
    for card in phone["cards"]:
        for words in (card["title"], *card["now"], *card["never"], *card["call"]):
            assert " ".join(words.split()) in text
    for step in phone["run_sheet"]["steps"]:
        assert step["words"] in text
    others = {str(card.title) for card in CARDS if not meant_for(card.for_whom, whose)}
    assert others
    assert not [title for title in others if title in text]


def test_a_card_that_the_unit_has_not_checked_says_so(ana: Patient) -> None:
    _, text = read(flow_sheet_pdf(ana, at=NOW))
    assert text.count("Your unit has not checked this text.") == len(phone_of(ana)["cards"])


def _tables(reader: PdfReader) -> list[list[int]]:
    """Out of the tags: for each table the number of cells of each row."""
    found: list[list[int]] = []

    def walk(node: Any) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for each in node:
                walk(each)
            return
        if not isinstance(node, dict):
            return
        if node.get("/S") == "/Table":
            found.append([])
        if node.get("/S") == "/TR":
            found[-1].append(len(node["/K"]))
        if "/K" in node:
            walk(node["/K"])

    root: Any = reader.trailer["/Root"]
    walk(root["/StructTreeRoot"]["/K"])
    return found


def test_a_blank_one_names_nobody(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite]) -> None:
    _, text = read(flow_sheet_pdf(ana, at=NOW, blank=True))
    assert "Ana Verdemar" not in text
    assert ana.hospital_number not in text
    assert "70 kg" not in text
    assert "Lower" not in text
    assert "Target weight, kg" in text
    assert "Emergency 112" in text


def test_without_a_prescription_the_lines_are_to_be_written(ana: Patient) -> None:
    _, text = read(flow_sheet_pdf(ana, at=NOW))
    assert "Ana Verdemar" in text
    assert "Target weight, kg" in text


def test_a_name_or_a_note_is_text_whatever_stands_in_it(ana: Patient, anas_prescription: Prescription) -> None:
    Patient.objects.filter(pk=ana.pk).update(name='#panic("x") $ * _Ana_ \\')
    Prescription.objects.filter(pk=anas_prescription.pk).update(note="#import 'x' *bold*")
    ana.refresh_from_db()
    _, text = read(flow_sheet_pdf(ana, at=NOW))
    assert '#panic("x") $ * _Ana_ \\' in text
    assert "#import 'x' *bold*" in text


def test_a_long_note_still_leaves_the_form_on_one_page(ana: Patient, anas_prescription: Prescription) -> None:
    Prescription.objects.filter(pk=anas_prescription.pk).update(note="Take care of the arm tonight. " * 60)
    reader, text = read(flow_sheet_pdf(ana, at=NOW))
    assert "Readings" in reader.pages[0].extract_text()
    assert "Take care of the arm tonight." in text
    assert text.count("Take care") <= MOST_OF_A_NOTE / 20


def test_the_page_gives_the_pdf_and_staff_leave_a_trace(
    ana: Patient, anas_prescription: Prescription, ana_client: Client, nurse_client: Client, nurse: User
) -> None:
    address = reverse("treatments:flow-sheet", args=[ana.pk])
    own = ana_client.get(address)
    assert (own.status_code, own["Content-Type"], own["Cache-Control"]) == (200, "application/pdf", "no-store")
    assert "70 kg" in read(own.content)[1]
    assert "70 kg" not in read(ana_client.get(address, {"blank": "1"}).content)[1]
    assert not ours(ReadLog).exists()
    nurse_client.get(address)
    assert ReadLog.objects.filter(user=nurse, patient_id=ana.pk).count() == 1
