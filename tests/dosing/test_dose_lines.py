"""Doses below the bloods that they move: steps with their days, gaps where nothing is taken, in words where unknown."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.utils import timezone

from dosing.services.results.blood_charts import chart_of
from dosing.services.results.dose_lines import dose_lines
from sessions.facts.choices import Analyte
from sessions.models import Patient
from tests.factories import BloodFactory, MedicationFactory

MARCH, JUNE = date(2026, 3, 1), date(2026, 6, 30)


def test_a_dose_is_a_step_and_a_gap_is_none() -> None:
    made = [
        MedicationFactory.build(amount=40, from_on=date(2026, 4, 1), until_on=date(2026, 4, 30)),
        MedicationFactory.build(amount=30, from_on=date(2026, 1, 1), until_on=date(2026, 3, 31)),
        MedicationFactory.build(amount=20, from_on=date(2026, 6, 1)),
        MedicationFactory.build(name="Epoetin", amount=None, unit="", times=None, period="", from_on=MARCH),
    ]
    (line,) = dose_lines(made, MARCH, JUNE)
    assert line.label == "Darbepoetin alfa, µg a week"
    assert line.points == (
        (MARCH, 30),
        (date(2026, 3, 31), 30),
        (date(2026, 4, 1), 40),
        (date(2026, 4, 30), 40),
        (date(2026, 5, 1), None),
        (date(2026, 6, 1), 20),
        (JUNE, 20),
    )
    bloods = [BloodFactory.build(analyte=Analyte.HAEMOGLOBIN, value=value) for value in (108, 111)]
    chart = chart_of(Analyte.HAEMOGLOBIN, bloods, made, (MARCH, JUNE))
    assert chart is not None
    assert [trace["name"] for trace in chart.figure["data"]] == ["Haemoglobin", "Darbepoetin alfa, µg a week"]
    assert chart.beside == ("Epoetin",)
    assert chart_of(Analyte.HAEMOGLOBIN, bloods[:1], made, (MARCH, JUNE)) is None
    assert len(chart_of(Analyte.POTASSIUM, [*_potassium()], made, (MARCH, JUNE)).figure["data"]) == 1  # type: ignore[union-attr]


def test_thousands_of_milligrams_are_told_in_grams() -> None:
    binder = {"kind": "binder", "amount": 800, "unit": "mg", "times": 3, "period": "day"}
    (line,) = dose_lines([MedicationFactory.build(name="Sevelamer", from_on=MARCH, **binder)], MARCH, JUNE)
    assert (line.label, line.points[0]) == ("Sevelamer, g a week", (MARCH, 16.8))


def _potassium() -> list[object]:
    return [BloodFactory.build(analyte=Analyte.POTASSIUM, value=value) for value in (4.8, 5.1)]


@pytest.mark.django_db
def test_the_page_of_bloods_draws_it(ana: Patient, nurse_client: Client) -> None:
    now = timezone.now()
    for days in (40, 10):
        BloodFactory(patient=ana, analyte=Analyte.HAEMOGLOBIN, value=110, drawn_at=now - timezone.timedelta(days=days))
    MedicationFactory(patient=ana, from_on=(now - timezone.timedelta(days=60)).date())
    page = nurse_client.get(f"/patients/{ana.pk}/bloods/").content.decode()
    assert "Haemoglobin, g/L, and what is taken" in page
    assert "Darbepoetin alfa, \\u00b5g a week" in page
