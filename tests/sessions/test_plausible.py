"""The limits of every number: just inside and just outside each border, hard and usual, and the words for them."""

from __future__ import annotations

import json
import math
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from dosing.science.bloods import loinc_is_well_formed
from sessions.facts import plausible
from sessions.facts.choices import Analyte
from sessions.facts.fields import CHECK, EVENT, LISTS, MEDICINE, READING, SITE, TREATMENT, WEIGHT, Field, columns
from sessions.facts.ordered import NUMBERS
from sessions.facts.ranges import Range
from sessions.models import Prescription, TreatmentRecord
from sessions.pages.forms import EnrolForm, PrescriptionForm
from tests.factories import A_NIGHT, night_body
from tests.over_http import put

TABLES = {
    "treatment": TREATMENT,
    "reading": READING,
    "check": CHECK,
    "medicine": MEDICINE,
    "site": SITE,
    "event": EVENT,
    "prescription": NUMBERS,
    "blood": plausible.BLOOD,
    "length": {"minutes": plausible.MINUTES_OF_TREATMENT},
}
EVERY = [pytest.param(limits, id=f"{table}.{name}") for table, rows in TABLES.items() for name, limits in rows.items()]


def borders(low: float, high: float) -> tuple[list[float], list[float]]:
    """Numbers just inside, and numbers just outside."""
    inside = [low, high, math.nextafter(low, high), math.nextafter(high, low)]
    return inside, [math.nextafter(low, -math.inf), math.nextafter(high, math.inf)]


@pytest.mark.parametrize("limits", EVERY)
def test_hard_limits_refuse_just_outside_and_nothing_inside(limits: Range) -> None:
    inside, outside = borders(*limits.hard)
    assert [limits.refusal(given) for given in inside] == [""] * 4
    low, high = limits.hard
    for given in outside:
        words = limits.refusal(given)
        assert words.startswith(f"{limits.label} must be between {low:g} and {high:g}")
        assert words.endswith(f"; {given:g} was given.")
        assert " ;" not in words


@pytest.mark.parametrize("limits", EVERY)
def test_usual_limits_ask_just_outside_and_nothing_inside(limits: Range) -> None:
    inside, outside = borders(*limits.usual)
    assert [limits.oddity(given) for given in inside] == [""] * 4
    low, high = limits.usual
    assert {limits.oddity(given) for given in outside} == {
        f"usually between {low:g} and {high:g} {limits.unit}".rstrip()
    }


@pytest.mark.parametrize("limits", EVERY)
def test_what_is_usual_is_possible(limits: Range) -> None:
    assert limits.hard[0] <= limits.usual[0] < limits.usual[1] <= limits.hard[1]
    assert limits.label
    assert limits.step > 0


DECLARED = TREATMENT | {f"{listed}.{name}": field for listed, rows in LISTS.items() for name, field in rows.items()}


@pytest.mark.parametrize("field", [pytest.param(field, id=path) for path, field in DECLARED.items()])
def test_what_is_declared_fits_together(field: Field) -> None:
    assert not field.loinc or loinc_is_well_formed(field.loinc)
    assert field.ucum_code or field.unit == "G", "a needle's gauge has no unit in UCUM"
    assert not field.oddity(field.likely)
    assert not field.whole or float(field.likely).is_integer()


def test_two_numbers_of_one_pressure_share_a_column() -> None:
    pairs = {column.key: column.below for column in columns(TREATMENT) if column.below}
    assert pairs == {
        f"{when}{pose}systolic": f"{when}{pose}diastolic" for when in ("pre_", "post_") for pose in ("", "standing_")
    }


