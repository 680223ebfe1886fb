"""A unit that works in mg/dL reads and types mg/dL: a foreign unit beside an analyte fails, page by page."""

from __future__ import annotations

import re
from datetime import date
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
from sessions.models import Patient, UrineCollection
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
