"""A table, HL7 v2 and FHIR with good, repeated, corrected and wrong lines: each lands where it belongs."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest

from dosing.pages.importing import form_of
from dosing.services.importing import hl7_message, taking
from dosing.services.importing.rejects import reason_of, rejects_file
from dosing.services.importing.rows import Unreadable
from homedialysis.accounts.models import User
from sessions.facts.choices import MessageFormat
from sessions.models import BloodResult, LabMessage, Laboratory, Patient
from sessions.services.bloods import correct_blood
from tests.crowd import ours
from tests.dosing.importing.conftest import DRAWN_AT, NOW
from tests.dosing.importing.samples import CORRECTED, GOOD, LINES, VERDICTS, csv_file, fhir_file, hl7_file
from tests.factories import BloodFactory

pytestmark = pytest.mark.django_db
FORMS = [("csv", csv_file), ("hl7", hl7_file), ("fhir", fhir_file)]
each_form = pytest.mark.parametrize(("form", "file"), FORMS, ids=[form for form, _ in FORMS])
Make = Callable[..., bytes]


def received(laboratory: Laboratory, form: str, body: bytes, nurse: User) -> LabMessage:
    return taking.receive(laboratory=laboratory, form=form, body=body, filename="sent", by=nurse, at=NOW)


def took(message: LabMessage, nurse: User, **answers: str) -> int:
    given = {int(name.removeprefix("line_")): key for name, key in answers.items()}
    return taking.take(message=message, answers=given, post_method="neither", by=nurse, at=NOW)


def asked(message: LabMessage) -> tuple[int, list[str]]:
    line = message.lines.get(verdict="asks")
    return line.index, [option["key"] for option in line.options]


@each_form
def test_each_line_is_found_to_be_what_it_is(
    form: str, file: Make, laboratory: Laboratory, standing: dict[str, BloodResult], nurse: User
) -> None:
    assert form_of(file()) == form
    message = received(laboratory, form, file(), nurse)
    assert list(message.lines.values_list("verdict", flat=True)) == _expected(form)
    assert bytes(ours(LabMessage).get().body) == file()
    assert ours(BloodResult).count() == 2


def _expected(form: str) -> list[str]:
    """The samples' urea says before only in the table; the other two forms have no word for it, so it is asked."""
    return [*VERDICTS[:1], "new" if form == "csv" else "asks", *VERDICTS[2:]]


@each_form
def test_what_is_taken_stands_where_it_belongs(
    form: str, file: Make, laboratory: Laboratory, standing: dict[str, BloodResult], nurse: User
) -> None:
    message = received(laboratory, form, file(), nurse)
    answers = {4: "g/dL|pre" if form == "csv" else "g/dL|apart", 1: "mg/dL urea nitrogen|pre"[:20]}
    taking.take(message=message, answers=answers, post_method="neither", by=nurse, at=NOW)
    found = {result.analyte: result for result in ours(BloodResult).all()}
    # 56 mg/dL × 0.357 = 19.99 mmol/L; 11.2 g/dL = 112 g/L (AMA Manual of Style, from memory)
    values = {code: round(result.value, 1) for code, result in found.items()}
    assert values == {"2823-3": 5.4, "22664-7": 20.0, "2951-2": 138, "1751-7": 38, "718-7": 112}
    beyond = BloodResult.with_bounds.get(message=message, analyte="2276-4")
    assert (beyond.bound, beyond.value, beyond.value_sent) == (">", 2000, ">2000.0" if form == "fhir" else ">2000")
    potassium = found["2823-3"]
    assert (potassium.drawn_at, potassium.reference, potassium.flag) == (DRAWN_AT, "3.5-5.1", "H")
    assert (potassium.value_sent, potassium.unit_sent, potassium.message) == ("5.4", "mmol/L", message)
    albumin = standing["1751-7"]
    albumin.refresh_from_db()
    assert albumin.value == 38
    assert albumin.events.count() == 2, "the corrected value is kept in the history"  # type: ignore[attr-defined]
    assert not ours(Patient).exclude(hospital_number="HD-A").exists()


@each_form
def test_the_rejected_lines_come_back_in_the_same_form_and_can_be_sent_again(
    form: str, file: Make, laboratory: Laboratory, standing: dict[str, BloodResult], nurse: User
) -> None:
    message = received(laboratory, form, file(), nurse)
    back = rejects_file(message)
    reasons = back.decode()
    for words in (
        "The code 22664-7 goes with mmol/L; “mg/dL” was given",
        "was not born on 4 Feb 1970",
        "No patient here has the number HD-Z",
    ):
        assert words in reasons
    again = received(laboratory, form, back, nurse)
    assert list(again.lines.values_list("verdict", flat=True)) == ["rejected"] * 3
    assert [line.reason for line in again.lines.all()] == [
        line.reason for line in message.lines.filter(verdict="rejected")
    ]


