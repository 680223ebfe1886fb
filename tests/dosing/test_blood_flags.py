"""What is out of its range is marked with its weight; bounds stay bounds wherever a result is read."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from alerts.rules import BY_KEY
from dosing.services.month.blood_flags import FlagWeight, flag_of
from dosing.services.month.computing import compute_month
from dosing.services.month.ranges import RangeBook
from sessions.facts.choices import Analyte
from sessions.facts.months import first_of
from sessions.models import BloodResult, Patient
from tests.alerts.made_nights import NOW, history, night
from tests.factories import A_NIGHT, BloodFactory
from tests.page_text import laid_flat

NO_RANGES_OF_ITS_OWN = RangeBook({})
FAR, CLEAR, SLIGHT = FlagWeight.FAR, FlagWeight.CLEAR, FlagWeight.SLIGHT
WEIGHTS: list[tuple[str, dict[str, Any], tuple[FlagWeight, int] | None]] = [
    ("POTASSIUM", {"value": 6.4}, (FAR, 1)),
    ("POTASSIUM", {"value": 6.4, "timing": "post"}, None),
    ("POTASSIUM", {"value": 3.4}, (FAR, -1)),
    ("POTASSIUM", {"value": 5.0}, None),
    ("POTASSIUM", {"value": 5.0, "flag": "H", "reference": "3.5-4.9"}, (SLIGHT, 1)),
    ("POTASSIUM", {"value": 7.0, "bound": ">"}, (FAR, 1)),
    ("POTASSIUM", {"value": 7.0, "bound": "<"}, None),
    ("HAEMOGLOBIN", {"value": 116}, None),
    ("HAEMOGLOBIN", {"value": 131}, (SLIGHT, 1)),
    ("HAEMOGLOBIN", {"value": 150}, (CLEAR, 1)),
    ("HAEMOGLOBIN", {"value": 78}, (FAR, -1)),
    ("CRP", {"value": 80}, None),
    ("CRP", {"value": 80, "value_sent": "80", "reference": "<5"}, (SLIGHT, 1)),
    ("CRP", {"value": 4, "value_sent": "4", "reference": "<5"}, None),
    ("B2M", {"value": 1, "value_sent": "1,0", "reference": "1,1 - 2,4"}, (SLIGHT, -1)),
    ("MAGNESIUM", {"value": 0.7, "value_sent": "0.7", "reference": "see letter"}, None),
]


@pytest.mark.parametrize(("name", "changed", "expected"), WEIGHTS)
def test_what_is_far_out_weighs_more_than_what_is_barely_out(
    name: str, changed: dict[str, Any], expected: tuple[FlagWeight, int] | None
) -> None:
    result = BloodFactory.build(analyte=Analyte[name], patient=None, entered_by=None, **changed)
    flag = flag_of(result, NO_RANGES_OF_ITS_OWN)
    assert (flag and (flag.weight, flag.side)) == expected


def test_a_flag_says_which_range() -> None:
    far = flag_of(BloodFactory.build(analyte=Analyte.POTASSIUM, value=6.4), NO_RANGES_OF_ITS_OWN)
    assert far is not None
    assert far.words.startswith("far out; above the unit’s range, ")
    sent = BloodFactory.build(analyte=Analyte.CRP, value=80, value_sent="80", reference="<5")
    told = flag_of(sent, NO_RANGES_OF_ITS_OWN)
    assert told is not None
    assert told.words == "above the laboratory’s range, <5"


def potassium(**changed: Any) -> list[BloodResult]:
    return [BloodFactory.build(analyte=Analyte.POTASSIUM, drawn_at=A_NIGHT, treatment=None, **changed)]


def test_a_bound_calls_only_on_its_own_side_and_the_comment_stands_beside_it() -> None:
    rule = BY_KEY["potassium_call"]
    over = history(night(0), bloods=potassium(value=7.1, bound=">", comment="Haemolysed."))
    (seen,) = rule.see(over, NOW)
    assert rule.say(seen).startswith("Potassium >7.1 mmol/L on ")
    assert seen.evidence[-1].parts["comment"] == "Haemolysed."
    assert list(rule.see(history(night(0), bloods=potassium(value=7.1, bound="<")), NOW)) == []
    assert list(rule.see(history(night(0), bloods=potassium(value=3.0, bound=">")), NOW)) == []


@pytest.mark.django_db
def test_a_bound_is_shown_and_exchanged_and_never_computed_with(ana: Patient, nurse_client: Client) -> None:
    where = f"/patients/{ana.pk}/bloods/"
    sent = {"pre_drawn_at": "2026-03-04T08:00", "timing": "apart", "ferritin": "> 1650", "crp": "<0,3"}
    assert nurse_client.post(where, sent).status_code == 302
    assert not ana.bloods.exists()
    kept = {row.analyte: (row.bound, row.value) for row in BloodResult.with_bounds.filter(patient=ana)}
    assert kept == {Analyte.FERRITIN: (">", 1650), Analyte.CRP: ("<", 0.3)}
    page = nurse_client.get(where).content.decode()
    assert "&gt;1650" in page
    assert "&lt;0.3" in page
    (told,) = nurse_client.get(f"/api/v1/fhir/Observation?patient={ana.pk}&code=2276-4").json()["entry"]
    quantity = told["resource"]["valueQuantity"]
    assert (quantity["comparator"], quantity["value"]) == (">", 1650)
    rows = nurse_client.get(f"/api/v1/bloods/?patient={ana.pk}").json()["results"]
    assert {(row["bound"], row["value"]) for row in rows} == {(">", 1650), ("<", 0.3)}


@pytest.mark.django_db
def test_a_result_is_corrected_by_hand_with_a_reason(ana: Patient, nurse_client: Client) -> None:
    row = BloodFactory(patient=ana, analyte=Analyte.POTASSIUM, value=7.1, comment="Haemolysed.")
    where = f"/patients/{ana.pk}/bloods/{row.pk}/"
    assert "Haemolysed." in nurse_client.get(where).content.decode()
    assert nurse_client.post(where, {"task": "correct", "number": "5,1", "why": ""}).status_code == 200
    assert nurse_client.post(where, {"task": "correct", "number": "51", "why": "x"}).status_code == 200
    row.refresh_from_db()
    assert row.value == 7.1
    assert nurse_client.post(where, {"task": "correct", "number": "5,1", "why": "Drawn again."}).status_code == 302
    row.refresh_from_db()
    assert (row.value, row.corrected_because) == (5.1, "Drawn again.")
    page = nurse_client.get(where)
    (change,) = page.context["changes"]
    assert "corrected to 5.1 mmol/L: “Drawn again.”" in laid_flat(page.content.decode())
    assert f"Entered by {row.entered_by.name} on" not in laid_flat(page.content.decode()), "whoever corrected it"
    assert f"Entered by {change.was_by} on" in laid_flat(page.content.decode())
    line = laid_flat(nurse_client.get(f"/patients/{ana.pk}/timeline/").content.decode())
    assert "7.1 mmol/L corrected to 5.1 mmol/L: “Drawn again.”" in line
    assert (change.was, change.became, change.why) == ("7.1 mmol/L", "5.1 mmol/L", "Drawn again.")


@pytest.mark.django_db
def test_a_month_whose_newest_ferritin_is_a_bound_says_so(ana: Patient, nurse_client: Client) -> None:
    BloodFactory(patient=ana, analyte=Analyte.FERRITIN, value=800, drawn_at=A_NIGHT, timing="apart")
    BloodFactory(
        patient=ana,
        analyte=Analyte.FERRITIN,
        value=1650,
        bound=">",
        drawn_at=A_NIGHT + timedelta(days=3),
        timing="apart",
    )
    month = compute_month(ana, first_of(A_NIGHT.date()), at=A_NIGHT + timedelta(days=40))
    assert month.numbers["ferritin"]["value"] is None
    assert month.numbers["ferritin"]["why"]["code"] == "only_a_bound"
