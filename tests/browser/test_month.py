"""The month in a real browser: results in, board, review, planner, prescription signed and read on the phone, PDF.

And the pages of the month: usable by everyone, in both themes, on desk and phone.
"""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from dosing.models import MonthlyReview
from dosing.services.importing.taking import receive
from dosing.services.month.computing import compute_some, mark_stale
from dosing.services.night.computing import compute
from homedialysis.accounts.models import User
from sessions.facts.choices import MessageFormat, PostSampleMethod
from sessions.facts.months import first_of, month_before
from sessions.models import BloodResult, Laboratory, Patient, Prescription, PrescriptionAcknowledgement
from tests.browser.conftest import DESKTOP, PHONE, BrowserPage, Watched
from tests.browser.evening import wait_for
from tests.browser.judging import expect_sound_in_every_look
from tests.factories import PASSWORD, AccessFactory, BloodFactory, PrescriptionFactory, record_night

pytestmark = pytest.mark.django_db(transaction=True)

LAST = month_before(first_of(timezone.localdate()))
DAYS = (1, 3, 5, 8, 10, 12, 15, 17, 19, 22, 24, 26)
HEAD = "identifier,birth_date,code,name,value,unit,drawn_at,timing,specimen"


def evening_of(day: int) -> datetime:
    return datetime(LAST.year, LAST.month, 1, 19, tzinfo=UTC) + timedelta(days=day)


def months_are_computed() -> None:
    """What the worker does every minute."""
    while compute_some(at=timezone.now()):
        pass


@pytest.fixture
def treated(ana: Patient, nurse: User) -> Patient:
    """Twelve treatments last month under three a week, urea before and after two of them."""
    PrescriptionFactory(patient=ana, version=1, days_per_week=3, weekdays=[], minutes=240)
    AccessFactory(patient=ana)
    for day in DAYS:
        record = record_night(ana, evening_of(day), pre_weight_kg=72.4, post_weight_kg=70)
        if day in (10, 24):
            common = {"patient": ana, "treatment": record, "entered_by": nurse}
            BloodFactory(**common, value=23, drawn_at=record.started_at, timing="pre")
            slow = {"timing": "post", "post_method": PostSampleMethod.SLOW_FLOW}
            BloodFactory(**common, value=7, drawn_at=record.ended_at, **slow)
        compute(record, at=timezone.now())
    mark_stale(ana, evening_of(1), until=timezone.now())
    months_are_computed()
    return ana


@pytest.fixture
def laboratory(db: None) -> Laboratory:
    return Laboratory.objects.create(name="Quillhaven laboratory")


def table_for(patient: Patient) -> bytes:
    """Potassium, haemoglobin in a unit that it cannot be in, and a line of somebody else's date of birth."""
    own, taken = f"{patient.hospital_number},{patient.birth_date}", f"{evening_of(24):%Y-%m-%d %H:%M}"
    lines = (
        f"{own},2823-3,Potassium,6.2,mmol/L,{taken},before,S1",
        f"{own},718-7,Haemoglobin,11.2,g/L,{taken},before,S2",
        f"{patient.hospital_number},1931-01-01,2823-3,Potassium,5.0,mmol/L,{taken},before,S3",
    )
    return "\n".join([HEAD, *lines, ""]).encode()


def click(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).click()


def results_come_in(nurse: Watched, patient: Patient) -> None:
    page = nurse.open("/bloods/imports/")
    page.get_by_label("Laboratory").select_option(label="Quillhaven laboratory")
    file = {"name": "results.csv", "mimeType": "text/csv", "buffer": table_for(patient)}
    page.get_by_label("File").set_input_files(file)  # type: ignore[arg-type]
    click(page, "Read it")
    expect(page.get_by_role("cell", name=re.compile("was not born on 1 Jan 1931"))).to_be_visible()
    page.get_by_label("Answer for line 3").select_option(label="11.2 g/dL")
    click(page, "Take 1 result and what I answered")
    expect(page.get_by_text("2 results entered.")).to_be_visible()
    kept = BloodResult.objects.filter(patient=patient, analyte__in=("2823-3", "718-7"))
    assert {row.analyte: round(row.value, 3) for row in kept} == {"2823-3": 6.2, "718-7": 112}
    months_are_computed()


