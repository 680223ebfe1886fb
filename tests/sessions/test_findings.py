"""What is known beside treatments and bloods: declared once, judged whole, told with what calls for a look."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from sessions.facts.findings import SPECS, FindingKind, refusals, words_of_values
from sessions.models import Finding, Patient
from sessions.services.findings import concern_of, findings_of, newest_of
from tests.factories import AccessFactory, FindingFactory

A_DAY = date(2026, 3, 2)


def flow(value: float | None, days: int = 0, **more: Any) -> Finding:
    values = {"flow_ml_min": value, **more}
    given = {key: each for key, each in values.items() if each is not None}
    return Finding(kind=FindingKind.ACCESS_FLOW, values=given, found_on=A_DAY + timedelta(days=days), access_id=1)


OTHER_ACCESS = flow(1300, -30)
OTHER_ACCESS.access_id = 2
CONCERNS: list[tuple[list[Finding], str]] = [
    ([flow(599)], "flow under 600 mL/min"),
    ([flow(600)], ""),
    ([flow(900), flow(1200, -90)], "flow under 1000 mL/min and 25 % less than 1200"),
    ([flow(910), flow(1200, -90)], ""),
    ([flow(1000), flow(1600, -90)], ""),
    ([flow(900), flow(1200, -130)], ""),
    ([flow(900), OTHER_ACCESS], ""),
    ([flow(900), flow(None, -20, recirculation_percent=4)], ""),
    ([flow(800, recirculation_percent=10.5)], "recirculation over 10 %"),
    ([flow(800, recirculation_percent=10)], ""),
]


@pytest.mark.parametrize(("found", "words"), CONCERNS)
def test_an_access_that_runs_low_calls_for_a_look(found: list[Finding], words: str) -> None:
    """By the limits of KDOQI 2006, guideline 4 (from memory)."""
    assert concern_of(found[0], found) == words


def test_protection_that_is_not_sure_is_told() -> None:
    titres = [({"titre": 9}, "anti-HBs under 10 IU/L: protection not sure"), ({"titre": 10}, ""), ({}, "")]
    for values, words in titres:
        row = Finding(kind="virus", values={"virus": "anti_hbs", "result": "positive"} | values, found_on=A_DAY)
        assert concern_of(row, [row]) == words
    other = Finding(kind="virus", values={"virus": "hbsag", "result": "negative", "titre": 0}, found_on=A_DAY)
    assert concern_of(other, [other]) == ""


WRONG: list[tuple[str, dict[str, Any], str]] = [
    ("virus", {"virus": "hcv"}, "result"),
    ("virus", {"virus": "flu", "result": "negative"}, "virus"),
    ("home_pressure", {"systolic": 120}, "diastolic"),
    ("home_pressure", {"systolic": 20, "diastolic": 70}, "systolic"),
    ("home_pressure", {"systolic": "120", "diastolic": 70}, "systolic"),
    ("access_flow", {}, ""),
    ("lungs", {"b_lines": 3, "weight": 70}, ""),
]


@pytest.mark.parametrize(("kind", "values", "key"), WRONG)
def test_what_cannot_be_is_refused_at_its_value(kind: str, values: dict[str, Any], key: str) -> None:
    assert set(refusals(kind, values)) == {key}


def test_every_kind_is_declared_and_told() -> None:
    assert set(SPECS) == set(FindingKind.values)
    assert words_of_values("virus", {"virus": "anti_hbs", "result": "positive", "titre": 120}) == (
        "anti-HBs, positive, titre 120 IU/L"
    )


SENT: list[tuple[str, dict[str, str], str]] = [
    ("virus", {"virus": "hcv", "result": "negative"}, "hepatitis C, negative"),
    ("vaccination", {"against": "hepatitis_b", "dose": "3"}, "hepatitis B, number of the dose 3"),
    ("transplant", {"status": "on_hold"}, "on the list, on hold"),
    ("access_flow", {"flow_ml_min": "560"}, "flow of the access 560 mL/min"),
    ("access_look", {"what": "angioplasty"}, "angioplasty"),
    ("bioimpedance", {"overhydration_l": "1,9"}, "overhydration 1.9 L"),
    ("lungs", {"b_lines": "14"}, "B-lines 14"),
    ("home_pressure", {"systolic": "141", "diastolic": "82"}, "systolic 141 mmHg, diastolic 82 mmHg"),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("kind", "sent", "text"), SENT, ids=lambda each: each if isinstance(each, str) else "")
def test_each_kind_is_noted_on_the_page(
    ana: Patient, nurse_client: Client, kind: str, sent: dict[str, str], text: str
) -> None:
    where = f"/patients/{ana.pk}/findings/"
    access = AccessFactory(patient=ana)
    of_access = {"access": str(access.pk)} if SPECS[kind].of_access else {}
    assert nurse_client.get(where, {"kind": kind}).status_code == 200
    answer = nurse_client.post(where, {"kind": kind, "found_on": "2026-03-02"} | sent | of_access)
    assert answer.status_code == 302
    (row,) = findings_of(ana)
    assert (row.text, row.found_on, row.access) == (text, A_DAY, access if of_access else None)
    page = nurse_client.get(where).content.decode()
    assert text in page
    assert ("flow under 600 mL/min" in page) == (kind == "access_flow")


@pytest.mark.django_db
def test_it_is_put_right_taken_back_and_taken_out(ana: Patient, nurse_client: Client, ana_client: Client) -> None:
    row = FindingFactory(patient=ana, found_on=A_DAY)
    where = f"/patients/{ana.pk}/findings/{row.pk}/"
    ahead = nurse_client.post(where, {"task": "correct", "found_on": "2126-03-02", "b_lines": "9"})
    assert "This day lies ahead." in ahead.content.decode()
    assert nurse_client.post(where, {"task": "correct", "found_on": "2026-03-03", "b_lines": "9"}).status_code == 302
    row.refresh_from_db()
    assert (row.values, row.found_on) == ({"b_lines": 9}, date(2026, 3, 3))
    told = ana_client.get(f"/api/v1/fhir/Observation?patient={ana.pk}&code=lungs").json()["entry"]
    assert told[0]["resource"]["component"][0]["valueQuantity"]["value"] == 9
    assert nurse_client.post(where, {"task": "take back", "why": "Another patient's."}).status_code == 302
    assert findings_of(ana) == []
    page = nurse_client.get(where).content.decode()
    assert page.index("B-lines 9") < page.index("B-lines 12")
    sent = ana_client.get(f"/takeout/{ana.pk}/record.json")
    (taken_out,) = json.loads(b"".join(sent.streaming_content))["findings"]  # type: ignore[attr-defined]
    assert taken_out["values"] == {"b_lines": 9}


@pytest.mark.django_db
def test_the_page_asks_no_more_for_more_rows(
    ana: Patient, nurse_client: Client, django_assert_max_num_queries: Any
) -> None:
    where = f"/patients/{ana.pk}/findings/"
    FindingFactory.create_batch(2, patient=ana)
    nurse_client.get(where)
    with django_assert_max_num_queries(60) as few:
        nurse_client.get(where)
    FindingFactory.create_batch(12, patient=ana)
    FindingFactory.create_batch(3, patient=ana, taken_back="x")
    with django_assert_max_num_queries(len(few)):
        nurse_client.get(where)
    newest = newest_of(findings_of(ana), "lungs")
    assert newest is not None
    assert newest.values == {"b_lines": 12}
