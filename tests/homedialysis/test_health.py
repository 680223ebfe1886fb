"""For machines that watch: alive without the database, ready only while everything works."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.utils import timezone

from alerts.services.heartbeat import LATER, LATER_SILENT_AFTER, PARTS, SILENT_AFTER, sign_of_life
from homedialysis.running.checks import schema_fits_code
from homedialysis.running.room import Sessions, sessions_of_database


def heard(*parts: str, ago: timedelta = timedelta(0)) -> None:
    for part in parts:
        sign_of_life(part, at=timezone.now() - ago)


def test_alive_asks_no_database(client: Client) -> None:
    answer = client.get("/healthz")  # no database mark: a query would fail this test
    assert (answer.status_code, answer.json()) == (200, {"alive": True})
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.django_db
def test_ready_when_worker_and_beat_were_heard_of(client: Client) -> None:
    heard(*PARTS)
    answer = client.get("/readyz")
    assert answer.status_code == 200
    well = dict.fromkeys(("database", "sessions", "disk", "records"), "ok") | dict.fromkeys(PARTS, "working")
    assert answer.json() == {"ready": True} | well


@pytest.mark.django_db
@pytest.mark.parametrize("silent", PARTS)
def test_not_ready_when_one_is_silent_and_it_is_named(client: Client, silent: str) -> None:
    after = LATER_SILENT_AFTER if silent == LATER else SILENT_AFTER
    heard(*set(PARTS) - {silent})
    heard(silent, ago=after + timedelta(seconds=5))
    answer = client.get("/readyz")
    body = answer.json()
    assert (answer.status_code, body["ready"]) == (503, False)
    assert body[silent].startswith("silent since 20")
    assert {body[part] for part in PARTS if part != silent} == {"working"}


@pytest.mark.django_db
def test_not_ready_where_nothing_can_be_written(client: Client) -> None:
    """A database that is full or read-only answers every question, and no record reaches the unit."""
    heard(*PARTS)
    with connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION READ ONLY")
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["database"]) == (503, "cannot be written")


@pytest.mark.django_db
def test_not_ready_without_sessions_or_room(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    heard(*PARTS)
    usual = sessions_of_database()
    assert 1 <= usual.taken < usual.most
    monkeypatch.setattr("homedialysis.web.health.sessions_of_database", lambda: Sessions(usual.most - 2, usual.most))
    monkeypatch.setattr("homedialysis.running.room.shutil.disk_usage", lambda _: SimpleNamespace(free=150 * 1024**2))
    body = client.get("/readyz").json()
    assert body["ready"] is False
    assert body["sessions"] == f"full: {usual.most - 2} of {usual.most} sessions taken"
    assert body["disk"] == "full: 150 MB free"


@pytest.mark.django_db
def test_not_ready_when_they_were_never_heard_of(client: Client) -> None:
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["worker"]) == (503, "never heard of")


def test_not_ready_without_a_database(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*args: Any) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(MigrationRecorder, "applied_migrations", gone)
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()) == (503, {"ready": False, "database": "unreachable"})


@pytest.mark.django_db
class TestAnotherVersion:
    def test_a_database_that_was_not_migrated_is_not_ready_and_says_what_is_missing(self, client: Client) -> None:
        heard(*PARTS)
        MigrationRecorder.Migration.objects.filter(app="alerts", name="0001_initial").delete()
        answer = client.get("/readyz")
        assert (answer.status_code, answer.json()["database"]) == (503, "wants migrating: alerts.0001_initial")
        assert [each.id for each in schema_fits_code(None, databases=["default"])] == ["homedialysis.W002"]

    def test_a_database_of_a_newer_version_is_not_ready_and_keeps_migrate_away(self, client: Client) -> None:
        heard(*PARTS)
        MigrationRecorder.Migration.objects.create(app="dosing", name="0999_of_tomorrow")
        answer = client.get("/readyz")
        assert (answer.status_code, answer.json()["database"]) == (503, "of a newer version: dosing.0999_of_tomorrow")
        with pytest.raises(SystemCheckError, match="of a newer version"):
            call_command("migrate", verbosity=0, skip_checks=False)  # as on the command line

    def test_what_an_app_of_others_left_behind_is_no_matter(self, client: Client) -> None:
        heard(*PARTS)
        MigrationRecorder.Migration.objects.create(app="long_gone", name="0001_initial")
        assert client.get("/readyz").status_code == 200

    def test_a_database_that_fits_raises_nothing(self) -> None:
        assert schema_fits_code(None, databases=["default"]) == []


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_they_only_answer(client: Client, path: str) -> None:
    assert client.post(path).status_code == 405
