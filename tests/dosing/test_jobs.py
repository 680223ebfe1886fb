"""Long work: an export of everything, stopped, gone on with, taken up after a worker's death, fetched, thrown away."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from dosing.models import Job
from dosing.services import jobs
from homedialysis.accounts.models import ReadLog, User
from sessions.models import Patient
from tests.crowd import ours
from tests.dosing.fhir.conftest import faults as faults
from tests.factories import BloodFactory, PatientFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, settings: Any) -> None:
    settings.DATA_DIR = tmp_path


@pytest.fixture
def people(ana: Patient, ben: Patient) -> list[Patient]:
    BloodFactory(patient=ana, analyte="2823-3", value=5.1)
    return [ana, ben, *(PatientFactory() for _ in range(3))]


def asked(by: User) -> Job:
    return jobs.ask(kind="export", params={}, by=by, at=timezone.now())


def files_of(job: Job) -> dict[str, list[dict[str, Any]]]:
    job.refresh_from_db()
    with zipfile.ZipFile(jobs.result_path(job)) as archive:
        assert len(archive.namelist()) == len(set(archive.namelist()))
        return {
            name: [json.loads(line) for line in archive.read(name).decode().splitlines()] for name in archive.namelist()
        }


def test_an_export_holds_everybody_as_fhir_r4(
    people: list[Patient], nephrologist: User, faults: Callable[[Any], list[str]]
) -> None:
    job = asked(nephrologist)
    assert not jobs.work(now=timezone.now)
    files = files_of(job)
    assert {name for name in files if name.startswith("Patient/")} == {f"Patient/{each.pk}.ndjson" for each in people}
    (blood,) = files[f"Observation/{people[0].pk}.ndjson"]
    assert blood["valueQuantity"]["value"] == 5.1
    assert [fault for rows in files.values() for row in rows for fault in faults(row)] == []


def test_a_turn_is_short_and_the_next_goes_on(people: list[Patient], nephrologist: User) -> None:
    job = asked(nephrologist)
    turns = 1
    while jobs.work(now=timezone.now, seconds=-1):
        turns += 1
    assert turns == len(people)
    assert len([name for name in files_of(job) if name.startswith("Patient/")]) == len(people)


def test_stopped_and_gone_on_with(people: list[Patient], nephrologist: User) -> None:
    job = asked(nephrologist)
    jobs.work(now=timezone.now, seconds=-1)
    jobs.stop(job=job, at=timezone.now())
    assert not jobs.work(now=timezone.now)
    job.refresh_from_db()
    assert (job.done, job.finished_at) == (1, None)
    jobs.go_on(job=job)
    jobs.work(now=timezone.now)
    assert len([name for name in files_of(job) if name.startswith("Patient/")]) == len(people)


def test_a_worker_that_died_between_writing_and_counting_leaves_nothing_double(
    people: list[Patient], nephrologist: User
) -> None:
    job = asked(nephrologist)
    jobs.work(now=timezone.now, seconds=-1)
    ours(Job).update(done=0)
    jobs.work(now=timezone.now)
    assert len([name for name in files_of(job) if name.startswith("Patient/")]) == len(people)


def test_an_archive_that_a_dying_worker_broke_is_made_anew(people: list[Patient], nephrologist: User) -> None:
    job = asked(nephrologist)
    jobs.work(now=timezone.now, seconds=-1)
    broken = jobs._parts_path(job)
    broken.write_bytes(broken.read_bytes()[:-30])
    jobs.work(now=timezone.now)
    assert len([name for name in files_of(job) if name.startswith("Patient/")]) == len(people)


def test_a_failure_is_shown_and_can_be_tried_again(
    people: list[Patient], nephrologist: User, nephrologist_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = asked(nephrologist)

    def broken(job: Job, key: str) -> list[tuple[str, bytes]]:
        raise OSError("no space left")

    keys, part = jobs._kinds["export"]
    monkeypatch.setitem(jobs._kinds, "export", (keys, broken))
    assert not jobs.work(now=timezone.now)
    assert "OSError: no space left" in nephrologist_client.get("/jobs/").content.decode()
    monkeypatch.setitem(jobs._kinds, "export", (keys, part))
    jobs.go_on(job=job)
    jobs.work(now=timezone.now)
    job.refresh_from_db()
    assert job.finished_at is not None


def test_asked_for_and_fetched_on_the_page(people: list[Patient], nephrologist_client: Client) -> None:
    nephrologist_client.post("/jobs/", {"kind": "export"})
    job = ours(Job).get()
    assert nephrologist_client.get(f"/jobs/{job.pk}/file/").status_code == 404
    jobs.work(now=timezone.now)
    answer = nephrologist_client.get(f"/jobs/{job.pk}/file/")
    assert b"".join(answer.streaming_content)[:2] == b"PK"  # type: ignore[attr-defined]
    assert ours(ReadLog).filter(path=f"/jobs/{job.pk}/file/").count() == len(people)
    assert "ready" in nephrologist_client.get("/jobs/progress/").content.decode()


def test_results_do_not_lie_about_for_ever(people: list[Patient], nephrologist: User) -> None:
    job = asked(nephrologist)
    jobs.work(now=timezone.now)
    job.refresh_from_db()
    path = jobs.result_path(job)
    assert jobs.throw_away_old(at=timezone.now() + timedelta(days=6)) == 0
    assert jobs.throw_away_old(at=timezone.now() + timedelta(days=8)) == 1
    assert not path.exists()
