"""Log lines: one JSON object each, with chosen fields only and no clinical value."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime
from typing import Any

import pytest

from homedialysis.running.log_format import KEPT, JsonLines, without_values


def logged(message: str, *args: Any, exc_info: Any = None, **extra: Any) -> dict[str, Any]:
    logger = logging.getLogger("alerts.sweep")
    record = logger.makeRecord(logger.name, logging.WARNING, "sweep.py", 7, message, args, exc_info, extra=extra)
    record.created = datetime(2026, 3, 2, 21, 30, tzinfo=UTC).timestamp()
    line = JsonLines().format(record)
    assert "\n" not in line
    found: dict[str, Any] = json.loads(line)
    return found


def test_a_line_says_when_who_and_what() -> None:
    assert logged("%d rows put aside", 3) == {
        "at": "2026-03-02T21:30:00.000+00:00",
        "level": "WARNING",
        "logger": "alerts.sweep",
        "message": "3 rows put aside",
    }


def test_row_numbers_are_kept_and_nothing_else() -> None:
    line = logged("Rule failed", rule="uf_rate", record=17, pre_weight_kg=72.6, patient="Ana Verdemar")
    assert (line["rule"], line["record"]) == ("uf_rate", "17")
    assert set(line) == {"at", "level", "logger", "message", "rule", "record"}
    assert "72.6" not in json.dumps(line)
    assert "Ana" not in json.dumps(line)


def test_no_field_that_is_kept_is_a_clinical_one() -> None:
    from sessions.models import Patient, Prescription, Reading, TreatmentRecord

    clinical = {
        field.name
        for model in (Patient, Prescription, Reading, TreatmentRecord)
        for field in model._meta.get_fields()
        if not field.is_relation
    }
    assert not clinical & set(KEPT)


def test_a_request_a_library_logs_with_is_left_out() -> None:
    assert set(logged("Not Found: /x", request=object(), status_code=404)) == {
        "at",
        "level",
        "logger",
        "message",
        "status_code",
    }


def test_an_error_keeps_where_it_happened() -> None:
    try:
        raise KeyError("x")
    except KeyError as problem:
        line = logged("Failed", exc_info=(type(problem), problem, problem.__traceback__))
    assert "test_an_error_keeps_where_it_happened" in line["trace"]


@pytest.mark.parametrize("text", ["two\nlines", 'a "quoted" word', "µg/L"])
def test_any_text_stays_one_line(text: str) -> None:
    assert logged(text)["message"] == text


def test_an_error_of_the_database_is_told_without_the_row() -> None:
    said = (
        "Traceback (most recent call last):\n"
        '  File "recording.py", line 190, in _created\n'
        'psycopg.errors.UniqueViolation: duplicate key value violates unique constraint "accounts_user_email_key"\n'
        "DETAIL:  Key (email)=(ana@example.org) already exists.\n"
        "\nThe above exception was the direct cause of the following exception:\n\n"
        'django.db.utils.DataError: invalid input syntax for type numeric: "72,6 kg"\n'
        "LINE 1: INSERT INTO treatment VALUES ('72,6 kg')\n"
        "                                      ^\n"
        "CONTEXT:  unnamed portal parameter $3 = '...'\n"
    )
    kept = without_values(said)
    assert "recording.py" in kept
    assert "accounts_user_email_key" in kept
    assert "invalid input syntax for type numeric" in kept
    for value in ("ana@example.org", "72,6", "INSERT", "$3"):
        assert value not in kept
