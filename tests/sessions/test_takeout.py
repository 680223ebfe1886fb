"""Taking the own record out: everything is in it, nobody else's is, and no cell runs as a formula."""

from __future__ import annotations

import csv
import io
import json
import tracemalloc
import zipfile
from datetime import UTC, datetime, timedelta

import pytest
from django.core.serializers.json import DjangoJSONEncoder
from django.test import Client
from django.urls import reverse

from homedialysis.accounts.models import User
from sessions.models import AccessSite, Message, Patient, Prescription
from sessions.services import takeout
from sessions.services.takeout import safe_cell
from tests import crowd
from tests.factories import A_NIGHT, BloodFactory, record_night

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
NOW = datetime(2026, 3, 20, tzinfo=UTC)


@pytest.fixture
def whole(ana: Patient, anas_prescription: Prescription, anas_sites: list[AccessSite], nurse: User) -> Patient:
    """Ana's record with one of everything."""
    at = A_NIGHT.isoformat()
    record_night(
        ana,
        events=[{"at": at, "kind": "cramp", "note": "left calf"}],
        medicines=[{"at": at, "name": "Heparin", "amount": 2000, "unit": "units"}],
        checks=[{"name": "Hands washed", "passed": True}, {"name": "Chlorine", "passed": True, "value": 0.05}],
        sites=[{"site": anas_sites[0].pk, "use": "arterial", "attempts": 2}],
        notes='=HYPERLINK("http://example.org")',
    )
    record_night(ana, A_NIGHT + 2 * DAY, readings=1)
    BloodFactory(patient=ana, value=21.5)
    Message.objects.create(patient=ana, words="Please draw bloods.", sent_by=nurse, sent_at=A_NIGHT)
    return ana


def files(client: Client, patient: Patient) -> dict[str, str]:
    sent = client.get(reverse("treatments:takeout-zip", args=[patient.pk]))
    assert sent.status_code == 200
    assert sent["Content-Disposition"] == 'attachment; filename="record.zip"'
    body = b"".join(sent.streaming_content)  # type: ignore[attr-defined]
    with zipfile.ZipFile(io.BytesIO(body)) as packed:
        assert packed.testzip() is None
        return {name: packed.read(name).decode() for name in packed.namelist()}


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_json_holds_every_kind_of_thing(whole: Patient, ana_client: Client) -> None:
    sent = ana_client.get(reverse("treatments:takeout-json", args=[whole.pk]))
    data = json.loads(b"".join(sent.streaming_content))  # type: ignore[attr-defined]
    assert data["patient"]["name"] == "Ana Verdemar"
    first, second = data["treatments"]
    assert [first["night"], second["night"]] == ["2026-03-02", "2026-03-04"]
    assert (len(first["readings"]), first["events"][0]["note"]) == (3, "left calf")
    assert first["checks"][1]["value"] == 0.05
    assert data["prescriptions"][0]["dialyser"].startswith("Fenrow 17")
    assert data["bloods"][0]["value"] == 21.5
    assert [(each["words"], each["sent_by"]) for each in data["messages"]] == [("Please draw bloods.", "Nurse Kim")]
    assert [each["name"] for each in data["needle_sites"]] == ["Lower", "Upper"]


def test_what_is_sent_while_it_is_made_is_in_the_language_of_its_reader(whole: Patient, ana_client: Client) -> None:
    ana_client.post("/language/", {"language": "es"}, content_type="application/json")
    about = files(ana_client, whole)["about.txt"]
    assert about.startswith("Este es el historial completo de una persona, extraído el ")


def test_the_tables_hold_the_same(whole: Patient, ana_client: Client) -> None:
    packed = files(ana_client, whole)
    treatments = rows(packed["treatments.csv"])
    assert [row["night"] for row in treatments] == ["2026-03-02", "2026-03-04"]
    assert treatments[0]["pre_weight_kg"] == "72.0"
    readings = rows(packed["readings.csv"])
    assert [row["arterial_mmhg"] for row in readings] == ["-140.0"] * 4
    assert {row["treatment"] for row in readings} == {row["id"] for row in treatments}
    assert rows(packed["sites.csv"])[0]["attempts"] == "2"
    assert rows(packed["medicines.csv"])[0]["amount"] == "2000.0"
    assert rows(packed["bloods.csv"])[0]["value"] == "21.5"
    assert "from" in rows(packed["prescriptions.csv"])[0]["in_force"]
    told = json.loads(packed["record.json"])
    for name, text in packed.items():
        if name.endswith(".csv") and name[:-4] in told:
            assert len(rows(text)) == len(told[name[:-4]]), name