def board_is_read(doctor: Watched, patient: Patient) -> None:
    page = doctor.open("/patients/")
    page.get_by_role("link", name="Month", exact=True).click()
    page.get_by_role("link", name="All numbers").click()
    head = page.get_by_role("columnheader", name="K mmol/L")
    head.get_by_role("link").click()
    expect(head).to_have_attribute("aria-sort", "descending")
    names = page.locator(".board tbody th a")
    expect(names).to_have_text(["Ben Okonjo", patient.name])  # of whom nothing is known stands on top
    row = page.get_by_role("row", name=re.compile(patient.name))
    row.get_by_role("link", name=re.compile(r"^6\.2")).click()
    expect(page.get_by_role("heading", level=2)).to_have_text("Potassium")
    expect(page.get_by_text("this lies above it")).to_be_visible()


def review_is_written(doctor: Watched, patient: Patient) -> None:
    page = doctor.open(f"/months/{LAST:%Y-%m}/")
    page.get_by_role("row", name=re.compile(patient.name)).get_by_role("link", name="to do").click()
    expect(page.locator(".chart .main-svg").first).to_be_visible()
    page.get_by_label("Judgement").fill("Dose enough, gains high: longer nights.")
    page.get_by_text("In plain words, for the patient").first.click()
    page.get_by_label("In plain words, for the patient").fill("Half an hour more a night is easier on your heart.")
    click(page, "Keep")
    expect(page.get_by_text("Kept. It is not signed yet.")).to_be_visible()
    page.get_by_text("Add to the plan").click()
    page.get_by_label("What", exact=True).fill("Potassium again in a week")
    page.get_by_label("Who", exact=True).select_option(label="Nurse Kim")
    page.get_by_label("Until", exact=True).fill(f"{timezone.localdate() - timedelta(days=1)}")
    click(page, "Add it")
    expect(page.locator("main").get_by_text("overdue")).to_be_visible()


def planner_is_tried(doctor: Watched, patient: Patient) -> None:
    page = doctor.open(f"/patients/{patient.pk}/planner/")
    expect(page.locator("#planned .main-svg").first).to_be_visible()
    minutes, each = page.get_by_label("Minutes each"), page.get_by_role("row", name=re.compile("^Each "))
    expect(each).to_contain_text("4 h")
    minutes.fill("300")
    minutes.press("Tab")
    expect(each).to_contain_text("5 h")
    page.get_by_role("link", name="Keep this one to compare with").click()
    expect(page.get_by_role("columnheader", name="Schedule B").first).to_be_visible()
    page.get_by_label("Minutes each").fill("270")
    page.get_by_label("Minutes each").press("Tab")
    expect(each.get_by_role("cell")).to_have_text(["4 h 30 min", "4 h", "5 h"])
    expect(page.locator("#planned .main-svg").first).to_be_visible()
    page.get_by_label("Why").fill("UF rate near the limit.")
    click(page, "as a draft")
    expect(page.get_by_text("Kept as a draft.")).to_be_visible()


def prescription_is_signed(doctor: Watched, patient: Patient) -> None:
    page = doctor.page
    page.get_by_role("link", name="Write from this draft").click()
    expect(page.get_by_label("Length, min", exact=True)).to_have_value("270")
    click(page, "Show what changes")
    expect(page.get_by_role("heading", name="Read, then sign")).to_be_visible()
    expect(page.locator("main")).to_contain_text("270")
    expect(page.get_by_text("UF rate of the hardest night").first).to_be_visible()
    page.get_by_label("Your password, to sign").fill("not the password")
    click(page, "Sign and put in force")
    expect(page.get_by_text("The password is not right. Nothing was signed.")).to_be_visible()
    assert Prescription.objects.filter(patient=patient).count() == 1
    page.get_by_label("Your password, to sign").fill(PASSWORD)
    click(page, "Sign and put in force")
    expect(page.get_by_text("Prescription 2 is signed and in force from now.")).to_be_visible()