def test_the_file_of_rejects_has_the_same_columns_and_a_reason(
    laboratory: Laboratory, standing: dict[str, BloodResult], nurse: User
) -> None:
    message = received(laboratory, "csv", csv_file(), nurse)
    rows = list(csv.reader(io.StringIO(rejects_file(message).decode(), newline="")))
    assert [",".join(row[:-1]) for row in rows[1:]] == LINES[5:8]
    assert rows[0][-1] == "reason"


def test_rejects_of_a_bundle_keep_the_patients_they_speak_of(
    laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    message = received(laboratory, "fhir", fhir_file(LINES[5:]), nurse)
    kinds = [entry["resource"]["resourceType"] for entry in json.loads(rejects_file(message))["entry"]]
    assert kinds == ["Patient"] * 3 + ["Observation", "OperationOutcome"] * 3


@each_form
def test_the_same_file_is_kept_once(
    form: str, file: Make, laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    first = received(laboratory, form, file(), nurse)
    with pytest.raises(taking.AlreadyHere) as told:
        received(laboratory, form, file(), nurse)
    assert told.value.message == first
    assert ours(LabMessage).count() == 1


def test_a_question_must_be_answered_before_anything_is_entered(
    laboratory: Laboratory, standing: dict[str, BloodResult], nurse: User
) -> None:
    message = received(laboratory, "csv", csv_file(), nurse)
    with pytest.raises(taking.NotAnswered, match="line 6"):
        took(message, nurse)
    assert ours(BloodResult).count() == 2
    index, keys = asked(message)
    assert keys == ["g/dL|pre", "leave"]
    assert took(message, nurse, **{f"line_{index}": "leave"}) == 4
    assert not ours(BloodResult).filter(analyte="718-7").exists()


def test_what_was_taken_is_not_taken_again(laboratory: Laboratory, known_ana: Patient, nurse: User) -> None:
    message = received(laboratory, "csv", csv_file([GOOD]), nurse)
    assert took(message, nurse) == 1
    with pytest.raises(taking.AlreadyTaken):
        took(message, nurse)


def test_a_preview_that_is_out_of_date_is_shown_again_first(
    laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    early = received(laboratory, "csv", csv_file([GOOD]), nurse)
    other = received(
        laboratory, "csv", csv_file([GOOD.replace(",5.4,", ",5.9,").replace(",1,final", ",2,final")]), nurse
    )
    took(other, nurse)
    with pytest.raises(taking.Changed):
        took(early, nurse)
    line = early.lines.get()
    assert (line.verdict, reason_of(line)) == (
        "rejected",
        "5.9 mmol/L stands for this sample, and this line is no later version of it.",
    )
    assert took(early, nurse) == 0


def test_a_value_entered_by_hand_is_not_replaced(laboratory: Laboratory, known_ana: Patient, nurse: User) -> None:
    BloodFactory(patient=known_ana, analyte="2823-3", value=4.4, drawn_at=DRAWN_AT)
    line = received(laboratory, "csv", csv_file([GOOD]), nurse).lines.get()
    assert line.verdict == "rejected"
    assert "4.4 mmol/L was entered by hand" in reason_of(line)


def test_a_correction_within_one_file_wins_over_the_line_before_it(
    laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    first = CORRECTED.replace(",38,", ",31,").replace(",2,corrected", ",1,final")
    message = received(laboratory, "csv", csv_file([first, CORRECTED]), nurse)
    assert list(message.lines.values_list("verdict", flat=True)) == ["new", "corrects"]
    took(message, nurse)
    assert ours(BloodResult).get().value == 38


def test_own_codes_and_own_columns_of_a_laboratory(known_ana: Patient, nurse: User) -> None:
    laboratory = Laboratory.objects.create(
        name="Harbour street",
        columns={"identifier": "Nr", "birth_date": "born", "drawn_at": "taken", "code": "test"},
        codes={"K": "2823-3"},
        decimal_comma=True,
        date_format="%d.%m.%Y",
        time_format="%d.%m.%Y %H:%M",
    )
    table = [
        "Nr;born;test;value;unit;taken",
        "HD-A;03.02.1970;K;5,4;mmol/L;02.03.2026 21:00",
        "HD-A;03.02.1970;Na;138;mmol/L;02.03.2026 21:00",
    ]
    message = received(laboratory, "csv", "\n".join(table).encode(), nurse)
    good, unknown = message.lines.all()
    assert (good.verdict, good.value, good.analyte) == ("new", 5.4, "2823-3")
    assert reason_of(unknown) == "The laboratory's own code “Na” has no LOINC code set for it."
    took(message, nurse)
    assert ours(BloodResult).get().drawn_at == DRAWN_AT, "Lisbon has no offset in March"


@pytest.mark.parametrize(
    ("form", "body", "words"),
    [
        (MessageFormat.CSV, b"", "no result|empty"),
        (MessageFormat.CSV, b"a,b\n1,2\n", "column “identifier”"),
        (MessageFormat.CSV, b"a,a\n1,2\n", "same name"),
        (MessageFormat.CSV, b"\xff\xfe1", "not written in utf-8"),
        (MessageFormat.CSV, csv_file([]), "no result"),
        (MessageFormat.CSV, b"x" * 2_000_001, "At most 2 MB"),
        (MessageFormat.HL7, b"PID|1", "does not begin with an MSH"),
        (MessageFormat.HL7, b"MSH|^~\\&|||||20260302||ADT^A01|1|P|2.5.1\r", "not an ORU"),
        (MessageFormat.HL7, b"MSH|^~\\&|||||20260302||ORU^R01|1|P|2.5.1|||||| KOI\r", "character set “KOI”"),
        (MessageFormat.FHIR, b"{", "not JSON"),
        (MessageFormat.FHIR, b"[" * 100_000, "not JSON"),
        (MessageFormat.FHIR, b'{"resourceType": "Patient"}', "not a Bundle"),
        (MessageFormat.FHIR, b'{"resourceType": "Bundle", "entry": []}', "no result"),
    ],
)
def test_what_cannot_be_read_says_why_and_keeps_nothing(
    form: str, body: bytes, words: str, laboratory: Laboratory, nurse: User
) -> None:
    with pytest.raises(Unreadable, match=words):
        received(laboratory, form, body, nurse)
    assert not ours(LabMessage).exists()


def commented(form: str) -> bytes:
    """Ana's potassium with what the laboratory wrote beside it."""
    if form == "csv":
        head = csv_file([]).decode().strip()
        return f"{head},comment\r\n{GOOD},Haemolysed.\r\n".encode()
    if form == "hl7":
        text = hl7_file([GOOD]).decode()
        return text.replace("\rSPM", "\rNTE|1||Haemolysed.\rSPM").encode()
    bundle = json.loads(fhir_file([GOOD]))
    bundle["entry"][-1]["resource"]["note"] = [{"text": "Haemolysed."}]
    return json.dumps(bundle).encode()


@each_form
def test_the_comment_of_the_laboratory_stays_with_its_result(
    form: str, file: Make, laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    took(received(laboratory, form, commented(form), nurse), nurse)
    assert ours(BloodResult).get().comment == "Haemolysed."


def test_a_comment_of_an_order_is_said_of_each_of_its_results_and_that_of_a_patient_of_none() -> None:
    one = hl7_file([GOOD]).decode()
    two = one.replace("\rSPM", "\rOBX|2|NM|2951-2^Sodium^LN||138|mmol/L|||||F\rNTE|1||Checked.\rSPM")
    sent = two.replace("\rOBR", "\rNTE|1||Of the patient.\rOBR").replace("\rOBX|1", "\rNTE|1||Taken late.\rOBX|1")
    rows = hl7_message.read(sent.encode(), ZoneInfo("Europe/Lisbon"))
    assert [row.comment for row in rows] == ["Taken late.", "Taken late. Checked."]


def test_own_codes_and_loinc_stand_side_by_side_in_one_table(
    laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    laboratory.codes = {"NA-X": "2951-2"}
    laboratory.save()
    own = GOOD.replace("2823-3", "NA-X").replace("5.4", "139").replace("S1", "S2")
    neither = GOOD.replace("2823-3", "K-Y").replace("S1", "S3")
    message = received(laboratory, "csv", csv_file([GOOD, own, neither]), nurse)
    assert list(message.lines.values_list("verdict", "analyte")) == [
        ("new", "2823-3"),
        ("new", "2951-2"),
        ("rejected", ""),
    ]


def test_what_was_corrected_by_hand_is_not_written_over(
    laboratory: Laboratory, known_ana: Patient, nurse: User
) -> None:
    took(received(laboratory, "csv", csv_file([GOOD]), nurse), nurse)
    correct_blood(ours(BloodResult).get(), value=4.9, bound="", why="Read again by telephone.", by=nurse, at=NOW)
    newer = GOOD.replace("5.4", "5.6").replace(",1,final", ",2,corrected")
    (line,) = received(laboratory, "csv", csv_file([newer]), nurse).lines.all()
    assert (line.verdict, reason_of(line)) == (
        "rejected",
        "4.9 mmol/L was entered by hand for this sample and stands: correct it by hand.",
    )
