"""A computed number is declared once: a made-up one is found wherever numbers are shown, and none shares a name."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from dosing.science.reasons import Reason
from dosing.science.results import measure, unknown
from dosing.services.decision.report import sheet_of
from dosing.services.fhir.resources import observations
from dosing.services.month.catalogue import MONTH_NUMBERS
from dosing.services.month.computing import compute_month
from dosing.services.month.facts import MonthFacts
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute
from dosing.services.night.inputs import NightFacts
from dosing.services.night.treatments import as_night
from dosing.services.numbers.number import UCUM, Computation, Equation, Number, Scope, ShownIn, UsualRange
from sessions.facts import fields
from sessions.models import Patient, Prescription
from tests.factories import record_night

MARCH = date(2026, 3, 1)
NAME, SHORT, SOURCE = "Quillings of the time", "Quillings", "Ashgrove, J Quill 2026;1:1 (made up)"


def quillings(*, minutes: float | None) -> Any:
    """Worked by hand below: 3 for each minute."""
    return unknown("mL/kg/h", Reason("no_frequency")) if minutes is None else measure(3 * minutes, "mL/kg/h")


@pytest.fixture
def of_night(monkeypatch: pytest.MonkeyPatch) -> Number[NightFacts]:
    """A number of a night that no other module has heard of."""
    number = Number(
        *("quillings", NAME, SHORT, "mL/kg/h", 1, "3 · t", SOURCE),
        Equation(lambda facts: {"minutes": facts.record.minutes}, quillings),
        scope=Scope.NIGHT,
        places=frozenset({ShownIn.ANSWER, ShownIn.PHONE, ShownIn.TREATMENTS}),
    )
    monkeypatch.setitem(NIGHT_NUMBERS, number.key, number)
    return number


@pytest.fixture
def of_month(monkeypatch: pytest.MonkeyPatch) -> Number[MonthFacts]:
    """The same of a month: 43.5 where there is a treatment, which lies above its range."""

    def ask(facts: MonthFacts) -> Computation:
        count = len(facts.finished)
        return Computation(
            {"nights": count}, measure(43.5 * count, "kg") if count else unknown("kg", Reason("no_pair"))
        )

    number = Number(
        *("quillings_month", NAME, SHORT, "kg", 1, "43.5 · n", SOURCE, ask),
        scope=Scope.MONTH,
        group="Quilling",
        usual=UsualRange(1, 2.25, "the quillers (made up)"),
        places=frozenset({ShownIn.UNIT_REPORT}),
        chart="quillings",
    )
    monkeypatch.setitem(MONTH_NUMBERS, number.key, number)
    return number


@pytest.mark.django_db
def test_a_number_of_a_night_is_found_wherever_such_numbers_are_shown(
    of_night: Number[Any], ana: Patient, anas_prescription: Prescription, ana_client: Client, nurse_client: Client
) -> None:
    """240 minutes are 720."""
    record = record_night(ana, timezone.now() - timedelta(days=2))
    stored = compute(record, at=timezone.now()).numbers["quillings"]
    assert (stored["value"], stored["why"], stored["inputs"]) == (720, None, {"minutes": 240.0})
    pages = [f"/nights/{record.pk}/", f"/nights/{record.pk}/numbers/quillings/", f"/patients/{ana.pk}/"]
    for page in (nurse_client.get(path).content.decode() for path in pages):
        assert SHORT in page
        assert "720.0" in page
    (line,) = (
        each
        for each in ana_client.get(reverse("dosing:answer", args=[record.pk])).json()["lines"]
        if each["key"] == "quillings"
    )
    assert (line["label"], line["unit"], line["value"]) == (NAME, "mL/kg/h", 720)
    kit = ana_client.get("/api/v1/bedside/").json()
    assert kit["computed"]["quillings"] == {"label": NAME, "short": SHORT, "unit": "mL/kg/h", "decimals": 1}
    assert kit["history"][0]["quillings"] == 720
    (sent,) = (each for each in observations(as_night(record)) if each["code"]["text"] == f"{NAME}, computed")
    assert sent["valueQuantity"]["value"] == 720
    assert sent["code"]["coding"][0]["code"] == "quillings"


@pytest.mark.django_db
def test_a_number_of_a_month_is_found_wherever_such_numbers_are_shown(
    of_month: Number[Any], ana: Patient, nephrologist_client: Client
) -> None:
    """One treatment: 43.5, above a range of 1.0 to 2.2 (2.25 reads as 2.2)."""
    compute(record_night(ana), at=timezone.now())
    compute_month(ana, MARCH, at=timezone.now())
    months = f"/patients/{ana.pk}/months/2026-03"
    for path in ("/months/2026-03/?all=1", f"{months}/quillings_month/", f"{months}/review/"):
        page = nephrologist_client.get(path).content.decode()
        assert SHORT in page, path
        assert "43.5" in page, path
    board = nephrologist_client.get("/months/2026-03/?sort=quillings_month").context
    assert (board["sort"], board["groups"][-1]) == ("quillings_month", ("Quilling", [of_month]))
    ranges = nephrologist_client.get("/ranges/").content.decode()
    assert "the quillers (made up)" in ranges
    assert '<option value="quillings_month">' in ranges
    assert NAME in nephrologist_client.get("/months/2026-03/unit/").content.decode()
    sheet = sheet_of(ana, MARCH, at=timezone.now())
    assert ["43.5 ▲ above" in row[1] for row in sheet["numbers"] if row[0] == f"{NAME}, kg"] == [True]
    assert NAME in [chart["caption"] for chart in sheet["charts"]]


AS_NOTED = {"Fluid removed (UF)", "Blood processed"}
"""These are what the machine's total says, where it was noted: the same quantity, and so the same name."""
EVERY = [*NIGHT_NUMBERS.values(), *MONTH_NUMBERS.values()]


def test_no_two_numbers_share_a_key_or_a_name() -> None:
    """Nor has one the name of a field: a median of a night is not called what the last reading is called."""
    labels = [field.label for field in (*fields.TREATMENT.values(), *fields.READING.values())]
    for names in ([each.key for each in EVERY], [each.name for each in EVERY]):
        assert [name for name, times in Counter(names).items() if times > 1] == []
    shorts = Counter((each.scope, each.short_name) for each in EVERY)
    assert [short for short, times in shorts.items() if times > 1] == []
    assert {each.name for each in EVERY} & {str(label) for label in labels} == AS_NOTED


@pytest.mark.parametrize("number", EVERY, ids=lambda number: number.key)
def test_each_number_says_what_it_is_called_and_where_it_comes_from(number: Number[Any]) -> None:
    assert all([number.name, number.short_name, number.written, number.origin, number.function])
    assert number.decimals in (0, 1, 2)
    assert number.scope == (Scope.NIGHT if number.key in NIGHT_NUMBERS else Scope.MONTH)
    assert number.scope == Scope.MONTH or number.unit in UCUM, "it is sent as FHIR"
