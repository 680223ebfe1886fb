"""For machines that watch: alive without the database, ready only while everything works."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import OperationalError
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from django.utils import timezone

from alerts.services.heartbeat import BEAT, SILENT_AFTER, WORKER, sign_of_life
from homedialysis.running.checks import schema_fits_code


def heard(*parts: str, ago: timedelta = timedelta(0)) -> None:
    for part in parts:
        sign_of_life(part, at=timezone.now() - ago)


def test_alive_asks_no_database(client: Client) -> None:
    answer = client.get("/healthz")  # no database mark: a query would fail this test
    assert (answer.status_code, answer.json()) == (200, {"alive": True})
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.django_db
def test_ready_when_worker_and_beat_were_heard_of(client: Client) -> None:
    heard(WORKER, BEAT)
    answer = client.get("/readyz")
    assert answer.status_code == 200
    assert answer.json() == {"ready": True, "database": "ok", "worker": "working", "beat": "working"}


@pytest.mark.django_db
@pytest.mark.parametrize(("silent", "working"), [(WORKER, BEAT), (BEAT, WORKER)])
def test_not_ready_when_one_is_silent_and_it_is_named(client: Client, silent: str, working: str) -> None:
    heard(working)
    heard(silent, ago=SILENT_AFTER + timedelta(seconds=5))
    answer = client.get("/readyz")
    body = answer.json()
    assert (answer.status_code, body["ready"], body[working]) == (503, False, "working")
    assert body[silent].startswith("silent since 20")


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
        heard(WORKER, BEAT)
        MigrationRecorder.Migration.objects.filter(app="alerts", name="0001_initial").delete()
        answer = client.get("/readyz")
        assert (answer.status_code, answer.json()["database"]) == (503, "wants migrating: alerts.0001_initial")
        assert [each.id for each in schema_fits_code(None, databases=["default"])] == ["homedialysis.W002"]

    def test_a_database_of_a_newer_version_is_not_ready_and_keeps_migrate_away(self, client: Client) -> None:
        heard(WORKER, BEAT)
        MigrationRecorder.Migration.objects.create(app="dosing", name="0999_of_tomorrow")
        answer = client.get("/readyz")
        assert (answer.status_code, answer.json()["database"]) == (503, "of a newer version: dosing.0999_of_tomorrow")
        with pytest.raises(SystemCheckError, match="of a newer version"):
            call_command("migrate", verbosity=0, skip_checks=False)  # as on the command line

    def test_what_an_app_of_others_left_behind_is_no_matter(self, client: Client) -> None:
        heard(WORKER, BEAT)
        MigrationRecorder.Migration.objects.create(app="long_gone", name="0001_initial")
        assert client.get("/readyz").status_code == 200

    def test_a_database_that_fits_raises_nothing(self) -> None:
        assert schema_fits_code(None, databases=["default"]) == []


@pytest.mark.parametrize("path", ["/healthz", "/readyz"])
def test_they_only_answer(client: Client, path: str) -> None:
    assert client.post(path).status_code == 405
