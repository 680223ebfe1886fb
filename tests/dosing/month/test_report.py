"""The review as PDF: what stands in it, tags and language, and the batch of a month."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from django.test import Client
from django.utils import timezone
from django.utils.translation import override
from pypdf import PdfReader

from alerts.models import Alert, Call
from dosing.models import Job, PatientMonth
from dosing.services import jobs
from dosing.services.decision.report import sheet_of
from dosing.services.month.computing import compute_month
from dosing.services.month.reviewing import write
from dosing.services.month.svg import ChartLine, line_chart, ticks_of
from homedialysis.accounts.models import User
from sessions.models import AccessInfection, HospitalStay, Medication, Patient
from tests.factories import AccessFactory, BloodFactory, PatientFactory, PrescriptionFactory

pytestmark = pytest.mark.django_db
MARCH = date(2026, 3, 1)


@pytest.fixture
def reviewed(ana: Patient, nurse: User) -> Patient:
    PrescriptionFactory(patient=ana, version=1)
    for month, value in ((2, 5.0), (3, 6.1)):
        BloodFactory(patient=ana, analyte="2823-3", value=value, drawn_at=datetime(2026, month, 10, 9, tzinfo=UTC))
        compute_month(ana, date(2026, month, 1), at=timezone.now())
    words = 'Potassium high. #sys.inputs "quoted" [brackets] $x$'
    write(patient=ana, month=MARCH, words=words, for_patient="Eat fewer bananas.", by=nurse, at=timezone.now())
    return ana


def test_the_text_reads_back_and_the_file_is_tagged(nurse_client: Client, reviewed: Patient) -> None:
    answer = nurse_client.get(f"/patients/{reviewed.pk}/months/2026-03/review/review.pdf")
    assert answer.headers["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for words in (
        "Review of March 2026",
        reviewed.name,
        reviewed.hospital_number,
        "Not signed: a draft.",
        "Written for the patient Eat fewer bananas.",
        "Infections of the access None this month.",
        '#sys.inputs "quoted" [brackets] $x$',
        "6.1 ▲ above",
        "4.0 to 5.5 mmol/L",
        "It gives no advice, and it is no alarm.",
        "What is not known of this month, and why",
        "Haemoglobin; Ferritin; Transferrin saturation: no result in half a year",
        "Who says the ranges",
        "source read]",
    ):
        assert words in text
    root = reader.trailer["/Root"]
    assert {name: mark.value for name, mark in root["/MarkInfo"].items()} == {"/Marked": True}
    assert root["/Lang"].startswith("en")
    metadata = reader.xmp_metadata
    assert metadata is not None
    assert "pdfuaid:part>1<" in metadata.stream.get_data().decode()  # type: ignore[attr-defined]


def test_every_picture_has_words_instead(reviewed: Patient) -> None:

    charts = sheet_of(reviewed, MARCH, at=timezone.now())["charts"]
    assert charts
    assert all("the numbers stand in the table" in each["alt"] for each in charts)


def test_all_reviews_of_a_month_in_one_file(
    reviewed: Patient, nephrologist: User, tmp_path: Path, settings: Any
) -> None:
    settings.DATA_DIR = tmp_path
    other = PatientFactory()
    compute_month(other, MARCH, at=timezone.now())
    job = jobs.ask(kind="reports", params={"month": "2026-03"}, by=nephrologist, at=timezone.now())
    jobs.work(now=timezone.now)
    job = Job.objects.get(pk=job.pk)
    with zipfile.ZipFile(jobs.result_path(job)) as archive:
        names = sorted(archive.namelist())
        assert names == sorted(
            f"{each}-2026-03.pdf" for each in Patient.objects.values_list("hospital_number", flat=True)
        )
        assert len(names) == 3  # the one of the crowd among them
        assert all(archive.read(name).startswith(b"%PDF") for name in names)


def test_it_holds_the_whole_prescription_and_what_stands_beside_the_numbers(
    nurse_client: Client, reviewed: Patient, nurse: User
) -> None:
    """Stays and infections of the month, those before it not; alerts by their title and what became of them."""
    access = AccessFactory(patient=reviewed)
    reviewed.prescriptions.update(note="Sleep on the right side.")
    Medication.objects.create(
        patient=reviewed, kind="binder", name="sevelamer", amount=1.6, unit="g", times=3, period="day",
        from_on=date(2026, 1, 5), entered_by=nurse, entered_at=timezone.now(),
    )  # fmt: skip
    Call.objects.create(
        patient=reviewed, by=nurse, at=datetime(2026, 3, 9, 10, tzinfo=UTC), result="reached", said="Eats more fruit."
    )
    days = {"entered_by": nurse, "entered_at": timezone.now()}
    for first, last in ((date(2026, 2, 27), date(2026, 3, 2)), (date(2026, 1, 5), date(2026, 1, 9))):
        HospitalStay.objects.create(patient=reviewed, admitted_on=first, discharged_on=last, words="pneumonia", **days)
    AccessInfection.objects.create(access=access, kind="site", began_on=date(2026, 3, 20), words="redness", **days)
    Alert.objects.create(
        patient=reviewed, rule="uf_rate", cause="uf_rate", urgency=2, first_night=date(2026, 3, 4),
        last_night=date(2026, 3, 6), opened_at=timezone.now(), last_seen_at=timezone.now(),
    )  # fmt: skip
    for rule, month, gone in (("missing", 2, None), ("cramps", 3, timezone.now())):
        Alert.objects.create(
            patient=reviewed, rule=rule, cause=rule, urgency=2, first_night=date(2026, month, 9), cause_gone_at=gone,
            last_night=date(2026, month, 9), opened_at=timezone.now(), last_seen_at=timezone.now(),
        )  # fmt: skip
    answer = nurse_client.get(f"/patients/{reviewed.pk}/months/2026-03/review/review.pdf")
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages).split())
    for words in (
        "Dialysate potassium 2 mmol/L", "Anticoagulation", "Needles 15 G", "Days Monday, Wednesday, Friday",
        f"{access}, in use since", "27 February 2026 to 2 March 2026, pneumonia", "20 March 2026, redness",
        "(4 March 2026 to 6 March 2026; open)", "(9 February 2026; open)",
        "(9 March 2026; open, its cause gone)", "Note Sleep on the right side.", "sevelamer, 1.6 g",
        "9 March 2026, Reached, Eats more fruit.", "Allergies: not asked yet",
        "K 6.1 mmol/L: new this month", "Nothing was changed in this half year.",
    ):  # fmt: skip
        assert words in text, words
    assert "January 2026," not in text
    page = nurse_client.get(f"/patients/{reviewed.pk}/months/2026-03/review/").content.decode()
    assert "27 February 2026 to 2 March 2026, pneumonia" in page


def test_an_interval_stands_beside_its_number_on_board_review_and_paper(
    nurse_client: Client, reviewed: Patient
) -> None:
    row = PatientMonth.objects.get(patient=reviewed, month=MARCH)
    row.numbers["potassium"]["interval"] = [5.9, 6.3, 0.9]
    row.save()
    for path in ("/months/2026-03/", f"/patients/{reviewed.pk}/months/2026-03/review/"):
        assert "5.9 to 6.3" in nurse_client.get(path).content.decode(), path
    assert any("6.1 (5.9 to 6.3) ▲ above" in each for each in sheet_of(reviewed, MARCH, at=timezone.now())["numbers"])
    page = nurse_client.get(f"/patients/{reviewed.pk}/months/2026-03/potassium/").content.decode()
    assert "With a probability of 90 % it lies between 5.9 and 6.3 mmol/L." in page


def test_a_chart_leaves_gaps_where_nothing_is_known_and_keeps_inside() -> None:
    svg = line_chart(["Jan", "Feb", "Mar"], [ChartLine("K", [5.0, None, 6.0])], low=4.0, high=5.5)
    root = ET.fromstring(svg)  # noqa: S314  (made here)
    space = "{http://www.w3.org/2000/svg}"
    circles = root.findall(f"{space}circle")
    assert len(circles) == 2
    assert all(0 <= float(each.get("cx", "-1")) <= 260 and 0 <= float(each.get("cy", "-1")) <= 110 for each in circles)
    assert float(circles[0].get("cy", "0")) > float(circles[1].get("cy", "0")), "more is higher up"
    (series,) = [path.get("d", "") for path in root.findall(f"{space}path") if path.get("stroke-width") == "1.1"]
    assert series.count("M") == 2


@pytest.mark.parametrize(
    ("values", "ticks"),
    [
        ([0.0], [-1, -0.5, 0, 0.5, 1]),
        ([70.1, 70.4], [70, 72]),
        ([2.087, 2.1], [2.0, 2.1]),
        ([62, 97], [60, 70, 80, 90, 100]),
        ([-151.0, -139.0], [-155, -150, -145, -140, -135]),
        ([0.03, 2.1], [0, 1, 2, 3]),
    ],
)
def test_an_axis_has_round_numbers_around_all_values(values: list[float], ticks: list[float]) -> None:
    assert ticks_of(values) == pytest.approx(ticks)


def test_an_axis_says_its_unit_and_writes_numbers_as_the_reader_does() -> None:
    svg = line_chart(["Jan"], [ChartLine("x", [-0.25])], low=-0.5, high=0.5, unit="kg")
    said = [each.text for each in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]  # noqa: S314
    assert said == ["Jan", "−0.5", "0.0", "0.5", "kg"]
    with override("es"):
        svg = line_chart(["Jan"], [ChartLine("x", [-0.25])], low=-0.5, high=0.5)
    assert "−0,5" in svg


def test_a_chart_of_one_value_or_none_can_be_drawn() -> None:
    for values in ([None, None], [5.0, 5.0], [0.0]):
        ET.fromstring(line_chart(["a"] * len(values), [ChartLine("x", values)], low=None, high=None))  # noqa: S314