def test_what_is_asked_where_is_meant_so() -> None:
    """Today's choice, said once more by hand: what the machine was set to run at has no column on paper."""
    told = plausible.for_screens()
    assert told["readings"][:4] == ["arterial_mmhg", "venous_mmhg", "tmp_mmhg", "qb_ml_min"]
    assert set(told["readings"]) == set(READING)
    left_out = {"qd_ml_min", "conductivity_ms_cm", "dialysate_temperature_c"}
    assert told["paper"]["readings"] == [key for key in READING if key not in left_out]
    assert told["paper"]["sites"] == ["attempts", "pain", "gauge", "bleeding_minutes"]
    assert told["paper"]["events"] == []
    assert told["drawn"] == ["weight_kg", "systolic"]
    assert told["before"][-1] == "pre_temperature_c"
    assert told["after"] == [each.replace("pre_", "post_") for each in told["before"][:-1]]
    assert told["fluid"] == [
        "set_temperature_c",
        "rinse_back_l",
        "intake_l",
        "uf_removed_l",
        "blood_processed_l",
        "machine_ktv",
    ]
    assert set(told["paper"]["fluid"]) == {"planned_uf_l", "set_uf_l", "blood_lost_ml", *told["fluid"][1:]}


def test_what_a_number_is_set_beside_is_prescribed_in_its_unit() -> None:
    """In the unit of the number itself: the two stand side by side."""
    beside = {name: field.ordered for name, field in TREATMENT.items() if field.ordered}
    assert beside == {"set_temperature_c": "dialysate_temperature_c"}
    for name, ordered in beside.items():
        assert (TREATMENT[name].unit, TREATMENT[name].told) == (NUMBERS[ordered].unit, NUMBERS[ordered].told)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (Decimal("350.500000"), "Weight must be between 20 and 300 kg; 350.5 was given."),
        (Decimal(301), "Weight must be between 20 and 300 kg; 301 was given."),
        (1_000_000, "Weight must be between 20 and 300 kg; 1000000 was given."),
        (300.04, "Weight must be between 20 and 300 kg; 300.04 was given."),
        (-0.1 - 0.2, "Weight must be between 20 and 300 kg; -0.3 was given."),
    ],
)
def test_a_refusal_writes_a_number_as_it_was_given(given: float, words: str) -> None:
    assert WEIGHT.refusal(given) == words


@pytest.mark.parametrize("given", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_outside_of_everything(given: float) -> None:
    assert WEIGHT.refusal(given)
    assert WEIGHT.oddity(given)


def test_each_blood_result_has_limits_and_no_other() -> None:
    assert set(plausible.BLOOD) == set(Analyte.values)


def test_each_number_of_a_record_has_limits() -> None:
    """A number added to the record without limits would be taken unseen."""
    record = {field.name for field in TreatmentRecord._meta.fields if field.get_internal_type() == "FloatField"}
    assert record == set(TREATMENT)


def test_each_number_of_a_prescription_has_limits() -> None:
    numbers = {
        field.name
        for field in Prescription._meta.fields
        if "Float" in field.get_internal_type() or "Integer" in field.get_internal_type()
    }
    assert numbers - {"version"} <= set(NUMBERS)


@pytest.mark.parametrize("name", sorted(set(NUMBERS) & set(PrescriptionForm.base_fields)))
def test_the_prescriptions_form_knows_the_limits(name: str) -> None:
    least, most = NUMBERS[name].hard
    for given, refused in ((least, False), (most, False), (least - 1, True), (most + 1, True)):
        form = PrescriptionForm({name: f"{given:g}"})
        assert (name in form.errors) is refused, form.errors.get(name)


@pytest.mark.django_db
@pytest.mark.parametrize(("height", "refused"), [("60", False), ("59.9", True), ("250", False), ("251", True)])
def test_the_enrolment_form_refuses_an_impossible_height(height: str, refused: bool) -> None:
    form = EnrolForm({"height_cm": height})
    assert ("height_cm" in form.errors) is refused
    if refused:
        assert f"{height} was given" in form.errors["height_cm"][0]


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("pre_weight_kg", "Weight before"),
        ("readings[0].venous_mmhg", "Venous pressure (reading 1)"),
        ("readings[11].venous_mmhg", "Venous pressure (reading 12)"),
        ("readings[2].at", "at (reading 3)"),
        ("sites[0].bleeding_minutes", "Bleeding after needle removal (site 1)"),
        ("checks[1].passed", "passed (check 2)"),
        ("medicines[0].amount", "Amount (medicine 1)"),
        ("events[0].kind", "kind (event 1)"),
        ("confirmed[3]", "(confirmed 4)"),
        ("started_at", "started at"),
        ("notes", "notes"),
    ],
)
def test_paths_in_words(path: str, words: str) -> None:
    assert plausible.words_for(path) == words


