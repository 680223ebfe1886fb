"""A database that does not answer holds nothing and nobody for longer than a phone waits."""

from __future__ import annotations

from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import connection, connections
from django.utils import timezone

from homedialysis.running.waits import OF_PAGES, OF_WORKERS, Waits, keep_within
from sessions.models import Patient
from tests.conftest import signed_in
from tests.factories import record_night

BEDSIDE = Path(__file__).resolve().parents[2] / "sessions/static/bedside/js/wire.js"


def asked(settings: dict[str, Any]) -> dict[str, str]:
    """What a connection with these settings is told."""
    made = connections["default"].copy()
    made.settings_dict = settings
    with closing(made), made.cursor() as cursor:
        cursor.execute("SELECT name, setting || coalesce(unit, '') FROM pg_settings WHERE name ~ 'timeout|check_inter'")
        return dict(cursor.fetchall())


@pytest.mark.django_db
@pytest.mark.parametrize("waits", [OF_PAGES, OF_WORKERS])
def test_every_connection_of_a_process_has_its_limits(waits: Waits, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = {**connection.settings_dict, "OPTIONS": dict(connection.settings_dict["OPTIONS"])}
    monkeypatch.setitem(connections.settings, "default", settings)
    keep_within(waits)
    told = asked(settings)
    assert told["lock_timeout"] == f"{waits.lock * 1000}ms"
    assert told["statement_timeout"] == f"{waits.statement * 1000}ms"
    assert told["idle_in_transaction_session_timeout"] == f"{waits.idle * 1000}ms"
    assert told["client_connection_check_interval"] == "5000ms"
    assert int(settings["OPTIONS"]["connect_timeout"]) <= 5


def test_pages_give_up_before_a_phone_does() -> None:
    patience = int(BEDSIDE.read_text().split("const PATIENCE = ")[1].split("_")[0])
    assert OF_PAGES.lock < OF_PAGES.statement < patience
    assert OF_WORKERS.statement < 300, "the time after which a task is ended"


@pytest.mark.django_db(transaction=True)
def test_who_waits_for_a_held_row_is_told_to_come_again(ana: Patient) -> None:
    """Another session holds the record: the sending ends within the limit, with words and a time."""
    record = record_night(ana, timezone.now() - timedelta(hours=9))
    client = signed_in(ana.account)
    client.raise_request_exception = False
    given = {"data": record.document | {"notes": "longer"}, "content_type": "application/json"}
    named = connection.settings_dict
    where: dict[str, Any] = {n: named[n.upper()] for n in ("host", "port", "user", "password") if named[n.upper()]}
    with psycopg.connect(dbname=named["NAME"], **where) as other, connection.cursor() as ours:
        other.execute("SELECT 1 FROM treatment_treatmentrecord WHERE id = %s FOR UPDATE", [record.pk])
        ours.execute("SET lock_timeout = '200ms'")
        answer = client.put(f"/api/v1/treatments/{record.pk}/", **given, headers={"if-match": record.etag})
        ours.execute("SET lock_timeout = 0")
        other.rollback()
    assert answer.status_code == 503
    assert answer.headers["Retry-After"] == "10"
    assert "Send it again later" in answer.json()["detail"]
    answer = client.put(f"/api/v1/treatments/{record.pk}/", **given, headers={"if-match": record.etag})
    assert answer.status_code == 200
