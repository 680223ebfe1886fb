"""Whatever bytes come, a parser answers with rows or with words: never with another error."""

from __future__ import annotations

import json
from contextlib import suppress
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosing.services.importing import csv_table, fhir_bundle, hl7_message
from dosing.services.importing.csv_table import Way
from dosing.services.importing.rows import ResultRow, Unreadable, number_of
from tests.dosing.importing.samples import csv_file, fhir_file, hl7_file

ZONE = ZoneInfo("Europe/Lisbon")
SAMPLES = {"csv": csv_file(), "hl7": hl7_file(), "fhir": fhir_file()}


def read(form: str, body: bytes) -> list[ResultRow]:
    if form == "csv":
        return csv_table.read(body, Way(), ZONE)
    return hl7_message.read(body, ZONE) if form == "hl7" else fhir_bundle.read(body, ZONE)


def holds(form: str, body: bytes) -> None:
    with suppress(Unreadable):
        for row in read(form, body):
            assert ResultRow.from_json(json.loads(json.dumps(row.as_json()))) == row
            assert row.number is not None or row.fault


@pytest.mark.parametrize("form", SAMPLES)
@settings(max_examples=60, deadline=None)
@given(body=st.binary(max_size=300))
def test_of_any_bytes(form: str, body: bytes) -> None:
    holds(form, body)
    holds(form, b"MSH|^~\\&|||||20260302||ORU^R01|1|P\r" + body if form == "hl7" else body)


@pytest.mark.parametrize("form", SAMPLES)
@settings(max_examples=120, deadline=None)
@given(st.data())
def test_of_messages_with_a_few_bytes_changed(form: str, data: st.DataObject) -> None:
    body = bytearray(SAMPLES[form])
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(body) - 1))
        body[at : at + data.draw(st.integers(0, 4))] = data.draw(st.binary(max_size=4))
    holds(form, bytes(body))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=120, deadline=None)
@given(st.data())
def test_of_bundles_with_odd_parts(data: st.DataObject) -> None:
    bundle = json.loads(SAMPLES["fhir"])
    entry = data.draw(st.sampled_from(bundle["entry"]))
    resource = entry["resource"]
    resource[data.draw(st.sampled_from(sorted(resource)))] = data.draw(JSON)
    holds("fhir", json.dumps(bundle).encode())


@pytest.mark.parametrize(
    ("text", "comma", "number"),
    [
        ("5.4", False, 5.4),
        ("5,4", True, 5.4),
        ("5,4", False, None),
        ("5.420", True, None),
        (">2000", False, None),
        ("1e3", False, None),
        ("nan", False, None),
        ("٥", False, None),
        ("1_0", False, None),
        ("", False, None),
    ],
)
def test_only_plain_decimal_numbers_are_numbers(text: str, comma: bool, number: float | None) -> None:
    assert number_of(text, decimal_comma=comma) == number