@pytest.mark.parametrize(
    ("paths", "moved"),
    [
        (["readings[0].pulse", "readings[1].pulse"], ["readings[1].pulse", "readings[0].pulse"]),
        (["readings[7].pulse"], ["readings[7].pulse"]),
        (["events[0].note", "pre_weight_kg", "xreadings[0].pulse"],) * 2,
        (["readings[0]", "readings[x].pulse", ""], ["readings[1]", "readings[x].pulse", ""]),
    ],
)
def test_paths_move_with_their_rows(paths: list[str], moved: list[str]) -> None:
    assert plausible.moved_paths(paths, "readings", {0: 1, 1: 0}) == moved


def test_scripts_get_every_limit_as_json() -> None:
    told = json.loads(json.dumps(plausible.for_scripts()))
    of_records = len(TREATMENT) + sum(len(rows) for rows in LISTS.values())
    assert len(told) == of_records + len(plausible.WATER) + 1, "and the count of supplies"
    for name, limits in TREATMENT.items():
        together = {"together": limits.together, "pair": limits.paired_with} if limits.together else {}
        most = {"at_most": limits.at_most} if limits.at_most else {}
        ordered = {"ordered": limits.ordered} if limits.ordered else {}
        assert told[name] == together | most | ordered | {
            "label": limits.label,
            "short": limits.short or limits.label,
            "unit": limits.unit,
            "hard": list(limits.hard),
            "usual": list(limits.usual),
            "step": limits.step,
            "decimals": limits.decimals,
        }
    assert told["post_weight_kg"]["at_most"] == "pre_weight_kg"
    assert (told["readings.uf_volume_l"]["rises"], told["medicines.amount"]["apart"]) == (True, 2)
    assert told["post_standing_systolic"]["together"] == "Pressure after, standing"
    assert told["post_standing_systolic"]["pair"] == "post_standing_diastolic"
    for listed, rows in LISTS.items():
        for name, limits in rows.items():
            assert told[f"{listed}.{name}"]["hard"] == list(limits.hard)


def test_numbers_of_a_document_leave_out_what_was_not_given() -> None:
    document = {
        "pre_weight_kg": 0,
        "post_weight_kg": None,
        "readings": [{"pulse": None}, {"pulse": 7}],
        "sites": None,
    }
    found = [(path, given) for path, given, _ in plausible.numbers_of(document)]
    assert found == [("pre_weight_kg", 0), ("readings[1].pulse", 7)]


def at_border(table: dict[str, Range], side: int, *, beyond: bool) -> dict[str, float]:
    """The numbers of a table at their usual border, or a step beyond it where that is possible."""
    found = {}
    for name, limits in table.items():
        step = limits.step if beyond else 0
        given = round(limits.usual[side] + (step if side else -step), 6)
        if not limits.refusal(given):
            found[name] = given
    return found


@pytest.mark.django_db
@pytest.mark.parametrize("beyond", [False, True])
@pytest.mark.parametrize("side", [0, 1])
def test_the_whole_way_in_marks_exactly_what_lies_outside_the_usual(
    ana_client: Client, side: int, beyond: bool
) -> None:
    facts = at_border(TREATMENT, side, beyond=beyond)
    row = at_border(READING, side, beyond=beyond)
    later = (A_NIGHT + timedelta(hours=1)).isoformat()
    answer = put(ana_client, uuid.uuid4(), night_body(readings=[{"at": later, **row}], **facts))
    assert answer.status_code == 201, answer.content
    expected = {*facts, *(f"readings[0].{name}" for name in row)} if beyond else set()
    assert {mark["field"] for mark in answer.json()["marks"]} == expected
