"""Numbers are kept with the science that made them, and made anew when it changes."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command

from dosing import tasks
from dosing.models import RecordNumbers
from dosing.science import SCIENCE_VERSION
from dosing.services.night import recomputing
from dosing.services.night.catalogue import NIGHT_NUMBERS
from dosing.services.night.computing import compute
from dosing.services.night.recomputing import chunk_after, recompute
from sessions.models import Patient, TreatmentRecord
from tests.crowd import ours
from tests.factories import A_NIGHT, record_night

pytestmark = pytest.mark.django_db

LATER = A_NIGHT + timedelta(days=1)


@pytest.fixture
def nights(ana: Patient) -> list[TreatmentRecord]:
    """Three, in order of id."""
    made = [record_night(ana, A_NIGHT + timedelta(days=2 * day)) for day in range(3)]
    return sorted(made, key=lambda record: record.pk)


def test_numbers_are_kept_with_version_revision_and_moment(nights: list[TreatmentRecord]) -> None:
    kept = compute(nights[0], at=LATER)
    kept.refresh_from_db()
    assert (kept.science_version, kept.record_revision, kept.computed_at) == (SCIENCE_VERSION, 1, LATER)
    assert set(kept.numbers) == set(NIGHT_NUMBERS)
    assert kept.numbers["uf_rate"] == {
        "value": pytest.approx(2300 / 4 / 70),
        "why": None,
        "inputs": {"uf_l": 2.3, "fluid_by": "total", "minutes": 240.0, "post_weight_kg": 70.0},
        "function": "dosing.science.fluid.uf_rate",
        "at": "",
    }
    assert kept.numbers["bleeding"] == {
        "value": None,
        "why": {"code": "not_noted", "what": "bleeding_time"},
        "inputs": {"value": None},
        "function": "dosing.services.night.catalogue",
        "at": "",
    }


def test_computing_again_takes_the_place_of_what_stood(nights: list[TreatmentRecord]) -> None:
    record = nights[0]
    compute(record, at=LATER)
    TreatmentRecord.objects.filter(pk=record.pk).update(uf_removed_l=2.8, revision=2)
    record.refresh_from_db()
    compute(record, at=LATER + timedelta(hours=1))
    kept = ours(RecordNumbers).get()
    assert (kept.record_revision, kept.numbers["uf_rate"]["value"]) == (2, pytest.approx(10.0))


def test_what_was_never_computed_or_by_another_science_is_waiting(nights: list[TreatmentRecord]) -> None:
    for record in nights[:2]:
        compute(record, at=LATER)
    RecordNumbers.objects.filter(record=nights[0]).update(science_version="2020.1")
    assert chunk_after(None) == [nights[0], nights[2]]
    assert chunk_after(nights[0].pk) == [nights[2]]
    assert recompute(chunk_after(None), at=LATER) == 2
    assert chunk_after(None) == []


@pytest.fixture
def queued(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """What was queued, with chunks of two."""
    found: list[tuple[Any, ...]] = []
    monkeypatch.setattr(tasks.recompute_history, "delay", lambda *given: found.append(given))
    for module in (recomputing, tasks):
        monkeypatch.setattr(module, "CHUNK", 2)
    return found


def test_a_task_takes_a_chunk_and_queues_the_next(nights: list[TreatmentRecord], queued: list[tuple[Any, ...]]) -> None:
    tasks.recompute_history()
    assert queued == [(str(nights[1].pk),)]
    assert ours(RecordNumbers).count() == 2
    tasks.recompute_history(queued[0][0])
    assert len(queued) == 1, "the last chunk queues nothing"
    assert chunk_after(None) == []


def test_a_chunk_carried_out_twice_does_no_harm(nights: list[TreatmentRecord], queued: list[tuple[Any, ...]]) -> None:
    tasks.recompute_history()
    tasks.recompute_history()
    assert ours(RecordNumbers).count() == 3


def test_one_record_that_fails_takes_none_of_the_others_back(
    nights: list[TreatmentRecord], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails_on_the_second(record: TreatmentRecord, **kwargs: Any) -> None:
        if record == nights[1]:
            raise RuntimeError
        compute(record, **kwargs)

    monkeypatch.setattr(recomputing, "compute", fails_on_the_second)
    with pytest.raises(RuntimeError):
        recompute(nights, at=LATER)
    assert ours(RecordNumbers).get().record == nights[0]


def test_the_command_queues_it(queued: list[tuple[Any, ...]], capsys: pytest.CaptureFixture[str]) -> None:
    call_command("recompute_numbers")
    assert queued == [()]
    assert "Queued" in capsys.readouterr().out


def test_the_task_waits_on_the_queue_that_can_wait(settings: Any) -> None:
    from homedialysis.celery import app

    route = app.amqp.router.route({}, tasks.recompute_history.name)
    assert route["queue"].name == "later"