def phone_acknowledges(phone: Watched) -> None:
    page = phone.open("/tonight/")
    page.get_by_role("button", name="The prescription changed").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("What changed")
    expect(page.locator(".changes")).to_contain_text("270")
    page.get_by_role("button", name="I have read this").tap()
    assert wait_for(lambda: PrescriptionAcknowledgement.objects.filter(prescription__version=2).exists())


def review_is_signed(doctor: Watched, patient: Patient) -> str:
    page = doctor.open(f"/patients/{patient.pk}/months/{LAST:%Y-%m}/review/")
    page.get_by_label("In plain words, for the patient").fill("Typed, and kept although the password was wrong.")
    page.get_by_label("Your password, to sign").fill("not the password")
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("The password is not right. Nothing was signed.")).to_be_visible()
    words = page.get_by_label("In plain words, for the patient")
    expect(words).to_have_value("Typed, and kept although the password was wrong.")
    words.fill("Half an hour more a night is easier on your heart.")
    page.get_by_label("Your password, to sign").fill(PASSWORD)
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.get_by_text("From now on it only takes addenda.")).to_be_visible()
    click(page, "Let the patient read it")
    expect(page.get_by_text("The patient can read it now.")).to_be_visible()
    pdf = page.get_by_role("link", name="As PDF").get_attribute("href")
    answer = doctor.context.request.get(f"{doctor.home}{pdf}")
    assert answer.headers["content-type"] == "application/pdf"
    return " ".join(" ".join(each.extract_text() for each in PdfReader(io.BytesIO(answer.body())).pages).split())


def patient_reads(phone: Watched) -> None:
    page = phone.page
    page.evaluate("() => { location.hash = '#/more'; }")
    page.get_by_role("button", name="From your nephrologist").tap()
    expect(page.get_by_text("Half an hour more a night is easier on your heart.")).to_be_visible()


def test_the_month(
    browser_page: BrowserPage, treated: Patient, ben: Patient, nurse: User, nephrologist: User, laboratory: Laboratory
) -> None:
    """From the laboratory's file to what the patient has read, each step by whose it is."""
    at_desk, doctor = browser_page(nurse, size=DESKTOP), browser_page(nephrologist, size=DESKTOP)
    results_come_in(at_desk, treated)
    board_is_read(doctor, treated)
    review_is_written(doctor, treated)
    planner_is_tried(doctor, treated)
    prescription_is_signed(doctor, treated)
    phone = browser_page(treated.account, size=PHONE)
    phone_acknowledges(phone)
    text = review_is_signed(doctor, treated)
    for words in (f"Review of {LAST:%B %Y}", treated.name, "Dose enough, gains high: longer nights.", "6.2 ▲ above",
                  "Potassium again in a week", "Signed by Dr Lee", "4:30 h"):  # fmt: skip
        assert words in text
    patient_reads(phone)
    assert MonthlyReview.objects.get().frozen["numbers"]["potassium"]["value"] == 6.2


@pytest.fixture
def everything(treated: Patient, ben: Patient, nurse: User, laboratory: Laboratory) -> list[str]:
    """The addresses of the month's pages with something on each."""
    message = receive(
        laboratory=laboratory, form=MessageFormat.CSV, body=table_for(treated), filename="results.csv", by=nurse,
        at=timezone.now(),
    )  # fmt: skip
    own, month = f"/patients/{treated.pk}", f"{LAST:%Y-%m}"
    return [
        f"/months/{month}/", f"{own}/months/{month}/review/", f"{own}/months/{month}/uf_rate_mean/",
        f"{own}/planner/", f"{own}/outcomes/", f"{own}/", f"{own}/prescription/", f"{own}/target-weight/",
        f"{own}/changes/", "/bloods/imports/", f"/bloods/imports/{message.pk}/", "/ranges/",
        f"/months/{month}/unit/", "/jobs/", "/laboratories/new/", f"/laboratories/{laboratory.pk}/",
    ]  # fmt: skip


def test_pages_of_the_month_have_no_accessibility_fault(
    browser_page: BrowserPage, everything: list[str], nephrologist: User
) -> None:
    watched = browser_page(nephrologist, size=DESKTOP, bypass_csp=True)
    for path in everything:
        watched.open(path).wait_for_load_state("networkidle")
        expect_sound_in_every_look(watched.page, DESKTOP, PHONE)
