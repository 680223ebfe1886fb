"""The pages and the API of laboratories' messages, and urine collections beside them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from dosing.science.kidney import urea_clearance
from homedialysis.accounts.models import ReadLog
from sessions.models import BloodResult, LabMessage, Laboratory, Patient, UrineCollection
from tests.crowd import ours
from tests.dosing.importing.conftest import DRAWN_AT
from tests.dosing.importing.samples import GOOD, STRANGER, WRONG_UNIT, csv_file, fhir_file, hl7_file
from tests.factories import BloodFactory
from tests.page_text import laid_flat

pytestmark = pytest.mark.django_db
WALL = "%Y-%m-%dT%H:%M"


def upload(client: Client, laboratory: Laboratory, body: bytes, name: str = "march.csv"):  # type: ignore[no-untyped-def]
    file = SimpleUploadedFile(name, body)
    return client.post("/bloods/imports/", {"laboratory": laboratory.pk, "file": file}, follow=True)


def test_from_the_file_to_the_results(nurse_client: Client, laboratory: Laboratory, known_ana: Patient) -> None:
    shown = upload(nurse_client, laboratory, csv_file([GOOD, WRONG_UNIT, STRANGER]))
    page = shown.content.decode()
    for words in ("Ana Verdemar", "5.4 mmol/L", "As g/dL it would be 112 g/L", "No patient here has the number HD-Z"):
        assert words in page
    assert not ours(BloodResult).exists()
    where = shown.redirect_chain[-1][0]
    refused = nurse_client.post(where, {}, follow=True).content.decode()
    assert "Answer first: line 3." in refused
    done = nurse_client.post(where, {"line-1": "g/dL|pre", "post_method": "neither"}, follow=True).content.decode()
    assert "2 results entered." in done
    entered = {result.analyte: round(result.value, 6) for result in ours(BloodResult).all()}
    assert entered == {"2823-3": 5.4, "718-7": 112}
    again = nurse_client.post(where, {}, follow=True).content.decode()
    assert "Somebody has taken these results meanwhile." in again
    back = nurse_client.get(f"{where}not-taken/")
    assert (back.headers["Content-Type"], STRANGER in back.content.decode()) == ("text/csv; charset=utf-8", True)
    assert nurse_client.get(f"{where}original/").content == csv_file([GOOD, WRONG_UNIT, STRANGER])
    assert ours(ReadLog).filter(patient_id=known_ana.pk, path=where).exists()


def test_a_file_that_cannot_be_read_says_why_at_the_field(nurse_client: Client, laboratory: Laboratory) -> None:
    page = upload(nurse_client, laboratory, b"a;b\n1;2\n").content.decode()
    assert "The column “identifier” (the patient&#x27;s number) is not in the table; it has: a, b." in page
    assert not ours(LabMessage).exists()


def test_the_same_file_leads_to_the_first_one(nurse_client: Client, laboratory: Laboratory, known_ana: Patient) -> None:
    first = upload(nurse_client, laboratory, hl7_file([GOOD])).redirect_chain[-1][0]
    again = upload(nurse_client, laboratory, hl7_file([GOOD]))
    assert again.redirect_chain[-1][0] == first
    assert "This file came before" in again.content.decode()


def test_how_a_laboratory_writes_is_kept_and_checked(nurse_client: Client) -> None:
    given = {
        "name": "Harbour street", "date_format": "%d.%m.%Y", "time_format": "%d.%m.%Y %I:%M %p", "encoding": "cp1252",
        "numbers": "1.234,5",
    }  # fmt: skip
    refused = nurse_client.post("/laboratories/new/", given | {"own_codes": "K = 1234-5"}).content.decode()
    assert "“1234-5” is no LOINC code that this record knows." in refused
    columns = {"column_identifier": "Nr", "column_code": "test"}
    nurse_client.post("/laboratories/new/", given | columns | {"own_codes": "K = 2823-3\nNa+=2951-2"})
    kept = ours(Laboratory).get()
    assert (kept.columns, kept.codes) == ({"identifier": "Nr", "code": "test"}, {"K": "2823-3", "Na+": "2951-2"})
    assert (kept.decimal_comma, kept.thousands, kept.encoding) == (True, ".", "cp1252")
    page = nurse_client.get(f"/laboratories/{kept.pk}/").content.decode()
    assert '<option value="1.234,5" selected>1.234,5</option>' in page
    assert "25.11.2026 02:30 PM" in page
    assert "Na+ = 2951-2" in page
    assert '<option value="%d.%m.%Y" selected>25.11.2026</option>' in page


@pytest.mark.parametrize(
    ("body", "content_type"),
    [
        (csv_file([GOOD]), "text/csv"),
        (hl7_file([GOOD]), "x-application/hl7-v2+er7"),
        (fhir_file([GOOD]), "application/fhir+json"),
    ],
)
def test_a_program_leaves_a_message_that_a_person_takes(
    body: bytes, content_type: str, nurse_client: Client, laboratory: Laboratory, known_ana: Patient
) -> None:
    where = "/api/v1/bloods/import/?laboratory=Quillhaven laboratory&filename=night"
    answer = nurse_client.post(where, body, content_type=content_type)
    assert (answer.status_code, answer.json()["counts"]["new"]) == (201, 1)
    assert not ours(BloodResult).exists()
    assert nurse_client.post(where, body, content_type=content_type).status_code == 200
    page = answer.json()["page"]
    assert "1 result entered." in nurse_client.post(page, {}, follow=True).content.decode()
    told = nurse_client.get(f"/api/v1/bloods/import/{answer.json()['id']}/").json()
    assert (told["lines"][0]["taken"], told["taken_at"] is not None) == (True, True)


def test_refusals_of_the_api_name_the_field(nurse_client: Client, laboratory: Laboratory) -> None:
    unknown = nurse_client.post("/api/v1/bloods/import/?laboratory=X", b"a", content_type="text/csv")
    assert unknown.json()["errors"][0]["message"] == "No laboratory here is called “X”."
    large = b"x" * 2_000_001
    where = "/api/v1/bloods/import/?laboratory=Quillhaven laboratory"
    assert "At most 2 MB" in nurse_client.post(where, large, content_type="text/csv").json()["errors"][0]["message"]


def test_a_urine_collection_gives_clearances_with_the_bloods_at_its_ends(
    nurse_client: Client, known_ana: Patient
) -> None:
    began, ended = DRAWN_AT, DRAWN_AT + timedelta(hours=44)
    for at, urea in ((began, 6.4286), (ended, 19.6429)):
        BloodFactory(patient=known_ana, drawn_at=at, value=urea)
    given = {"began_at": f"{began:{WALL}}", "ended_at": f"{ended:{WALL}}", "volume_ml": "900", "urea_mmol_l": "125"}
    page = laid_flat(nurse_client.post(f"/patients/{known_ana.pk}/urine/", given, follow=True))
    # The worked collection of the function's own check values: 3.27 mL/min.
    expected = urea_clearance(urine=125, urine_ml=900, minutes=44 * 60, plasma_start=6.4286, plasma_end=19.6429)
    assert f'<td class="num">{expected.number:.1f}</td>' in page
    assert "unknown: creatinine in the urine was not entered" in page


def test_a_collection_that_cannot_be_is_refused_with_its_limit(nurse_client: Client, known_ana: Patient) -> None:
    given = {
        "began_at": f"{DRAWN_AT:{WALL}}",
        "ended_at": f"{DRAWN_AT + timedelta(hours=2):{WALL}}",
        "volume_ml": "90000",
    }
    page = nurse_client.post(f"/patients/{known_ana.pk}/urine/", given).content.decode()
    assert "Volume of the urine must be between 1 and 20000 mL; 90000 was given." in page
    assert "Length of the collection must be between 720 and 10080 min; 120 was given." in page
    assert not ours(UrineCollection).exists()