def test_every_field_of_a_treatment_has_its_place(whole: Patient, ana_client: Client) -> None:
    """Nothing of the document is left out of the tables, whatever fields it has."""
    packed = files(ana_client, whole)
    document = whole.treatments.first().as_sent  # type: ignore[union-attr]
    columns = set(rows(packed["treatments.csv"])[0])
    for name, value in document.items():
        listed = isinstance(value, list) and name not in ("confirmed", "marks")
        if listed:
            inner = {key for row in value for key in row}
            header = packed[f"{name}.csv"].splitlines()[0].split(",")
            assert inner <= set(header), name
        else:
            assert name in columns, name


@pytest.fixture
def hers() -> Patient:
    """Who has something in every table, with a word that is in no other record."""
    return Patient.objects.get(name=crowd.NAME)


ORDERED_BY = {
    "prescriptions": "version",
    "acknowledgements": "at",
    "messages": "sent_at",
    "bloods": "drawn_at",
    "urine_collections": "ended_at",
    "accesses": "created_on",
    "machines": "since",
    "water_tests": "sampled_at",
    "tasks_done": "done_at",
    "supply_counts": "counted_at",
    "deliveries": "entered_at",
    "trainings": "done_on",
    "treatments": "started_at",
}


def test_everything_of_one_and_nothing_of_anybody_else(whole: Patient, hers: Patient) -> None:
    """Table by table: each row of hers says her word, or to which of her treatments it belongs; none of Ana's does."""
    own = {str(record.pk) for record in hers.treatments.all()}
    for table in takeout.tables_of(hers):
        texts = [json.dumps(row, cls=DjangoJSONEncoder) for row in table.rows]
        assert texts, table.name
        assert [text for text in texts if crowd.WORD not in text and json.loads(text).get("treatment") not in own] == []
    for table in takeout.tables_of(whole):
        for row in table.rows:
            text = json.dumps(row, cls=DjangoJSONEncoder)
            assert crowd.WORD not in text, table.name
            assert not any(record in text for record in own), table.name


def test_no_file_names_anybody_else(whole: Patient, hers: Patient, ana_client: Client) -> None:
    assert [name for name, text in files(ana_client, whole).items() if crowd.WORD in text or crowd.NAME in text] == []


def test_each_table_is_in_the_order_of_its_time(hers: Patient) -> None:
    """Her rows were made in another order."""
    tables = {table.name: list(table.rows) for table in takeout.tables_of(hers)}
    for name, column in ORDERED_BY.items():
        moments = [str(row[column]) for row in tables[name]]
        assert len(set(moments)) > 1, name
        assert moments == sorted(moments), name


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_a_text_that_would_be_a_formula_is_made_a_text(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


def test_numbers_and_plain_texts_stay_as_they_are() -> None:
    assert [safe_cell(each) for each in (-140.0, 3, None, True, "a=1", "")] == [-140.0, 3, None, True, "a=1", ""]


def test_no_cell_of_the_whole_take_out_begins_a_formula(whole: Patient, ana_client: Client) -> None:
    packed = files(ana_client, whole)
    assert rows(packed["treatments.csv"])[0]["notes"].startswith("'=HYPERLINK")
    for name, text in packed.items():
        for row in csv.reader(io.StringIO(text)) if name.endswith(".csv") else []:
            for cell in row:
                assert not cell.startswith(("=", "+", "@", "\t")), (name, cell)
                assert not cell.startswith("-") or float(cell) < 0, (name, cell)


def test_ten_times_the_nights_need_no_more_memory(ana: Patient) -> None:
    """Sent while it is made: what is held at once is a night or a chunk of rows, never the record."""

    def peak() -> int:
        tracemalloc.start()
        for _ in takeout.as_zip(ana, at=NOW):
            pass
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    for index in range(60):
        record_night(ana, A_NIGHT - (index + 1) * DAY, readings=6)
    takeout_of_few = peak()
    for index in range(60, 300):
        record_night(ana, A_NIGHT - (index + 1) * DAY, readings=6)
    assert peak() < 1.5 * takeout_of_few
