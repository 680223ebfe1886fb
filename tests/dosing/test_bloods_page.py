"""Entering blood results by hand, in the units that the unit's screens use."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from dosing.services.numbers.blood_units import shown_as, three_figures
from homedialysis.accounts.choices import UnitSystem
from homedialysis.accounts.models import Unit, User
from homedialysis.accounts.services.dates import short_moment
from homedialysis.accounts.services.units import Spoken
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.models import BloodResult, Patient
from tests.crowd import ours
from tests.factories import A_NIGHT, BloodFactory, record_night

WALL = "%Y-%m-%dT%H:%M"


@pytest.fixture
def where(ana: Patient) -> str:
    return f"/patients/{ana.pk}/bloods/"


def sent(**changes: str) -> dict[str, str]:
    return {"pre_drawn_at": f"{A_NIGHT:{WALL}}", "timing": "pre"} | changes


def texts(row: dict[str, Any]) -> list[str]:
    return [cell["text"] for cell in row["cells"]]


# What the AMA Manual of Style gives to multiply conventional units by (from memory).
FACTORS = [
    ("urea", 70.0, 70 * 0.357, "mg/dL urea nitrogen"),
    ("creatinine", 8.8, 8.8 * 88.4, "mg/dL"),
    ("calcium", 9.6, 9.6 * 0.25, "mg/dL"),
    ("phosphate", 5.5, 5.5 * 0.323, "mg/dL"),
    ("albumin", 3.9, 39.0, "g/dL"),
    ("haemoglobin", 11.2, 112.0, "g/dL"),
    ("pth", 300.0, 300 * 0.1053, "pg/mL"),
    ("ferritin", 450.0, 450.0, "ng/mL"),
    ("potassium", 5.1, 5.1, "mEq/L"),
    ("sodium", 138.0, 138.0, "mEq/L"),
    ("bicarbonate", 22.0, 22.0, "mEq/L"),
    ("magnesium", 2.4, 2.4 * 0.411, "mg/dL"),
    ("glucose", 100.0, 100 * 0.0555, "mg/dL"),
    ("crp", 0.8, 8.0, "mg/dL"),
    ("hba1c", 53.0, 53.0, "mmol/mol"),
    ("b2m", 25.0, 25.0, "mg/L"),
    ("transferrin_saturation", 25.0, 25.0, "%"),
]


@pytest.mark.parametrize(("name", "given", "canonical", "unit"), FACTORS)
def test_conventional_units_become_canonical_ones_and_back(
    name: str, given: float, canonical: float, unit: str
) -> None:
    shown = shown_as(Analyte[name.upper()].value, Spoken(UnitSystem.US))
    assert shown.unit == unit
    assert shown.to_canonical(given) == pytest.approx(canonical, rel=0.01)
    assert shown.from_canonical(shown.to_canonical(given)) == pytest.approx(given)


def test_every_analyte_is_among_them() -> None:
    assert {name.upper() for name, *_ in FACTORS} == set(Analyte.names)


@pytest.mark.parametrize("analyte", Analyte.values)
def test_in_si_nothing_is_converted(analyte: str) -> None:
    shown = shown_as(analyte, Spoken(UnitSystem.SI))
    assert (shown.to_canonical(5.0), shown.unit) == (5.0, plausible.BLOOD[analyte].unit)


@pytest.mark.parametrize("analyte", Analyte.values)
@pytest.mark.parametrize("system", UnitSystem.values)
def test_limits_hold_in_the_units_shown(analyte: str, system: str) -> None:
    shown, (low, high) = shown_as(analyte, Spoken(system)), plausible.BLOOD[analyte].hard
    inside = [shown.from_canonical(low) * 1.001, shown.from_canonical(high) * 0.999]
    outside = [shown.from_canonical(low) * 0.99, shown.from_canonical(high) * 1.01]
    assert [shown.refusal(given) for given in inside] == ["", ""]
    for given in outside:
        words = shown.refusal(given)
        assert shown.unit in words
        assert float(words.split("; ")[1].split()[0]) == pytest.approx(given, rel=1e-4)
        assert "e+" not in words.split(";")[0]


@pytest.mark.parametrize(
    ("value", "text"), [(0.05714, "0.0571"), (5.66, "5.66"), (56.55, "56.5"), (565.5, "566"), (5655.0, "5655")]
)
def test_three_figures_and_no_power_of_ten(value: float, text: str) -> None:
    assert three_figures(value) == text


@pytest.mark.django_db
@pytest.mark.parametrize(("system", "urea", "after"), [("si", "25", "8"), ("us", "70.0325", "22.4104")])
def test_a_pair_of_urea_is_kept_in_canonical_units_and_tied_to_its_night(
    nurse_client: Client, nurse: User, where: str, ana: Patient, system: str, urea: str, after: str
) -> None:
    Unit.objects.update(unit_system=system)
    night = record_night(ana)
    second = f"{A_NIGHT + timedelta(hours=4):{WALL}}"
    answer = nurse_client.post(where, sent(urea=urea, post_urea=after, post_drawn_at=second, post_method="slow_flow"))
    assert (answer.status_code, answer.headers["Location"]) == (302, where)
    pre, post = ours(BloodResult).order_by("drawn_at")
    assert (pre.value, post.value) == (pytest.approx(25, rel=1e-3), pytest.approx(8, rel=1e-3))
    assert (pre.timing, post.timing, post.post_method) == ("pre", "post", "slow_flow")
    assert (pre.treatment, post.treatment, pre.entered_by) == (night, night, nurse)


@pytest.mark.django_db
def test_times_are_read_on_the_clock_of_the_patients_wall(nurse_client: Client, where: str, ana: Patient) -> None:
    ours(Patient).update(time_zone="Pacific/Auckland")
    nurse_client.post(where, sent(pre_drawn_at="2026-03-03T10:30", potassium="5.1", timing="apart"))
    assert ours(BloodResult).get().drawn_at == A_NIGHT


@pytest.mark.django_db
def test_several_results_of_one_drawing(nurse_client: Client, where: str) -> None:
    nurse_client.post(where, sent(timing="apart", potassium="5.1", haemoglobin="112", ferritin="1500"))
    found = {result.analyte: (result.value, result.timing) for result in ours(BloodResult).all()}
    assert found == {"2823-3": (5.1, "apart"), "718-7": (112, "apart"), "2276-4": (1500, "apart")}
    rows = {row["name"]: (row["unit"], texts(row)) for row in nurse_client.get(where).context["rows"]}
    assert rows == {"Potassium": ("mmol/L", ["5.1"]), "Haemoglobin": ("g/L", ["112"]), "Ferritin": ("µg/L", ["1500"])}


AHEAD = f"{timezone.now() + timedelta(days=2):{WALL}}"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({}, "__all__", "Enter at least one result."),
        ({"potassium": "51"}, "potassium", "Potassium must be between 1 and 12 mmol/L; 51 was given."),
        ({"creatinine": "9999"}, "creatinine", "between 5 and 5000 µmol/L; 9999 was given."),
        ({"potassium": "nan"}, "potassium", "is not a number"),
        ({"potassium": "1,510"}, "potassium", "can be read two ways"),
        ({"post_urea": "8"}, "post_drawn_at", "Say when the second sample was drawn."),
        ({"post_urea": "800", "post_drawn_at": "2026-03-03T01:30"}, "post_urea", "800 was given"),
        ({"potassium": "5", "pre_drawn_at": AHEAD}, "pre_drawn_at", "Lies ahead of now"),
        ({"potassium": "5", "pre_drawn_at": "0001-01-01T00:00"}, "pre_drawn_at", "Must not lie before 1 Jan 1960"),
        ({"potassium": "5", "pre_drawn_at": ""}, "pre_drawn_at", "required"),
        ({"potassium": "5", "timing": "post"}, "timing", "Select a valid choice"),
        ({"potassium": "5", "post_method": "spoon"}, "post_method", "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    nurse_client: Client, where: str, changes: dict[str, str], field: str, words: str
) -> None:
    page = nurse_client.post(where, sent(**changes))
    assert page.status_code == 200
    assert words in page.context["form"].errors[field][0]
    assert not ours(BloodResult).exists()


@pytest.mark.django_db
def test_in_conventional_units_the_limit_is_told_in_them(nurse_client: Client, where: str) -> None:
    Unit.objects.update(unit_system="us")
    page = nurse_client.post(where, sent(haemoglobin="112"))
    words = page.context["form"].errors["haemoglobin"][0]
    assert words == "Haemoglobin must be between 2 and 25 g/dL; 112 was given."


@pytest.mark.django_db
@pytest.mark.parametrize("count", [1, 3])
def test_it_asks_a_fixed_number_of_times(
    nurse_client: Client, ana: Patient, where: str, count: int, django_assert_num_queries: Any
) -> None:
    record = record_night(ana)
    for days in range(count):
        BloodFactory(patient=ana, treatment=record, drawn_at=A_NIGHT + timedelta(days=days))
    nurse_client.get(where)
    with django_assert_num_queries(15):
        (urea,) = nurse_client.get(where).context["rows"]
    assert texts(urea) == ["20"] * count


@pytest.mark.django_db
def test_a_comma_is_a_decimal_sign_and_what_is_unusual_is_asked_about_once_more(
    nurse_client: Client, where: str
) -> None:
    assert nurse_client.post(where, sent(urea="8,3", potassium="4,1")).status_code == 302
    assert sorted(ours(BloodResult).values_list("value", flat=True)) == [4.1, 8.3]
    page = nurse_client.post(where, sent(urea="83", pre_drawn_at="2026-03-04T08:00"))
    form = page.context["form"]
    assert form.asked == ["Urea: 83 mmol/L, usually between 2 and 50"]
    assert ours(BloodResult).count() == 2
    sure = sent(urea="83", pre_drawn_at="2026-03-04T08:00", sure=form.asked_key)
    assert nurse_client.post(where, sure).status_code == 302
    assert ours(BloodResult).count() == 3


def enter(client: Client, where: str, **numbers: str) -> Any:
    return client.post(where, sent(timing="apart", **numbers))


@pytest.mark.django_db
def test_a_second_number_for_the_same_drawing_is_asked_about_and_names_what_stands(
    nurse_client: Client, nurse: User, where: str
) -> None:
    enter(nurse_client, where, potassium="5.1")
    page = enter(nurse_client, where, potassium="4.6")
    (words,) = page.context["form"].asked
    assert words.startswith(
        f"Potassium drawn {short_moment(timezone.localtime(A_NIGHT))}: 5.1 mmol/L stands, entered by"
    )
    assert nurse.name in words
    assert "corrects it to 4.6 mmol/L" in words
    assert ours(BloodResult).get().value == 5.1
    enter(nurse_client, where, potassium="4.6", sure=page.context["form"].asked_key)
    assert ours(BloodResult).get().value == 4.6


@pytest.mark.django_db
def test_a_correction_stands_on_the_page_with_what_it_was_who_and_when(
    nurse_client: Client, nephrologist: User, nurse: User, where: str, ana: Patient
) -> None:
    BloodFactory(patient=ana, analyte="2823-3", value=5.1, timing="apart", entered_by=nephrologist)
    page = enter(nurse_client, where, potassium="4.6")
    enter(nurse_client, where, potassium="4.6", sure=page.context["form"].asked_key)
    (change,) = nurse_client.get(where).context["changes"]
    assert (change.was, change.became, change.was_by, change.by) == (
        "5.1 mmol/L", "4.6 mmol/L", nephrologist.name, nurse.name,
    )  # fmt: skip
    assert "5.1 mmol/L corrected to 4.6 mmol/L" in " ".join(nurse_client.get(where).content.decode().split())


@pytest.mark.django_db
def test_the_same_number_again_is_not_asked_about_and_stays_with_who_entered_it(
    nurse_client: Client, nephrologist: User, where: str, ana: Patient
) -> None:
    BloodFactory(patient=ana, analyte="2823-3", value=5.1, timing="apart", entered_by=nephrologist)
    assert enter(nurse_client, where, potassium="5.1").status_code == 302
    assert ours(BloodResult).get().entered_by == nephrologist
    assert nurse_client.get(where).context["changes"] == []


@pytest.mark.django_db
def test_another_patients_result_is_taken_back_with_a_reason_and_the_row_is_kept(
    nurse_client: Client, nurse: User, where: str, ana: Patient
) -> None:
    record = record_night(ana)
    result = BloodFactory(patient=ana, treatment=record)
    own = f"{where}{result.pk}/"
    assert nurse_client.get(own).status_code == 200
    nurse_client.post(own, {"task": "take back", "why": "  "})
    assert ours(BloodResult).exists()
    nurse_client.post(own, {"task": "take back", "why": "Another patient's tube."})
    assert not ours(BloodResult).exists()
    kept = BloodResult.with_taken_back.get(pk=result.pk)
    assert (kept.value, kept.taken_back, kept.entered_by, kept.treatment) == (
        20,
        "Another patient's tube.",
        nurse,
        None,
    )
    assert not record.bloods.exists()
    assert nurse_client.get(own).status_code == 404
    page = nurse_client.get(where)
    assert page.context["rows"] == []
    assert "Another patient&#x27;s tube." in page.content.decode()


@pytest.mark.django_db
def test_the_right_result_may_be_entered_where_one_was_taken_back(
    nurse_client: Client, where: str, ana: Patient
) -> None:
    result = BloodFactory(patient=ana, analyte="2823-3", value=7.1, timing="apart")
    nurse_client.post(f"{where}{result.pk}/", {"task": "take back", "why": "Another patient's tube."})
    assert enter(nurse_client, where, potassium="4.4").status_code == 302
    assert ours(BloodResult).get().value == 4.4
