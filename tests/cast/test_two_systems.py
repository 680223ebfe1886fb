"""A unit that works in mg/dL reads and types mg/dL: a foreign unit beside an analyte fails, page by page."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from alerts.models import Alert, AlertStep, Limit
from alerts.models.choices import StepKind, Urgency
from alerts.rules.base import Evidence
from dosing.models import ReviewRange
from dosing.services.month.computing import compute_month
from homedialysis.accounts.models import Unit
from sessions.facts.choices import Analyte
from sessions.models import Patient, Prescription, UrineCollection
from sessions.services.flow_sheet import sheet_of
from sessions.services.kit import kit
from tests.factories import A_NIGHT, BloodFactory, record_night
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db

SI_ONLY = re.compile(r"(?i)(phosphate|calcium|haemoglobin|albumin|\bhb\b)[^.;|]{0,60}?\b(mmol/L|g/L)")
"""One of these with a unit that a US unit does not use, in one breath."""


@pytest.fixture
def us(unit: Unit) -> Unit:
    unit.unit_system = "us"
    unit.save()
    return unit


@pytest.fixture
def bled(ana: Patient) -> Patient:
    """Phosphate 1.9 mmol/L is 5.89 mg/dL; haemoglobin 104 g/L is 10.4 g/dL; with an alert of the phosphate."""
    record_night(ana)
    for analyte, value in ((Analyte.PHOSPHATE, 1.9), (Analyte.HAEMOGLOBIN, 104), (Analyte.CALCIUM, 2.3)):
        BloodFactory(patient=ana, analyte=analyte, value=value)
    compute_month(ana, date(2026, 3, 1), at=timezone.now())
    seen = Evidence(
        kind=f"blood.{Analyte.PHOSPHATE.value}", at=A_NIGHT, day=A_NIGHT.date(), value=1.9, limit=1.78,
        parts={"unit": "mmol/L"},
    )  # fmt: skip
    alert = Alert.objects.create(
        patient=ana, rule="phosphate", cause="phosphate", urgency=Urgency.AT_REVIEW, evidence=[seen.as_json()],
        first_night=A_NIGHT.date(), last_night=A_NIGHT.date(), opened_at=A_NIGHT, last_seen_at=A_NIGHT,
    )  # fmt: skip
    AlertStep.objects.create(alert=alert, kind=StepKind.OPENED, at=A_NIGHT)
    return ana


def pages(patient: Patient) -> list[str]:
    own = [f"/patients/{patient.pk}/{part}" for part in ("", "bloods/", "limits/", "months/2026-03/review/")]
    of_unit = [
        "/triage/",
        f"/triage/{patient.pk}/",
        "/limits/",
        "/ranges/",
        "/months/2026-03/",
        "/months/2026-03/?all=1",
        "/months/2026-03/unit/",
    ]
    return own + of_unit


def test_no_page_of_a_us_unit_speaks_si_of_these(nephrologist_client: Client, us: Unit, bled: Patient) -> None:
    wrong = {}
    for path in pages(bled):
        answer = nephrologist_client.get(path)
        assert answer.status_code == 200, path
        text = laid_flat(re.sub(r"<[^>]+>", " ", answer.content.decode()))
        if found := [each[0] for each in SI_ONLY.finditer(text)]:
            wrong[path] = found
    assert wrong == {}


def test_the_same_alert_is_told_in_the_system_of_the_unit(nurse_client: Client, unit: Unit, bled: Patient) -> None:
    words = {}
    for system in ("si", "us"):
        Unit.objects.update(unit_system=system)
        words[system] = laid_flat(nurse_client.get("/triage/").content.decode())
    assert "Phosphate 1.9 mmol/L on 2 Mar, over the limit of 1.78 mmol/L" in words["si"]
    assert "Phosphate 5.89 mg/dL on 2 Mar, over the limit of 5.51 mg/dL" in words["us"]


def set_range(client: Client, **typed: Any) -> Any:
    return client.post("/ranges/", {"number": "phosphate", "why": "As the unit aims.", **typed})


def test_a_range_is_typed_in_the_system_of_the_unit(nephrologist_client: Client, us: Unit) -> None:
    assert set_range(nephrologist_client, low="3,5", high="5.5").status_code == 302
    row = ReviewRange.objects.get()
    assert (round(row.low or 0, 3), round(row.high or 0, 3)) == (1.13, 1.776)
    assert "3.5 to 5.5 mg/dL" in laid_flat(nephrologist_client.get("/ranges/").content.decode())


def test_mg_typed_where_mmol_are_read_is_asked_about_or_refused(nephrologist_client: Client, unit: Unit) -> None:
    page = set_range(nephrologist_client, low="3.5", high="5.5")
    assert page.context["form"].asked == [
        "Phosphate: 3.5 mmol/L, usually between 0.5 and 3",
        "Phosphate: 5.5 mmol/L, usually between 0.5 and 3",
    ]
    assert not ReviewRange.objects.exists()
    assert "between 0.1 and 6 mmol/L; 8.4 was given" in str(
        set_range(nephrologist_client, low="3.5", high="8.4").context["form"].errors
    )


def test_a_limit_is_typed_in_the_system_of_the_unit(nurse_client: Client, us: Unit) -> None:
    asked = {"name": "phosphate_high", "value": "5,5", "why": "As the unit aims."}
    shown = nurse_client.post("/limits/", asked)
    assert shown.status_code == 200
    assert "5.5 mg/dL" in laid_flat(shown.content.decode())
    assert nurse_client.post("/limits/", {"shown": shown.context["shown"]}).status_code == 302
    assert round(Limit.objects.get().value or 0, 3) == 1.776
    refused = nurse_client.post("/limits/", asked | {"value": "1.7"})
    assert refused.status_code == 400
    assert "between 3.1 and 9.29 mg/dL; 1.7 was given" in refused.content.decode()


def test_urine_is_typed_in_the_system_of_the_unit(nurse_client: Client, us: Unit, ana: Patient) -> None:
    """Of urea nitrogen 2.8014 mg/dL, of creatinine 11.312 mg/dL are 1 mmol/L (molar masses 28.014 and 113.12 g/mol)."""
    where = f"/patients/{ana.pk}/urine/"
    sent = {"began_at": "2026-03-01T08:00", "ended_at": "2026-03-02T08:00", "volume_ml": "900", "urea_mmol_l": "280,14",
            "creatinine_mmol_l": "56,56"}  # fmt: skip
    assert "Urea in the urine (mg/dL" in nurse_client.get(f"/patients/{ana.pk}/bloods/").content.decode()
    page = nurse_client.post(where, sent | {"creatinine_mmol_l": "5000"})
    assert "Creatinine in the urine must be between" in page.content.decode()
    assert nurse_client.post(where, sent).status_code == 302
    kept = UrineCollection.objects.get(patient=ana)
    assert (round(kept.urea_mmol_l or 0, 1), round(kept.creatinine_mmol_l or 0, 1)) == (100.0, 5.0)


def test_what_a_unit_writes_otherwise_is_chosen_for_each_analyte(
    admin_client: Client, nurse_client: Client, unit: Unit, bled: Patient
) -> None:
    """Urea in mg/dL, which is not its nitrogen: 96 mg/dL of urea are 16.0 mmol/L, where 96 of nitrogen were 34.3."""
    sent = {Analyte.UREA.value: "mg/dL urea", Analyte.HAEMOGLOBIN.value: "g/dL"}
    assert admin_client.post("/unit/bloods/", sent).status_code == 302
    typed = {"pre_drawn_at": "2026-03-02T12:00", "timing": "apart", "urea": "96", "haemoglobin": "10,4"}
    assert nurse_client.post(f"/patients/{bled.pk}/bloods/", typed).status_code == 302
    kept = {row.analyte: row.value for row in bled.bloods.filter(timing="apart")}
    assert round(kept[Analyte.UREA], 2) == 15.99
    assert round(kept[Analyte.HAEMOGLOBIN], 1) == 104
    page = laid_flat(nurse_client.get(f"/patients/{bled.pk}/bloods/").content.decode())
    assert "Haemoglobin, g/dL" in page
    assert "Phosphate, mmol/L" in page
    refused = admin_client.post("/unit/bloods/", {Analyte.UREA.value: "stone"})
    assert "stone is not one of the available choices" in refused.content.decode()


def test_a_worked_number_has_the_readers_unit_beside_that_of_its_equation(
    nurse_client: Client, us: Unit, bled: Patient
) -> None:
    page = laid_flat(nurse_client.get(f"/patients/{bled.pk}/months/2026-03/phosphate/").content.decode())
    text = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    assert "Result 5.9 mg/dL (1.90 mmol/L)" in text
    assert "1.9 mmol/L (5.89 mg/dL)" in text


def test_a_target_is_typed_in_pounds_and_what_was_not_touched_is_not_moved(
    nephrologist_client: Client, unit: Unit, anas_prescription: Prescription
) -> None:
    Unit.objects.update(weight_unit="lb")
    where = f"/patients/{anas_prescription.patient_id}/prescription/"
    form = nephrologist_client.get(where).context["form"]
    target = anas_prescription.target_weight_kg
    assert form["target_weight_kg"].value() == round(target / 0.45359237, 1)
    shown = str(form["target_weight_kg"].value())
    field = form.fields["target_weight_kg"]
    assert field.unmoved(field.clean(shown), target) == target
    assert round(field.clean("155") or 0, 3) == 70.307
    page = nephrologist_client.post(where, {"target_weight_kg": "700"})
    assert "must be between 44.1 and 661.4 lb; 700 was given" in page.content.decode()


def test_the_kit_of_a_reader_in_pounds_keeps_kilograms(
    unit: Unit, ana: Patient, anas_prescription: Prescription
) -> None:
    """Limits stay canonical and the unit of the reader stands beside; the lines of the prescription are told in it."""
    assert ana.account is not None
    plain = kit(ana, ana.account, A_NIGHT)["limits"]["pre_weight_kg"]
    ana.account.weight_unit = "lb"
    made = kit(ana, ana.account, A_NIGHT)
    weight = made["limits"]["pre_weight_kg"]
    assert weight.pop("told") == {"unit": "lb", "factor": pytest.approx(2.20462262), "offset": 0}
    assert weight == plain
    assert made["computed"]["gain"]["unit"] == "kg"
    assert made["computed"]["gain"]["told"]["unit"] == "lb"
    target = next(line for line in made["prescription"]["lines"]["main"] if line["label"] == "Target weight")
    assert (target["number"], target["unit"]) == (
        f"{anas_prescription.target_weight_kg / 0.45359237:.1f}".rstrip("0").rstrip("."),
        "lb",
    )
    assert made["prescription"]["target_weight_kg"] == anas_prescription.target_weight_kg
    assert "told" not in made["limits"]["readings.dialysate_temperature_c"]


def test_a_person_chooses_pounds_and_goes_by_the_unit_again(ana_client: Client, unit: Unit, ana: Patient) -> None:
    for chosen in ("lb", ""):
        sent = {"weight_unit": chosen, "temperature_unit": "°F"}
        assert ana_client.post("/account/units/", sent).status_code == 302
        assert ana.account is not None
        ana.account.refresh_from_db()
        assert (ana.account.weight_unit, ana.account.temperature_unit) == (chosen, "°F")
    ana_client.post("/account/units/", {"weight_unit": "stone"})
    ana.account.refresh_from_db()
    assert ana.account.weight_unit == ""


def test_the_paper_sheet_asks_in_the_units_in_which_the_phone_will_type_it(
    nurse_client: Client, unit: Unit, ana: Patient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Printed by a nurse in kilograms for a patient in pounds: the patient's phone types it in."""
    headings: list[str] = []

    def seen(patient: Patient, *, at: datetime, blank: bool) -> bytes:
        headings.extend(sheet_of(patient, at=at, blank=blank)["measured"])
        return b"%PDF"

    assert ana.account is not None
    ana.account.weight_unit = "lb"
    ana.account.save()
    monkeypatch.setattr("sessions.pages.takeout.flow_sheet_pdf", seen)
    nurse_client.get(f"/takeout/{ana.pk}/flow-sheet.pdf")
    assert headings[0] == "Weight, lb"
